"""Files that independent libraries wrote, read back: what they are and who wrote them says files/README.md."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as with_settings
from hypothesis import strategies as st
from rides import crank_at, leg_torque

from analysis_lib.refusals import Refusal
from analysis_lib.signals.c3d_file import open_c3d
from analysis_lib.signals.c3d_reader import read_c3d_columns
from analysis_lib.signals.markers import angle_from_markers
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording

FILES = Path(__file__).parent / "files"
C3D = FILES / "c3d.c3d"
TIME_S = np.arange(400) / 200
CRANK = crank_at(TIME_S)
MARKERS = {
    "marker_pedal_forward_m": ColumnSource("PEDAL.x", "mm"),
    "marker_pedal_up_m": ColumnSource("PEDAL.z", "mm"),
    "marker_axis_forward_m": ColumnSource("AXIS.x", "mm"),
    "marker_axis_up_m": ColumnSource("AXIS.z", "mm"),
}


@pytest.mark.parametrize(
    ("file", "above"), [("mat4py.mat", ""), ("mat4py.mat", "ride."), ("hdf5storage.mat", "ride.")]
)
def test_matlab_files(file, above):
    """Vectors by themselves, an array of structures with a sample in each, and vectors within a structure."""
    if file == "hdf5storage.mat":
        pytest.importorskip("h5py")
    columns = {
        "time_s": ColumnSource(f"{above}t", "s"),
        "crank_deg": ColumnSource(f"{above}angle", "deg"),
        "torque_right_Nm": ColumnSource(f"{above}right", "N m"),
    }
    recording = read_recording(FILES / file, RecorderSettings("mat", columns))
    np.testing.assert_allclose(recording.time_s, TIME_S, atol=1e-9)
    np.testing.assert_allclose(recording.crank_rad, CRANK, atol=1e-9)
    np.testing.assert_allclose(recording.torque["right"], leg_torque(CRANK), atol=1e-9)


def test_channels_of_a_c3d_file():
    """Its numbers are real ones of 32 bits: 2⁻²⁴ of 360° and of 40 N·m."""
    columns = {
        "time_s": ColumnSource("sample time", "s"),
        "crank_deg": ColumnSource("angle", "deg"),
        "torque_right_Nm": ColumnSource("right", "N m"),
    }
    recording = read_recording(C3D, RecorderSettings("c3d", columns))
    np.testing.assert_allclose(recording.time_s, TIME_S, atol=1e-12)
    np.testing.assert_allclose(recording.crank_rad, CRANK, atol=np.radians(360 * 2**-24))
    np.testing.assert_allclose(recording.torque["right"], leg_torque(CRANK), atol=40 * 2**-24)


def test_the_angle_from_markers_of_a_c3d_file():
    """Right at every frame; between two frames the straight line errs by δ²/8 of a radian at most, δ the angle between."""
    columns = {
        "time_s": ColumnSource("sample time", "s"),
        "torque_right_Nm": ColumnSource("right", "N m"),
        **MARKERS,
    }
    recording = read_recording(C3D, RecorderSettings("c3d", columns, angle="markers"))
    np.testing.assert_allclose(recording.crank_rad[::2], CRANK[::2], atol=1e-6)
    np.testing.assert_allclose(
        recording.crank_rad[1:-1:2], CRANK[1:-1:2], atol=np.diff(CRANK[::2]).max() ** 2 / 8
    )
    assert "the pedal's marker about the axis' marker, 170" in " ".join(recording.assumptions)


def test_a_marker_that_was_not_seen_is_a_gap(tmp_path):
    """The fourth number of a point is its residual, −1 where it was not seen: frames 50 to 59 of PEDAL."""
    found = open_c3d(C3D)
    raw = bytearray(C3D.read_bytes())
    begin = raw.find(found.points[0].tobytes())
    for frame in range(50, 60):
        at = (
            begin + frame * 16 * 4 + 4 * 4 + 3 * 4
        )  # 12 numbers of points and 4 of channels a frame; PEDAL is the second
        raw[at : at + 4] = struct.pack("<f", -1.0)
    (tmp_path / "unseen.c3d").write_bytes(raw)
    columns = read_c3d_columns(tmp_path / "unseen.c3d", ["PEDAL.x", "AXIS.x"]).values
    assert np.isfinite(columns["AXIS.x"]).all()
    gone = np.flatnonzero(np.isnan(columns["PEDAL.x"]))
    assert (gone[0], gone[-1], gone.size) == (
        99,
        119,
        21,
    )  # from after the frame before to before the frame after


def test_markers_that_are_no_crank_are_refused():
    turns = 2 * np.pi * np.arange(100) / 20
    forward, up, nothing = 0.17 * np.sin(turns), 0.17 * np.cos(turns), np.zeros(100)
    found = angle_from_markers(forward, up, nothing, nothing).turns
    np.testing.assert_allclose(np.exp(2j * np.pi * found), np.exp(1j * turns), atol=1e-12)
    with pytest.raises(Refusal, match=r"got 1\.7e\+05 mm apart"):
        angle_from_markers(1000 * forward, 1000 * up, nothing, nothing)
    with pytest.raises(Refusal, match="standard deviation"):
        angle_from_markers(
            forward, nothing, nothing, nothing
        )  # upward was mapped to a coordinate that stands still


def test_a_c3d_file_that_is_cut_short(tmp_path):
    whole = C3D.read_bytes()
    for length in (1, 100, 511, 600, 2000, len(whole) // 2, len(whole) - 600):
        (tmp_path / "cut.c3d").write_bytes(whole[:length])
        with pytest.raises(Refusal, match="a whole C3D file"):
            read_c3d_columns(tmp_path / "cut.c3d", ["angle"])


def test_another_byte_order_and_unsigned_numbers(tmp_path):
    """Two channels of a MIPS machine, big-endian and unsigned: (40000 − 32768) · 0.5 = 3616; packed by hand."""

    def parameter(group, name, kind, dimensions, data):
        body = bytes([kind & 0xFF, len(dimensions), *dimensions]) + data + b"\0"
        return bytes([len(name), group]) + name.encode() + struct.pack(">h", len(body) + 2) + body

    parameters = struct.pack(">bb", 6, -1) + b"ANALOG" + struct.pack(">h", 3) + b"\0"
    parameters += parameter(1, "LABELS", -1, [4, 2], b"one two ")
    parameters += parameter(1, "FORMAT", -1, [8], b"UNSIGNED")
    parameters += parameter(1, "SCALE", 4, [2], struct.pack(">2f", 0.5, 1.0))
    parameters += parameter(1, "OFFSET", 2, [2], struct.pack(">2H", 32768, 0))
    head = struct.pack(">BBHHHHHfHHf", 2, 0x50, 0, 2, 1, 3, 0, 1.0, 3, 1, 50.0)
    data = np.array([[40000, 1], [32768, 2], [0, 65535]], dtype=">u2").tobytes()
    section = bytes([1, 0x50, 1, 86]) + parameters
    path = tmp_path / "big.c3d"
    path.write_bytes(head.ljust(512, b"\0") + section.ljust(512, b"\0") + data)
    columns = read_c3d_columns(path, ["sample time", "one", "two"]).values
    assert columns["one"].tolist() == [3616.0, 0.0, -16384.0]
    assert columns["two"].tolist() == [1.0, 2.0, 65535.0]
    assert columns["sample time"].tolist() == [0.0, 0.02, 0.04]


def test_numbers_of_a_dec_machine_are_refused(tmp_path):
    raw = bytearray(C3D.read_bytes())
    raw[512 + 3] = 85
    (tmp_path / "dec.c3d").write_bytes(raw)
    with pytest.raises(Refusal, match="no Intel or MIPS machine"):
        read_c3d_columns(tmp_path / "dec.c3d", ["angle"])


@with_settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.integers(0, 3000), junk=st.binary(min_size=1, max_size=8))
def test_any_bytes_in_a_c3d_file_are_read_or_refused(place, junk, tmp_path_factory):
    raw = bytearray(C3D.read_bytes())
    raw[place : place + len(junk)] = junk
    path = tmp_path_factory.mktemp("c3d") / "ride.c3d"
    path.write_bytes(raw)
    try:
        values = read_c3d_columns(path, ["sample time", "angle", "PEDAL.x"]).values
    except Refusal:
        return
    assert len({column.size for column in values.values()}) == 1
