"""Cycling Power messages, against bytes worked out by hand from the Bluetooth SIG's field tables.

Characteristics 0x2A63 and 0x2A64 of the Bluetooth SIG (XML descriptions of 2014-07-02): flags, order, units, sizes.
"""

from __future__ import annotations

import struct

import numpy as np
import pytest
from rides import leg_torque

from analysis_lib.refusals import Refusal
from analysis_lib.signals.counters import run_on
from analysis_lib.signals.cycling_power import decode_measurement, decode_vector
from analysis_lib.signals.notification_log import SPACING_WARNING, read_notification_log
from analysis_lib.signals.trial import analyse_trial


class TestMeasurement:
    def test_golden_message(self):
        """Flags 0x01AF: balance of the left, crank torque, crank turns, extreme torques and their angles.

        250 = 0x00FA; 48.5 % = 97 halves = 0x61; 26.5 N m = 848/32 = 0x0350; 10 turns = 0x000A; 1 s = 1024/1024 =
        0x0400; 55 N m = 1760/32 = 0x06E0; 3.25 N m = 104/32 = 0x0068; largest at 101° = 0x065 in the lower twelve
        bits and smallest at 3° = 0x003 in the upper twelve of 0x003065.
        """
        found = decode_measurement(bytes.fromhex("AF 01 FA 00 61 50 03 0A 00 00 04 E0 06 68 00 65 30 00"))
        assert (found.power_W, found.balance_pct, found.balance_of) == (250, 48.5, "left")
        assert (found.accumulated_torque_Nm, found.torque_source) == (26.5, "crank")
        assert (found.crank_turns, found.crank_time_s) == (10, 1.0)
        assert (found.largest_torque_Nm, found.smallest_torque_Nm) == (55.0, 3.25)
        assert (found.largest_at_deg, found.smallest_at_deg) == (101, 3)
        assert (found.wheel_turns, found.largest_force_N, found.energy_kJ) == (None, None, None)
        assert not found.offset_compensated

    def test_two_angles_share_three_bytes(self):
        """Largest 0xABC and smallest 0x123 are 0x123ABC, sent as BC 3A 12."""
        found = decode_measurement(bytes.fromhex("00 01 00 00 BC 3A 12"))
        assert (found.largest_at_deg, found.smallest_at_deg) == (0xABC, 0x123)

    def test_every_field_at_once(self):
        """All flags but the reserved ones: 0x1FFF. Negative power and forces are signed 16-bit."""
        message = struct.pack("<Hh", 0x1FFF, -20) + struct.pack("<B", 100) + struct.pack("<H", 64)
        message += (
            struct.pack("<IH", 70_000, 2048) + struct.pack("<HH", 3, 512) + struct.pack("<hh", 300, -40)
        )
        message += struct.pack("<hh", 320, -32) + bytes([90, 0x40, 0x10]) + struct.pack("<HHH", 358, 181, 12)
        found = decode_measurement(message)
        assert (found.power_W, found.balance_pct, found.accumulated_torque_Nm) == (-20, 50.0, 2.0)
        assert (found.wheel_turns, found.wheel_time_s, found.crank_time_s) == (70_000, 1.0, 0.5)
        assert (found.largest_force_N, found.smallest_force_N) == (300, -40)
        assert (found.largest_torque_Nm, found.smallest_torque_Nm) == (10.0, -1.0)
        assert (found.largest_at_deg, found.smallest_at_deg) == (90, 260)
        assert (found.top_dead_spot_deg, found.bottom_dead_spot_deg, found.energy_kJ) == (358, 181, 12)
        assert found.offset_compensated

    @pytest.mark.parametrize("message", ["", "20", "20 00 fa 00 0a 00 00", "20 00 fa 00 0a 00 00 04 00"])
    def test_a_message_of_the_wrong_length_is_refused(self, message):
        with pytest.raises(Refusal, match="flags announce"):
            decode_measurement(bytes.fromhex(message))


class TestVector:
    def test_golden_message(self):
        """Flags 0x1B: crank turns, first angle, torques, tangential. 26.5 N m = 0x0350; −0.25 N m = −8/32 = 0xFFF8."""
        found = decode_vector(bytes.fromhex("1B 0A 00 00 04 5A 00 50 03 F8 FF"))
        assert (found.crank_turns, found.crank_time_s, found.first_angle_deg) == (10, 1.0, 90)
        assert (found.torque_Nm, found.force_N, found.direction) == ((26.5, -0.25), (), "tangential")

    def test_force_in_the_radial_direction(self):
        found = decode_vector(bytes.fromhex("24 C8 00 9C FF"))
        assert (found.force_N, found.torque_Nm, found.direction) == ((200.0, -100.0), (), "radial")
        assert (found.crank_turns, found.first_angle_deg) == (None, None)

    @pytest.mark.parametrize(
        ("message", "word"), [("0C 00 00", "flags for force and for torque"), ("08 00", "even number")]
    )
    def test_contradictions_are_refused(self, message, word):
        with pytest.raises(Refusal, match=word):
            decode_vector(bytes.fromhex(message))


@pytest.mark.parametrize(
    ("counter", "roll", "expected"),
    [
        ([65534, 65535, 0, 3], 65536, [65534, 65535, 65536, 65539]),
        ([63.5, 0.25, 1.0], 64.0, [63.5, 64.25, 65.0]),
        ([2047.96875, 1.0], 2048.0, [2047.96875, 2049.0]),
        ([5, np.nan, 4], 16, [5, np.nan, 20]),
    ],
)
def test_counters_run_on_past_their_roll_over(counter, roll, expected):
    """Crank turns at 2¹⁶, crank time at 64 s, accumulated torque at 2048 N m (their sizes and steps)."""
    np.testing.assert_allclose(run_on(np.array(counter, dtype=float), roll), expected)


def vector_lines(turns=80, cadence_rpm=90.0, first_turn=65500, samples=12, direction=0b01, force=False):
    """A steady ride, `samples` torques each third of a turn, sent with the counters that a recorder would keep."""
    lines = ["t,uuid,hex"]
    for message in range(3 * turns):
        start = message / 3 + 0.05
        own = 2 * np.pi * (start + np.arange(samples) / samples / 3)
        whole = int(start)
        tick = round(whole * 60 / cadence_rpm * 1024) % 65536
        step = 1 if force else 32
        values = np.rint(leg_torque(own) / (0.17 if force else 1) * step).astype(int)
        flags = 0b11 | (0b100 if force else 0b1000) | direction << 4
        data = struct.pack("<BHHH", flags, (first_turn + whole) % 65536, tick, round(start % 1 * 360))
        data += struct.pack(f"<{samples}h", *values)
        lines.append(f"{start * 60 / cadence_rpm:.3f},2A64,{data.hex(' ')}")
    return "\n".join(lines)


@pytest.fixture
def write(tmp_path):
    def write_log(text):
        path = tmp_path / "ride.csv"
        path.write_text(text, encoding="utf-8")
        return read_notification_log(path, "t", "uuid", "hex")

    return write_log


class TestLog:
    def test_a_recording_of_a_steady_leg(self, write):
        """Turn counter and clock roll over on the way (turn 65536, 64 s); steps of 1/32 N m and 1° are coarse."""
        recording = write(vector_lines(turns=120)).recording("left", spacing="even angle")
        assert recording.assumptions == (SPACING_WARNING,)
        found = analyse_trial(recording)
        assert len(found.turns) > 110
        assert found.value("cadence_rpm") == pytest.approx(90, abs=0.1)
        assert found.value("mean_torque_left_Nm") == pytest.approx(11, abs=0.05)
        own = np.radians(np.arange(0.0, 360))
        assert found.value("peak_torque_left_deg") == pytest.approx(np.argmax(leg_torque(own)), abs=4)
        assert found.value("harmonic_1_left_deg") == pytest.approx(92, abs=0.5)

    def test_tangential_force_needs_a_crank_length(self, write):
        log = write(vector_lines(force=True))
        found = analyse_trial(log.recording("right", "even angle", crank_length_m=0.17))
        assert found.value("mean_torque_right_Nm") == pytest.approx(11, abs=0.1)
        with pytest.raises(Refusal, match="no crank length"):
            log.recording("right", "even angle")
        with pytest.raises(Refusal, match="radial force"):
            write(vector_lines(force=True, direction=0b10)).recording(
                "right", "even angle", crank_length_m=0.17
            )

    def test_a_lost_message_costs_no_turn(self, write):
        lines = vector_lines().splitlines()
        del lines[40:44]
        recording = write("\n".join(lines)).recording("right", "even angle")
        assert np.ptp(recording.crank_rad) / (2 * np.pi) == pytest.approx(79, abs=1)

    def test_spacing_must_be_asked_for_by_name(self, write):
        with pytest.raises(Refusal, match="spacing of a notification log"):
            write(vector_lines()).recording("left", spacing="measured")

    def test_measurements_become_a_table_with_counters_running_on(self, write):
        """Accumulated torque of two messages: 2047 + 2.5 N m rolls over at 2048 N m to 1.5."""
        head = struct.pack("<HhH", 0b1100, 200, 2047 * 32).hex()
        after = struct.pack("<HhH", 0b1100, 210, round(1.5 * 32)).hex()
        table = write(f"t,uuid,hex\n0.0,0x2A63,{head}\n0.7,2a63,{after}\n0.8,2A5B,00").measurement_table()
        assert table["power_W"].tolist() == [200, 210]
        assert table["accumulated_torque_Nm"].tolist() == [2047, 2049.5]
        assert table["crank_turns"].isna().all()

    def test_a_power_measurement_alone_is_no_recording(self, write):
        log = write("t,uuid,hex\n0.0,2A63,0000c800")
        with pytest.raises(Refusal, match="holds no torque profile"):
            log.recording("total", "even angle")

    @pytest.mark.parametrize(
        ("text", "what", "got"),
        [
            ("t,uuid,hex\n0,2A64,1B 0A 00\n", "ride.csv, line 2, Cycling Power Vector", "3 bytes"),
            ("t,uuid,hex\n0,2A63,00 00 zz\n", "ride.csv, line 2", "'00 00 zz'"),
            ("t,uuid,hex\n0,2A63,0000c800\nsoon,2A63,0000c800\n", "ride.csv, line 3", "'soon'"),
            ("t,uuid\n0,2A63\n", "column 'hex'", "no such column"),
            ("t,uuid,hex\n", "ride.csv", "a header and no samples"),
        ],
    )
    def test_refused(self, write, text, what, got):
        with pytest.raises(Refusal) as caught:
            write(text)
        assert what in caught.value.what
        assert got in caught.value.got
