"""MATLAB and C3D files, written by general libraries or packed by hand from the published format."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from rides import crank_at, leg_torque
from scipy.io import savemat

from analysis_lib.refusals import Refusal
from analysis_lib.signals.c3d_reader import read_c3d_columns
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording

TIME = np.arange(800) / 200
CRANK = crank_at(TIME)
VARIABLES = {"t": TIME, "angle": np.degrees(CRANK) % 360, "right": leg_torque(CRANK)}


def settings(kind, time="t", angle="angle", torque="right", unit="N m", scale=1.0):
    columns = {
        "time_s": ColumnSource(time, "s"),
        "crank_deg": ColumnSource(angle, "deg"),
        "torque_right_Nm": ColumnSource(torque, unit, scale),
    }
    return RecorderSettings(kind, columns)


def check(recording, torque_within=1e-9, angle_within=1e-9):
    np.testing.assert_allclose(recording.time_s, TIME, atol=1e-12)
    np.testing.assert_allclose(recording.crank_rad, CRANK, atol=angle_within)
    np.testing.assert_allclose(recording.torque["right"], leg_torque(CRANK), atol=torque_within)


class TestMatlab:
    @pytest.mark.parametrize("compressed", [False, True])
    @pytest.mark.parametrize("oned_as", ["row", "column"])
    def test_vectors(self, tmp_path, compressed, oned_as):
        path = tmp_path / "ride.mat"
        savemat(path, {**VARIABLES, "notes": "a ride"}, do_compression=compressed, oned_as=oned_as)
        check(read_recording(path, settings("mat")))

    def test_fields_of_a_structure_and_whole_numbers(self, tmp_path):
        path = tmp_path / "ride.mat"
        whole = np.rint(VARIABLES["right"] * 1000).astype("int32")
        savemat(path, {"ride": {"t": TIME, "crank": {"angle": VARIABLES["angle"]}, "mNm": whole}})
        recording = read_recording(path, settings("mat", "ride.t", "ride.crank.angle", "ride.mNm", "mN m"))
        check(recording, torque_within=6e-4)

    def test_missing_variables_and_fields(self, tmp_path):
        path = tmp_path / "ride.mat"
        savemat(path, {"ride": VARIABLES})
        with pytest.raises(Refusal, match="no such column"):
            read_recording(path, settings("mat"))
        with pytest.raises(Refusal, match="did you mean 'angle'"):
            read_recording(path, settings("mat", "ride.t", "ride.angel", "ride.right"))

    @pytest.mark.parametrize(
        ("wrong", "got"),
        [
            (leg_torque(CRANK)[:700], "700 values of 'right'"),
            (np.ones((20, 40)), "size 20 × 40"),
            ("text", "str"),
            (np.array([["a", "b"]], dtype=object), "object"),
            (leg_torque(CRANK) + 1j, "complex"),
        ],
    )
    def test_what_is_no_vector_of_the_same_length(self, tmp_path, wrong, got):
        path = tmp_path / "ride.mat"
        savemat(path, {**VARIABLES, "right": wrong})
        with pytest.raises(Refusal) as caught:
            read_recording(path, settings("mat"))
        assert got in caught.value.got

    def test_an_empty_variable(self, tmp_path):
        path = tmp_path / "ride.mat"
        savemat(path, {name: np.zeros(0) for name in VARIABLES})
        with pytest.raises(Refusal):
            read_recording(path, settings("mat"))


class TestMatlabHdf5:
    """Version 7.3: 512 bytes of header, then HDF5; vectors are stored 1 × n."""

    def write(self, path, **more):
        h5py = pytest.importorskip("h5py")
        with h5py.File(path, "w", userblock_size=512) as file:
            ride = file.create_group("ride")
            for name, values in VARIABLES.items():
                ride.create_dataset(name, data=values[None])
            for name, values in more.items():
                ride[name] = values
        with path.open("r+b") as file:
            file.write(b"MATLAB 7.3 MAT-file, Platform: any".ljust(512))
        return h5py

    def test_vectors(self, tmp_path):
        self.write(tmp_path / "ride.mat")
        check(read_recording(tmp_path / "ride.mat", settings("mat", "ride.t", "ride.angle", "ride.right")))

    def test_a_data_set_that_only_announces_its_size(self, tmp_path):
        h5py = self.write(tmp_path / "ride.mat")
        with h5py.File(tmp_path / "ride.mat", "r+") as file:
            file.create_dataset(
                "ride/bomb", shape=(1, 10**12), chunks=(1, 10**6), dtype="f8", compression="gzip"
            )
        with pytest.raises(Refusal, match="at most 50000000"):
            read_recording(tmp_path / "ride.mat", settings("mat", "ride.t", "ride.angle", "ride.bomb"))

    def test_links_to_other_files_are_not_followed(self, tmp_path):
        h5py = self.write(tmp_path / "ride.mat")
        self.write(tmp_path / "other.mat")
        with h5py.File(tmp_path / "ride.mat", "r+") as file:
            file["ride/right_elsewhere"] = h5py.ExternalLink(str(tmp_path / "other.mat"), "ride/right")
        with pytest.raises(Refusal, match="no such column"):
            read_recording(
                tmp_path / "ride.mat", settings("mat", "ride.t", "ride.angle", "ride.right_elsewhere")
            )

    def test_damaged(self, tmp_path):
        self.write(tmp_path / "ride.mat")
        whole = (tmp_path / "ride.mat").read_bytes()
        (tmp_path / "cut.mat").write_bytes(whole[:3000])
        with pytest.raises(Refusal, match="no readable MATLAB file"):
            read_recording(tmp_path / "cut.mat", settings("mat", "ride.t", "ride.angle", "ride.right"))


def pack_c3d(channels, rate, scale=0.001):
    """Pack analogue channels as a C3D file of little-endian whole numbers (C3D User Guide; from memory).

    512 bytes of header, 512 bytes of parameters, then a 16-bit number for each channel and sample.
    """

    def parameter(group, name, data_type, dimensions, data):
        body = bytes([data_type & 0xFF, len(dimensions), *dimensions]) + data + b"\0"
        return bytes([len(name), group]) + name.encode() + struct.pack("<h", len(body) + 2) + body

    def group(number, name):
        return struct.pack("<bb", len(name), -number) + name.encode() + struct.pack("<h", 3) + b"\0"

    labels = "".join(name.ljust(8) for name in channels).encode()
    count = len(channels)
    samples = np.column_stack(list(channels.values()))
    frames = len(samples)
    parameters = bytes([1, 0x50, 1, 84])
    parameters += group(1, "POINT")
    parameters += parameter(1, "USED", 2, [], struct.pack("<h", 0))
    parameters += parameter(1, "SCALE", 4, [], struct.pack("<f", 1.0))
    parameters += parameter(1, "RATE", 4, [], struct.pack("<f", rate))
    parameters += parameter(1, "DATA_START", 2, [], struct.pack("<h", 3))
    parameters += parameter(1, "FRAMES", 2, [], struct.pack("<h", frames))
    parameters += parameter(1, "LABELS", -1, [0, 0], b"")
    parameters += parameter(1, "DESCRIPTIONS", -1, [0, 0], b"")
    parameters += group(2, "ANALOG")
    parameters += parameter(2, "USED", 2, [], struct.pack("<h", count))
    parameters += parameter(2, "LABELS", -1, [8, count], labels)
    parameters += parameter(2, "GEN_SCALE", 4, [], struct.pack("<f", 1.0))
    parameters += parameter(2, "SCALE", 4, [count], struct.pack(f"<{count}f", *[scale] * count))
    parameters += parameter(2, "OFFSET", 2, [count], struct.pack(f"<{count}h", *[0] * count))
    parameters += parameter(2, "RATE", 4, [], struct.pack("<f", rate))
    parameters += b"\0\0"
    blocks = -(-len(parameters) // 512)
    parameters = bytes([1, 0x50, blocks, 84]) + parameters[4:]
    header = struct.pack("<BBHHHHHfHHf", 2, 0x50, 0, count, 1, frames, 0, 1.0, 2 + blocks, 1, rate)
    data = np.rint(samples / scale).astype("<i2").tobytes()
    return header.ljust(512, b"\0") + parameters.ljust(512 * blocks, b"\0") + data


# Whole numbers of 0.001 reach to 32.767 only.
C3D_CHANNELS = {"angle": VARIABLES["angle"] / 20, "right": VARIABLES["right"] / 2}


class TestC3d:
    def test_channels_packed_by_hand(self, tmp_path):
        pytest.importorskip("ezc3d")
        (tmp_path / "ride.c3d").write_bytes(pack_c3d(C3D_CHANNELS, 200.0))
        columns = {
            "time_s": ColumnSource("sample time", "s"),
            "crank_deg": ColumnSource("angle", "deg", 20),
            "torque_right_Nm": ColumnSource("right", "N m", 2),
        }
        recording = read_recording(tmp_path / "ride.c3d", RecorderSettings("c3d", columns))
        check(recording, torque_within=2 * 0.00051, angle_within=np.radians(20 * 0.00051))

    def test_a_missing_channel_names_those_found(self, tmp_path):
        pytest.importorskip("ezc3d")
        (tmp_path / "ride.c3d").write_bytes(pack_c3d(C3D_CHANNELS, 200.0))
        with pytest.raises(Refusal, match="'sample time', 'angle', 'right'"):
            read_recording(tmp_path / "ride.c3d", settings("c3d"))

    @pytest.mark.parametrize(
        "content", [b"P", b"PK\x03\x04" + bytes(600), b"\x02\x50", b"\xff\x50" + bytes(2000)]
    )
    def test_what_is_no_c3d_file(self, tmp_path, content):
        (tmp_path / "ride.c3d").write_bytes(content)
        with pytest.raises(Refusal, match="a whole C3D file"):
            read_recording(tmp_path / "ride.c3d", settings("c3d"))


def test_a_c3d_file_of_more_frames_than_its_header_counts_is_not_cut_in_silence(tmp_path):
    ezc3d = pytest.importorskip("ezc3d")
    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [1000.0]
    made["parameters"]["ANALOG"]["RATE"]["value"] = [1000.0]
    made["parameters"]["ANALOG"]["LABELS"]["value"] = ("angle", "right")
    path = tmp_path / "long.c3d"
    for samples in (65_535, 70_000):
        made["data"]["analogs"] = np.ones((1, 2, samples))
        made["data"]["points"] = np.zeros((4, 0, samples))
        made.write(str(path))
        if samples == 65_535:
            assert read_c3d_columns(path, ["angle"]).values["angle"].size == samples
    with pytest.raises(Refusal, match="65535 frames, the most that its header can count"):
        read_c3d_columns(path, ["angle"])
