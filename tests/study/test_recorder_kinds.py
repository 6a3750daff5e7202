"""Every kind of recorder, through a study folder: files, units, pedal forces, and where the angle comes from."""

from __future__ import annotations

import builtins
import math
import struct

import h5py
import numpy as np
import pytest
from scipy.io import savemat

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.angle_error import largest_angle_error_deg

COLUMNS = """columns.time_s = { column = "t", unit = "s" }
columns.crank_deg = { column = "angle", unit = "deg" }
columns.torque_Nm = { column = "torque", unit = "N m" }
"""
TIME_S = np.arange(0, 20, 0.002)
CRANK_RAD = 2 * np.pi * 1.25 * TIME_S - 0.4  # 75 rpm
TORQUE_NM = 30 + 12 * np.cos(2 * (CRANK_RAD - np.radians(100)))
POWER_W = 30 * 2 * math.pi * 1.25


def declare(tiny, columns, kind="csv", file="recordings/T1.csv", rules=True):
    """Declare another recorder's columns for the whole folder, without zero checks."""
    tiny.replace("study.toml", COLUMNS, columns)
    tiny.replace("study.toml", 'kind = "csv"', f'kind = "{kind}"')
    if rules:
        tiny.replace(
            "study.toml", "[recorders.crank]", "[rules]\nzero_check_required = false\n[recorders.crank]"
        )
        (tiny.root / "zero_checks.csv").write_text(
            "recorder,checked_at,temperature_C,zero_left_Nm,zero_right_Nm,zero_total_Nm,note\n",
            encoding="utf-8",
        )
    tiny.replace("trials.csv", "recordings/T1.csv", file)


def write_csv(tiny, columns):
    table = np.column_stack(list(columns.values()))
    np.savetxt(tiny.root / "recordings/T1.csv", table, "%.9g", ",", header=",".join(columns), comments="")


class TestFiles:
    def test_matlab(self, tiny):
        declare(tiny, COLUMNS.replace('"t"', '"ride.t"'), "mat", "recordings/T1.mat")
        stored = {"ride": {"t": TIME_S}, "angle": np.degrees(CRANK_RAD) % 360, "torque": TORQUE_NM}
        savemat(tiny.root / "recordings/T1.mat", stored)
        assert open_study(tiny.root).load_trial("T1").value("power_W") == pytest.approx(POWER_W, rel=1e-4)

    def test_matlab_of_version_7_3_names_what_to_install(self, tiny, monkeypatch):
        declare(tiny, COLUMNS, "mat", "recordings/T1.mat")
        with h5py.File(tiny.root / "recordings/T1.mat", "w") as file:
            file["t"], file["angle"], file["torque"] = TIME_S, np.degrees(CRANK_RAD) % 360, TORQUE_NM
        assert open_study(tiny.root).load_trial("T1").value("power_W") == pytest.approx(POWER_W, rel=1e-4)
        hide(monkeypatch, "h5py")
        with pytest.raises(Refusal, match=r"pip install 'h5py"):
            open_study(tiny.root).load_trial("T1")

    def test_c3d(self, tiny):
        ezc3d = pytest.importorskip("ezc3d")
        declare(tiny, COLUMNS.replace('"t"', '"sample time"'), "c3d", "recordings/T1.c3d")
        made = ezc3d.c3d()
        made["parameters"]["POINT"]["RATE"]["value"] = [500.0]
        made["parameters"]["ANALOG"]["RATE"]["value"] = [500.0]
        made["parameters"]["ANALOG"]["LABELS"]["value"] = ("angle", "torque")
        made["data"]["analogs"] = np.array([[np.degrees(CRANK_RAD) % 360, TORQUE_NM]])
        made["data"]["points"] = np.zeros((4, 0, TIME_S.size))
        made.write(str(tiny.root / "recordings/T1.c3d"))
        assert open_study(tiny.root).load_trial("T1").value("power_W") == pytest.approx(POWER_W, rel=1e-4)

    def test_inch_pounds(self, tiny):
        """NIST SP 811, appendix B.8: 1 lbf·in = 1.129 848 E-01 N·m."""
        declare(tiny, COLUMNS.replace('"N m"', '"lbf in"'))
        write_csv(
            tiny,
            {"t": TIME_S, "angle": np.degrees(CRANK_RAD) % 360, "torque": TORQUE_NM / 0.1129848290276167},
        )
        assert open_study(tiny.root).load_trial("T1").value("power_W") == pytest.approx(POWER_W, rel=1e-6)


def hide(monkeypatch, package):
    """Make a package look as though it were not installed."""
    really = builtins.__import__

    def importing(name, *rest, **more):
        if name == package:
            raise ImportError(f"no module named {name}")
        return really(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", importing)


MESSAGES = 'messages = { time = "t", characteristic = "uuid", message = "hex", channel = "total"SPACING }\n'


class TestNotifications:
    def write(self, tiny, spacing=', spacing = "even angle"'):
        """Torque vectors of a third of a turn; flags, sizes and steps as in the characteristic's description."""
        declare(tiny, MESSAGES.replace("SPACING", spacing), "notifications")
        lines = ["t,uuid,hex"]
        for number in range(3 * 60):
            turns = number / 3 + 0.05
            place = 2 * np.pi * (turns + np.arange(12) / 36)
            torque = np.rint(32 * (30 + 12 * np.cos(2 * (place - np.radians(100))))).astype(int)
            clock = round(int(turns) / 1.25 * 1024) % 65536
            head = struct.pack("<BHHH", 0b11011, int(turns), clock, round(turns % 1 * 360))
            lines.append(f"{100 + turns / 1.25:.3f},2A64,{(head + struct.pack('<12h', *torque)).hex(' ')}")
        (tiny.root / "recordings/T1.csv").write_text("\n".join(lines), encoding="utf-8")

    def test_a_log_is_a_trial_with_its_warning(self, tiny):
        self.write(tiny)
        tiny.replace("trials.csv", "2026-03-02T09:00:00,,", "2026-03-02T09:00:00,105,135")
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("power_W") == pytest.approx(POWER_W, rel=3e-3)
        assert result.value("torque_phase_deg") == pytest.approx(100, abs=1)
        assert any("do not judge a ring" in said for said in result.assumptions)
        assert 28 < result.quality["duration_s"] < 30.1  # the window is in the log's own time

    def test_on_an_oval_ring_it_carries_a_caution(self, tiny):
        self.write(tiny)
        log = (tiny.root / "recordings/T1.csv").read_text(encoding="utf-8")
        (tiny.root / "recordings/T3.csv").write_text(log + "\n", encoding="utf-8")
        study = open_study(tiny.root)
        on_round, on_oval = (
            [said for said in study.load_trial(t).cautions if "made-up" in said] for t in ("T1", "T3")
        )
        assert on_round == []
        assert on_oval == [
            "Its samples have made-up angles, evenly spaced between messages; this ring spaces them unevenly."
        ]

    def test_spacing_is_never_assumed(self, tiny):
        self.write(tiny, "")
        with pytest.raises(Refusals, match="declare spacing"):
            open_study(tiny.root)


class TestForces:
    def test_forces_become_torque_with_the_riders_own_crank_and_an_effectiveness(self, tiny):
        """Tangential 100 + 200 sin θ and radial 150 N on 172.5 mm: mean torque 17.25 N·m, ratio of integrals."""
        forces = "".join(
            f'columns.force_{direction}_right_N = {{ column = "{direction}", unit = "N" }}\n'
            for direction in ("tangential", "radial")
        )
        declare(tiny, "\n".join(COLUMNS.splitlines()[:2]) + "\n" + forces)
        tangential = 100 + 200 * np.sin(CRANK_RAD)
        radial = np.full(TIME_S.size, 150.0)
        write_csv(
            tiny,
            {"t": TIME_S, "angle": np.degrees(CRANK_RAD) % 360, "tangential": tangential, "radial": radial},
        )
        result = open_study(tiny.root).load_trial("T1")
        degree = np.radians(np.arange(0, 360, 0.1))
        resultant = np.hypot(100 + 200 * np.sin(degree), 150).mean()
        assert result.value("mean_torque_right_Nm") == pytest.approx(17.25, rel=1e-4)
        assert result.value("effectiveness_right") == pytest.approx(100 / resultant, rel=1e-4)
        assert result.value("mean_resultant_right_N") == pytest.approx(resultant, rel=1e-4)
        assert result.value("mean_radial_right_N") == pytest.approx(150, rel=1e-9)
        assert any("crank length of 172.5 mm" in said for said in result.assumptions)
        tiny.replace("riders.csv", "R01,RO,70.5,172.5", "R01,RO,70.5,")
        with pytest.raises(Refusal, match="crank_length_mm"):
            open_study(tiny.root).load_trial("T1")

    def test_a_vertical_push_turns_the_left_crank_as_its_own_sine(self, tiny):
        """Pressing down with 300 N all the time: torque 300 L sin θ of the own crank, whose mean is nothing."""
        forces = "".join(
            f'columns.force_{direction}_left_N = {{ column = "{direction}", unit = "N" }}\n'
            for direction in ("fore_aft", "vertical")
        )
        declare(tiny, "\n".join(COLUMNS.splitlines()[:2]) + "\n" + forces)
        own = CRANK_RAD - np.pi
        down = np.where(np.sin(own) > 0, 300.0, 100.0)
        angle = np.degrees(CRANK_RAD) % 360
        write_csv(tiny, {"t": TIME_S, "angle": angle, "fore_aft": 0 * TIME_S, "vertical": -down})
        result = open_study(tiny.root).load_trial("T1")
        # Mean of 300 sin over the half, less 100 sin over the other: (300 − 100)/π · 0.1725 N·m.
        assert result.value("mean_torque_left_Nm") == pytest.approx(200 / math.pi * 0.1725, rel=2e-3)
        assert result.value("peak_torque_left_deg") == pytest.approx(90, abs=1)

    @pytest.mark.parametrize(
        "names",
        [("radial",), ("fore_aft",), ("tangential", "vertical"), ("tangential", "radial", "fore_aft")],
    )
    def test_forces_that_do_not_suffice(self, tiny, names):
        forces = "".join(
            f'columns.force_{name}_left_N = {{ column = "{name}", unit = "N" }}\n' for name in names
        )
        tiny.replace("study.toml", COLUMNS, "\n".join(COLUMNS.splitlines()[:2]) + "\n" + forces)
        with pytest.raises(Refusals, match="pedal force of the left leg"):
            open_study(tiny.root)


def pulses_of(crank_rad, count):
    """A level that is high for the first half of each of `count` parts of a turn."""
    return (crank_rad * count / (2 * np.pi) % 1 < 0.5).astype(float) * 5


LEVELS = """pulse_threshold = 2.5
columns.time_s = { column = "t", unit = "s" }
columns.index_level = { column = "index", unit = "V" }
columns.torque_Nm = { column = "torque", unit = "N m" }
"""


class TestAngleSources:
    def write(self, tiny, crank_rad, declared, **more):
        declare(tiny, declared + LEVELS)
        torque = 30 + 12 * np.cos(2 * (crank_rad - np.radians(100)))
        write_csv(tiny, {"t": TIME_S, "index": pulses_of(crank_rad, 1), "torque": torque, **more})

    def test_pulses(self, tiny):
        declared = (
            'angle = "pulses"\npulses_per_turn = 24\ncolumns.pulse_level = { column = "pulse", unit = "V" }\n'
        )
        self.write(tiny, CRANK_RAD, declared, pulse=pulses_of(CRANK_RAD, 24))
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("power_W") == pytest.approx(POWER_W, rel=1e-3)
        # Edges are known to half a sample of 2 ms at 450°/s, which is 0.45°.
        assert result.value("torque_phase_deg") == pytest.approx(100, abs=0.5)
        assert any("within one sample of 2 ms, which is 0.9°" in said for said in result.assumptions)

    def test_one_pulse_a_turn_is_said_with_what_it_costs_on_the_ring(self, tiny):
        self.write(tiny, CRANK_RAD, 'angle = "index"\n')
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("power_W") == pytest.approx(POWER_W, rel=1e-3)
        assert any(
            "constant within each turn; on an oval ring it is not" in said for said in result.assumptions
        )
        text = (tiny.root / "recordings/T1.csv").read_text(encoding="utf-8")
        (tiny.root / "recordings/T3.csv").write_text(text.replace(",0,", ",0.0,", 1), encoding="utf-8")
        (said,) = [said for said in open_study(tiny.root).load_trial("T3").assumptions if "astray" in said]
        astray = float(said.split("up to ")[1].split("°")[0])
        assert 0.5 < astray < 3.0

    def test_a_gyroscope_between_index_pulses(self, tiny):
        crank = CRANK_RAD + 0.05 * np.sin(2 * CRANK_RAD)
        rate = np.gradient(np.degrees(crank), TIME_S) * 1.02  # a gain 2 % high
        declared = 'angle = "rate"\ncolumns.crank_rate_rad_s = { column = "rate", unit = "deg/s" }\n'
        self.write(tiny, crank, declared, rate=rate)
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("torque_phase_deg") == pytest.approx(100, abs=0.5)
        assert any("stretched by −1.9" in said for said in result.assumptions)

    def test_an_offset_is_taken_off_and_said(self, tiny):
        declare(tiny, COLUMNS + "angle_offset_deg = 7.0\n")
        write_csv(tiny, {"t": TIME_S, "angle": (np.degrees(CRANK_RAD) + 7) % 360, "torque": TORQUE_NM})
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("torque_phase_deg") == pytest.approx(100, abs=0.05)
        assert any("angle_offset_deg of 7° was taken off" in said for said in result.assumptions)

    @pytest.mark.parametrize(
        ("declared", "words"),
        [
            ('angle = "pulses"\n', "no pulse_level"),
            ('angle = "rate"\n', "no crank_rate_rad_s"),
            ('angle = "index"\npulses_per_turn = 4\n', "pulses_per_turn beside an angle from 'index'"),
            ('angle = "index"\ncolumns.crank_deg = { column = "a", unit = "deg" }\n', "crank_deg beside"),
        ],
    )
    def test_a_source_with_columns_of_another(self, tiny, declared, words):
        tiny.replace("study.toml", COLUMNS, declared + LEVELS)
        with pytest.raises(Refusals, match=words):
            open_study(tiny.root)


def test_angle_error_of_a_chain_at_constant_speed():
    """Speed ∝ 1/h with h = H₀(1 + ε cos 2θ), ε = (e − 1)/(e + 1): angle − even angle is ε/2·sin 2θ to first order."""
    ring = Drivetrain(Ring.ellipse(50, 1.10), mount_deg=70, sprocket_teeth=17, wheel_inertia_kgm2=1e6)
    arm = ring.lever_arm(np.arange(3600) * 2 * np.pi / 3600)
    from_dead_centre = 1 - math.cos(
        math.radians(2 * ring.peak_arm_deg + 90)
    )  # an even angle starts at 0 there
    size = math.degrees(0.1 / 2.1 / 2)
    found = largest_angle_error_deg(1 / arm, 1)
    assert size <= found <= size * (1 + abs(from_dead_centre)) * 1.05
    assert largest_angle_error_deg(np.ones(360), 1) == pytest.approx(0, abs=1e-9)
    assert largest_angle_error_deg(1 / arm, 360) < 0.01
