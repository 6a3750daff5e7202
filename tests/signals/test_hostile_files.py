"""Files that are not what they say: each ends in one refusal, quickly, or in the right numbers."""

from __future__ import annotations

import io
import os
import pickle
import struct
import time
import zipfile
import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet
from rides import crank_at, leg_torque
from scipy.io import savemat

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recorder import MessageColumns
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording

COLUMNS = {
    "time_s": ColumnSource("t", "s"),
    "crank_deg": ColumnSource("angle", "deg"),
    "torque_Nm": ColumnSource("torque", "N m"),
}
LOG = RecorderSettings("notifications", messages=MessageColumns("t", "c", "m", "total", "even angle"))
TIME = np.arange(400) / 100
ROWS = [
    f"{t:.3f},{angle:.4f},{torque:.4f}"
    for t, angle, torque in zip(
        TIME, np.degrees(crank_at(TIME)) % 360, leg_torque(crank_at(TIME)), strict=True
    )
]


@pytest.fixture
def read(tmp_path):
    def read_bytes(content, kind="csv", **changes):
        path = tmp_path / "ride"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_recording(path, RecorderSettings(kind, COLUMNS, **changes))

    return read_bytes


@cache
def zip_bomb():
    """A hundred megabytes of zeros in a hundred kilobytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("ride.mat", bytes(10**8))
    return packed.getvalue()


@pytest.mark.parametrize("kind", ["mat", "csv", "parquet", "c3d"])
def test_a_zip_bomb_under_another_name(read, kind):
    begun = time.perf_counter()
    with pytest.raises(Refusal):
        read(zip_bomb(), kind)
    assert time.perf_counter() - begun < 5


def mat_5(payload):
    return b"MATLAB 5.0 MAT-file".ljust(116) + bytes(8) + b"\x00\x01IM" + payload


def test_a_matlab_variable_that_unpacks_to_far_more_than_its_file(read):
    """A compressed 1 × 2 000 000 000 matrix of zeros: the announced size is refused before anything is unpacked."""
    head = struct.pack("<II", 6, 8) + struct.pack("<II", 6, 0)  # class double
    dimensions = struct.pack("<II", 5, 8) + struct.pack("<ii", 1, 2_000_000_000)
    name = struct.pack("<HH", 1, 1) + b"t\0\0\0"
    matrix = struct.pack("<II", 14, 2**31) + head + dimensions + name + struct.pack("<II", 9, 2**31)
    packed = zlib.compress(matrix + bytes(10**7))
    others = io.BytesIO()
    savemat(others, {"angle": TIME, "torque": TIME})
    content = mat_5(struct.pack("<II", 15, len(packed)) + packed + others.getvalue()[128:])
    with pytest.raises(Refusal, match="'t' – got 2000000000 numbers"):
        read(content, "mat")


IN_A_RIDE = {name: replace(source, column=f"ride.{source.column}") for name, source in COLUMNS.items()}


def element(kind, content):
    """One element of a MATLAB file, level 5: its kind, its size, its content to the next eight bytes."""
    return struct.pack("<II", kind, len(content)) + content + bytes(-len(content) % 8)


def cells_within_cells(depth):
    """A variable `ride` of 1 × 1 cells, each of which holds the next."""
    head = element(6, struct.pack("<II", 1, 0)) + element(5, struct.pack("<ii", 1, 1))
    content = b""
    for level in range(depth):
        content = element(14, head + element(1, b"ride" if level == depth - 1 else b"") + content)
    return content


@pytest.mark.parametrize("depth", [17, 2000])
def test_cells_nested_deeper_than_the_parser_can_go(tmp_path, depth):
    """Of 30 000 the compiled parser ended the whole process; 60 kilobytes hold so many."""
    packed = zlib.compress(cells_within_cells(depth))
    for content in (cells_within_cells(depth), struct.pack("<II", 15, len(packed)) + packed):
        (tmp_path / "ride").write_bytes(mat_5(content))
        with pytest.raises(Refusal, match="structures nested more than 16 deep"):
            read_recording(tmp_path / "ride", RecorderSettings("mat", IN_A_RIDE))


def test_a_structure_that_unpacks_to_far_more_than_its_file(tmp_path, monkeypatch):
    columns = {"t": TIME, "angle": np.degrees(crank_at(TIME)), "torque": leg_torque(crank_at(TIME))}
    savemat(tmp_path / "ride", {"ride": columns | {"spare": np.zeros(200_000)}}, do_compression=True)
    settings = RecorderSettings("mat", IN_A_RIDE)
    assert read_recording(tmp_path / "ride", settings).time_s.size == 400
    monkeypatch.setattr("analysis_lib.signals.mat_structures.LARGEST_BYTES", 8 * 100_000)
    with pytest.raises(Refusal, match="got a structure of more than 800000 bytes") as refused:
        read_recording(tmp_path / "ride", settings)
    assert "save its vectors as variables of their own" in refused.value.remedy
    vectors = {"ride": columns, "spare": np.zeros(200_000)}
    savemat(tmp_path / "ride", vectors, do_compression=True)  # beside the structure it is not even unpacked
    assert read_recording(tmp_path / "ride", settings).time_s.size == 400


def test_a_parquet_file_of_like_rows_that_unpacks_to_far_more_than_its_file(tmp_path, monkeypatch):
    """Two million like rows take some kilobytes; the largest number of rows is lowered, so that the test is quick."""
    columns = {name: pa.array(np.zeros(2_000_000)) for name in ("t", "angle", "torque")}
    parquet.write_table(pa.table(columns), tmp_path / "ride")
    assert (tmp_path / "ride").stat().st_size < 50_000  # of 48 MB
    monkeypatch.setattr("analysis_lib.signals.stored_columns.LARGEST_COLUMN", 1_000_000)
    with pytest.raises(Refusal, match="got 2000000 numbers – wanted at most 1000000"):
        read_recording(tmp_path / "ride", RecorderSettings("parquet", COLUMNS))


@pytest.mark.parametrize("length", [100, 128, 130, 140, 400, -20])
def test_a_matlab_file_cut_short(read, length):
    whole = io.BytesIO()
    savemat(whole, {"t": TIME, "angle": np.degrees(crank_at(TIME)), "torque": leg_torque(crank_at(TIME))})
    with pytest.raises(Refusal):
        read(whole.getvalue()[:length], "mat")


class TestText:
    header = "t,angle,torque\n"

    @pytest.mark.parametrize("place", [0, 5, 200, -1])
    def test_nul_bytes(self, read, place):
        rows = [*ROWS]
        rows[place] = rows[place][:3] + "\0" + rows[place][3:]
        with pytest.raises(Refusal, match="line"):
            read(self.header + "\n".join(rows))

    def test_nothing_but_nul_bytes(self, read):
        with pytest.raises(Refusal, match="NUL bytes"):
            read(bytes(5000))

    def test_a_header_without_an_end(self, read):
        with pytest.raises(Refusal, match="a first line without an end"):
            read("t," * 5_000_000)

    def test_a_header_of_a_hundred_thousand_columns(self, read):
        with pytest.raises(Refusal):
            read(",".join(f"c{n}" for n in range(10_000)) + "\n" + "1," * 9_999 + "1\n")

    def test_a_line_without_an_end(self, read):
        with pytest.raises(Refusal):
            read(self.header + "\n".join(ROWS) + "\n4.0," + "1" * 3_000_000 + ",5\n")

    def test_a_quote_that_is_never_closed(self, read):
        rows = [*ROWS]
        rows[100] = '1.0,"20' + rows[100][3:]
        with pytest.raises(Refusal):
            read(self.header + "\n".join(rows))

    @pytest.mark.parametrize("encoding", ["utf-16", "utf-32"])
    def test_another_encoding(self, read, encoding):
        with pytest.raises(Refusal, match="UTF-8"):
            read((self.header + "\n".join(ROWS)).encode(encoding))

    def test_a_header_in_latin_letters(self, read):
        with pytest.raises(Refusal, match="UTF-8"):
            read(("t,angle,torque,Größe\n" + ",0\n".join(ROWS) + ",0\n").encode("latin-1"))

    def test_line_ends_of_three_kinds_mixed(self, read):
        text = self.header
        for number, row in enumerate(ROWS):
            text += row + ("\r\n", "\n", "\r")[number % 3]
        np.testing.assert_allclose(read(text).torque["total"], leg_torque(crank_at(TIME)), atol=1e-4)

    def test_jittered_repeats_of_samples(self, read):
        """Every tenth sample sent twice, the second a little later and slightly off: more samples, no harm."""
        rows = []
        for number, row in enumerate(ROWS):
            rows.append(row)
            if number % 10 == 0:
                t, angle, torque = row.split(",")
                rows.append(f"{float(t) + 1e-4:.4f},{angle},{float(torque) + 0.01}")
        recording = read(self.header + "\n".join(rows))
        assert recording.time_s.size == 440
        np.testing.assert_allclose(recording.crank_rad, crank_at(recording.time_s), atol=0.002)

    def test_exact_repeats_are_refused_by_line(self, read):
        rows = [*ROWS[:50], ROWS[49], *ROWS[50:]]
        with pytest.raises(Refusal, match=r"line 52, column 't' – got time standing still"):
            read(self.header + "\n".join(rows))

    def test_numbers_beyond_all_bounds(self, read):
        """Infinite values are gaps; a number too large for a float is read as infinite."""
        rows = [*ROWS]
        for place, value in ((10, "inf"), (20, "-inf"), (30, "1e999"), (40, "nan")):
            rows[place] = ",".join([*rows[place].split(",")[:2], value])
        assert read(self.header + "\n".join(rows)).missing_samples == 4

    @given(junk=st.binary(max_size=400))
    @settings(max_examples=150, deadline=None)
    def test_any_bytes_end_in_a_refusal(self, junk, tmp_path_factory):
        path = tmp_path_factory.mktemp("junk") / "ride"
        for kind in ("csv", "parquet", "mat", "c3d"):
            path.write_bytes(junk)
            with pytest.raises(Refusal):
                read_recording(path, RecorderSettings(kind, COLUMNS))

    @given(place=st.integers(0, 3000), junk=st.binary(min_size=1, max_size=6))
    @settings(max_examples=150, deadline=None)
    def test_any_bytes_in_the_middle_of_a_recording_are_read_or_refused(self, place, junk, tmp_path_factory):
        path = tmp_path_factory.mktemp("junk") / "ride"
        content = (self.header + "\n".join(ROWS)).encode()
        path.write_bytes(content[:place] + junk + content[place:])
        try:
            recording = read_recording(path, RecorderSettings("csv", COLUMNS))
        except Refusal as refusal:
            assert refusal.scope == "trial"
        else:
            assert recording.time_s.size + recording.missing_samples >= 390


@pytest.mark.parametrize("kind", ["csv", "parquet", "mat", "c3d"])
def test_a_pipe_a_device_and_a_link_to_itself_are_not_opened(kind, tmp_path):
    """Reading a pipe or /dev/zero would never end."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "zero").symlink_to("/dev/zero")
    (tmp_path / "loop").symlink_to("loop")
    for name, got in (
        ("pipe", "a device or a pipe"),
        ("zero", "a device or a pipe"),
        ("loop", "no such file"),
    ):
        with pytest.raises(Refusal, match=f"{name} – got {got}"):
            read_recording(tmp_path / name, RecorderSettings(kind, COLUMNS))


@pytest.mark.parametrize("kind", ["csv", "parquet", "mat", "c3d"])
def test_archives_of_arrays_and_pickles_are_no_recordings(read, kind, tmp_path):
    class Attack:
        def __reduce__(self):
            return (Path.touch, (tmp_path / "ran",))

    arrays = io.BytesIO()
    np.savez(arrays, t=np.array([Attack()], dtype=object))
    for content in (arrays.getvalue(), pickle.dumps(Attack())):
        with pytest.raises(Refusal):
            read(content, kind)
    assert not (tmp_path / "ran").exists()


def test_a_compressed_csv_is_not_unpacked_by_its_name(tmp_path):
    """LZ4 begins with bytes that are text, so that its header would pass for one of a CSV."""
    (tmp_path / "ride.csv.lz4").write_text("t,angle,torque\n" + "\n".join(ROWS))
    assert read_recording(tmp_path / "ride.csv.lz4", RecorderSettings("csv", COLUMNS)).time_s.size == 400


def test_groups_that_hold_each_other_are_gone_through_once(tmp_path):
    """Sixty links of a group to itself have 13 million names four levels deep."""
    h5py = pytest.importorskip("h5py")
    with h5py.File(tmp_path / "ride", "w") as file:
        file["t"] = TIME
        for link in range(60):
            file[f"g{link}"] = file["/"]
    begun = time.process_time()
    with pytest.raises(Refusal, match="no such column"):
        read_recording(tmp_path / "ride", RecorderSettings("mat", COLUMNS))
    assert time.process_time() - begun < 2


@given(junk=st.one_of(st.binary(max_size=400), st.just(b'1.0,2A64,"' + b"0" * 200_000)))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_read_as_a_log_or_refused(junk, tmp_path_factory):
    path = tmp_path_factory.mktemp("junk") / "log"
    for content in (junk, b"t,c,m\n" + junk):
        path.write_bytes(content)
        with pytest.raises(Refusal):
            read_recording(path, LOG)
