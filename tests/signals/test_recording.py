"""Reading a recording, and the one clear refusal of each fault."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from rides import crank_at, leg_torque

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, Recording, read_recording
from analysis_lib.signals.trial import analyse_trial

COLUMNS = {
    "time_s": ColumnSource("time", "s"),
    "crank_deg": ColumnSource("angle", "deg"),
    "torque_left_Nm": ColumnSource("left", "N m"),
    "torque_right_Nm": ColumnSource("right", "N m"),
}


def table(seconds=4.0, rate_hz=200):
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    crank = crank_at(time)
    return pd.DataFrame(
        {
            "time": time,
            "angle": np.round(np.degrees(crank) % 360, 6),
            "left": np.round(leg_torque(crank + np.pi), 6),
            "right": np.round(leg_torque(crank), 6),
            "marker": "a",
        }
    )


def settings(kind="csv", **changes):
    columns = {**COLUMNS, **changes.pop("columns", {})}
    return RecorderSettings(kind, {name: source for name, source in columns.items() if source}, **changes)


@pytest.fixture
def write(tmp_path):
    def write_csv(frame, **options):
        path = tmp_path / "ride.csv"
        if isinstance(frame, str):
            path.write_text(frame, encoding="utf-8")
        else:
            frame.to_csv(path, index=False, **options)
        return path

    return write_csv


def refusal_of(path, recorder=None, **window):
    with pytest.raises(Refusal) as caught:
        read_recording(path, recorder or settings(), **window)
    assert caught.value.scope == "trial"
    assert str(path.parent) not in str(caught.value)
    return caught.value


class TestReading:
    def test_wrapped_degrees_become_an_unwrapped_right_crank(self, write):
        recording = read_recording(write(table()), settings())
        assert recording.layout == "two legs"
        assert recording.name == "ride.csv"
        assert recording.assumptions == ()
        np.testing.assert_allclose(recording.crank_rad, crank_at(recording.time_s), atol=1e-7)
        np.testing.assert_allclose(recording.torque["right"], leg_torque(recording.crank_rad), atol=1e-5)

    @pytest.mark.parametrize(
        ("unit", "scale", "factor"),
        [("rad", 1, 2 * np.pi), ("turn", 1, 1.0), ("turn", 1 / 4096, 4096), ("deg", 0.001, 360e3)],
    )
    def test_declared_units_and_scales(self, write, unit, scale, factor):
        frame = table()
        frame["angle"] = crank_at(frame["time"]) / (2 * np.pi) % 1 * factor
        frame[["time", "left"]] *= 1000
        columns = {
            "time_s": ColumnSource("time", "ms"),
            "crank_deg": ColumnSource("angle", unit, scale),
            "torque_left_Nm": ColumnSource("left", "mN m"),
        }
        recording = read_recording(write(frame), settings(columns=columns))
        np.testing.assert_allclose(recording.time_s, table()["time"], atol=1e-12)
        np.testing.assert_allclose(recording.crank_rad, crank_at(recording.time_s), atol=1e-9)
        np.testing.assert_allclose(recording.torque["left"], table()["left"], atol=1e-9)

    def test_the_left_cranks_angle_is_half_a_turn_from_the_right_cranks(self, write):
        left, right = (
            read_recording(write(table()), settings(crank_side=side)) for side in ("left", "right")
        )
        np.testing.assert_allclose(left.crank_rad - right.crank_rad, np.pi, rtol=1e-12)

    @pytest.mark.parametrize("compression", ["snappy", "zstd"])
    def test_parquet_and_csv_give_the_same(self, write, tmp_path, compression):
        table().to_parquet(tmp_path / "ride.parquet", compression=compression)
        recordings = (
            read_recording(write(table()), settings()),
            read_recording(tmp_path / "ride.parquet", settings("parquet")),
        )
        for part in ("time_s", "crank_rad"):
            np.testing.assert_array_equal(*(getattr(recording, part) for recording in recordings))
        np.testing.assert_array_equal(*(recording.torque["left"] for recording in recordings))

    def test_parquet_of_whole_numbers(self, tmp_path):
        frame = (table()[["time", "angle", "left", "right"]] * 1000).round().astype("int32")
        frame.to_parquet(tmp_path / "ride.parquet")
        sources = {
            "time_s": ColumnSource("time", "ms"),
            "crank_deg": ColumnSource("angle", "deg", 0.001),
            "torque_left_Nm": ColumnSource("left", "mN m"),
            "torque_right_Nm": ColumnSource("right", "mN m"),
        }
        recording = read_recording(tmp_path / "ride.parquet", settings("parquet", columns=sources))
        np.testing.assert_allclose(recording.torque["right"], table()["right"], atol=6e-4)

    def test_semicolons_and_decimal_commas(self, write):
        recording = read_recording(write(table(), sep=";", decimal=","), settings(delimiter=";", decimal=","))
        np.testing.assert_allclose(recording.torque["left"], table()["left"], atol=1e-9)

    def test_signs_spaces_quotes_blank_lines_and_a_byte_order_mark(self, write):
        rows = [
            f'+{r.time:.3f}, {r.angle:.4f},"{r.left:.4f}",{r.right:+.4e}\r\n' for r in table().itertuples()
        ]
        text = (
            "\ufeff\r\ntime , angle,left,right\r\n"
            + "".join(rows[:50])
            + "\r\n"
            + "".join(rows[50:])
            + "\r\n\r\n"
        )
        recording = read_recording(write(text), settings())
        np.testing.assert_allclose(recording.torque["right"], table()["right"], atol=6e-4 * 50)
        assert recording.time_s.size == len(table())

    def test_start_and_end_cut_the_trial_out(self, write):
        recording = read_recording(write(table()), settings(), start_s=1.0, end_s=3.0)
        assert (recording.time_s[0], recording.time_s[-1]) == (1.0, 3.0)
        assert recording.assumptions == ()
        short = read_recording(write(table()), settings(), start_s=1.0, end_s=60.0)
        assert short.assumptions == ("The samples run from 1.0 to 4.0 s only, less than start_s to end_s.",)

    @pytest.mark.parametrize(
        ("mapped", "layout"),
        [
            (("torque_left_Nm",), "left only"),
            (("torque_right_Nm",), "right only"),
            (("torque_Nm",), "total only"),
        ],
    )
    def test_layouts_of_one_channel(self, write, mapped, layout):
        columns = {"torque_left_Nm": None, "torque_right_Nm": None}
        columns |= {name: ColumnSource("right", "N m") for name in mapped}
        assert read_recording(write(table()), settings(columns=columns)).layout == layout

    def test_a_total_beside_the_legs_is_checked_against_their_sum(self, write):
        frame = table().assign(total=lambda t: t["left"] + t["right"])
        recorder = settings(columns={"torque_Nm": ColumnSource("total", "N m")})
        recording = read_recording(write(frame), recorder)
        assert set(recording.torque) == {"left", "right"}
        assert "agrees with left + right" in recording.assumptions[0]
        frame["total"] *= 1.1
        assert "left + right that differs from the total by" in refusal_of(write(frame), recorder).got

    def test_missing_torque_and_angle_become_counted_gaps(self, write):
        frame = table()
        frame.loc[100:119, "left"] = np.nan
        frame.loc[115:129, "angle"] = np.nan
        recording = read_recording(write(frame), settings())
        assert recording.missing_samples == 30
        assert np.diff(recording.time_s).max() == pytest.approx(31 / 200)
        assert recording.assumptions == (
            "30 samples lack an angle or a torque; they were left out as gaps in time.",
        )
        np.testing.assert_allclose(recording.crank_rad, crank_at(recording.time_s), atol=1e-7)

    @pytest.mark.parametrize("full_scale", [30.0, None])
    def test_samples_at_full_scale_or_on_a_flat_top_are_marked(self, write, full_scale):
        frame = table()
        frame["right"] = frame["right"].clip(upper=30.0)
        recording = read_recording(write(frame), settings(full_scale_Nm=full_scale))
        np.testing.assert_array_equal(recording.saturated["right"], np.flatnonzero(frame["right"] == 30.0))
        if full_scale is None:
            assert recording.saturated["left"].size == 0

    @pytest.mark.parametrize(
        ("last", "cells"), [("4.0,17.5", 2), ("20.27,", 2), ("4.0,17.5,9.", 3), ("4.", 1)]
    )
    def test_a_last_line_cut_short_is_left_out_and_said(self, write, last, cells):
        text = table()[["time", "angle", "left", "right"]].to_csv(index=False)
        recording = read_recording(write(text + last), settings())
        assert recording.time_s.size == len(table())
        (caution,) = recording.cautions
        assert f"breaks off within its last line (line 802: {cells} of 4 cells)" in caution
        assert analyse_trial(recording).cautions[0] == caution

    def test_how_a_file_ends_is_no_matter_where_the_trial_ends_before(self, write):
        text = table()[["time", "angle", "left", "right"]].to_csv(index=False)
        assert read_recording(write(text + "4.0,17.5"), settings(), end_s=3.0).cautions == ()
        assert read_recording(write(text), settings()).cautions == ()
        assert len(read_recording(write(text + "4.0,17.5"), settings(), end_s=math.nan).cautions) == 1


class TestRefusedFiles:
    def test_missing(self, tmp_path):
        assert refusal_of(tmp_path / "none.csv").got == "no such file"

    def test_folder(self, tmp_path):
        assert refusal_of(tmp_path).got == "a folder"

    @pytest.mark.parametrize("kind", ["csv", "parquet"])
    def test_empty(self, tmp_path, kind):
        (tmp_path / "ride").touch()
        assert refusal_of(tmp_path / "ride", settings(kind)).got == "an empty file"

    @pytest.mark.parametrize(
        "text", ["time,angle,left,right\n", "time,angle,left,right", "time,angle,left,right\n\n\n"]
    )
    def test_header_only(self, write, text):
        assert refusal_of(write(text)).got == "a header and no samples"

    def test_header_only_parquet(self, tmp_path):
        table().iloc[:0].to_parquet(tmp_path / "ride.parquet")
        assert refusal_of(tmp_path / "ride.parquet", settings("parquet")).got == "a header and no samples"

    @pytest.mark.parametrize("kind", ["csv", "parquet"])
    def test_missing_column_names_the_nearest_and_all_found(self, write, tmp_path, kind):
        frame = table().rename(columns={"left": "Left_torque"})
        frame.to_parquet(tmp_path / "ride.parquet")
        path = write(frame) if kind == "csv" else tmp_path / "ride.parquet"
        columns = {"torque_left_Nm": ColumnSource("left_torque", "N m")}
        refusal = refusal_of(path, settings(kind, columns=columns))
        assert "(did you mean 'Left_torque'?)" in refusal.got
        assert "'time', 'angle', 'Left_torque', 'right', 'marker'" in refusal.wanted

    def test_a_column_that_stands_twice(self, write):
        text = table().to_csv(index=False).replace("marker", "left", 1)
        assert refusal_of(write(text)).got == "2 such columns"

    def test_another_delimiter_is_hinted_at(self, write):
        assert 'set delimiter = ";"' in refusal_of(write(table(), sep=";")).remedy

    @pytest.mark.parametrize("cut", [10, 1000, -3])
    def test_truncated_parquet(self, tmp_path, cut):
        table().to_parquet(tmp_path / "whole.parquet")
        path = tmp_path / "ride.parquet"
        path.write_bytes((tmp_path / "whole.parquet").read_bytes()[:cut])
        assert "no readable Parquet file" in refusal_of(path, settings("parquet")).got

    def test_parquet_with_damaged_pages(self, tmp_path):
        path = tmp_path / "ride.parquet"
        table().to_parquet(path)
        damaged = bytearray(path.read_bytes())
        damaged[4:3000] = b"\xff" * 2996
        path.write_bytes(damaged)
        assert "no readable Parquet file" in refusal_of(path, settings("parquet")).got

    def test_parquet_with_text_in_a_number_column(self, tmp_path):
        table().astype({"left": str}).to_parquet(tmp_path / "ride.parquet")
        refusal = refusal_of(tmp_path / "ride.parquet", settings("parquet"))
        assert "column 'left'" in refusal.what
        assert "string" in refusal.got


class TestRefusedNumbers:
    def with_field(self, row, column, text):
        frame = table().astype(object)
        frame.loc[row, column] = text
        return frame

    def test_text_names_its_line(self, write):
        refusal = refusal_of(write(self.with_field(321, "right", "error 7")))
        assert refusal.what == "ride.csv, line 323, column 'right'"
        assert refusal.got == "'error 7'"

    def test_blank_lines_are_counted(self, write):
        text = self.with_field(3, "left", "?").to_csv(index=False).replace("time,", "\n\ntime,", 1)
        assert "line 7," in refusal_of(write(text)).what

    def test_decimal_commas_that_were_not_declared(self, write):
        refusal = refusal_of(write(table(), sep=";", decimal=","), settings(delimiter=";"))
        assert refusal.what == "ride.csv, line 2, column 'time'"
        assert refusal.remedy == 'set decimal = "," in study.toml'

    def test_decimal_points_that_were_not_declared(self, write):
        refusal = refusal_of(write(table(), sep=";"), settings(delimiter=";", decimal=","))
        assert refusal.remedy == 'set decimal = "." in study.toml'

    def test_decimal_commas_between_commas(self, write):
        rows = "".join(f"0,{n:03d},{n % 360},5,1,5,2,5\n" for n in range(100))
        refusal = refusal_of(write("time,angle,left,right\n" + rows))
        assert (refusal.what, refusal.got, refusal.wanted) == (
            "ride.csv, line 2",
            "8 fields",
            "4 fields, as in the header",
        )

    def test_a_line_with_too_few_fields(self, write):
        lines = table().to_csv(index=False).splitlines()
        lines[57] = "0.28,1"
        assert refusal_of(write("\n".join(lines))).what == "ride.csv, line 58"

    @pytest.mark.parametrize(
        ("time", "got"),
        [
            (0.5, "time standing still at 0.5 s"),
            (0.2, "time going backwards from 0.5 to 0.2 s"),
            (np.nan, "no time"),
        ],
    )
    def test_time_that_does_not_grow(self, write, time, got):
        frame = table()
        frame.loc[101, "time"] = time
        refusal = refusal_of(write(frame))
        assert refusal.what == "ride.csv, line 103, column 'time'"
        assert refusal.got == got

    def test_a_fault_of_time_is_named_by_its_line_within_a_window(self, write):
        frame = table()
        frame.loc[501, "time"] = frame.loc[500, "time"]
        assert "line 503" in refusal_of(write(frame), start_s=2.0).what

    def test_too_few_samples(self, write):
        assert refusal_of(write(table().iloc[:9])).got == "9 samples"
        assert refusal_of(write(table()), start_s=3.99).got == "2 samples"
        assert "0 samples" in refusal_of(write(table()), start_s=30.0).got

    @pytest.mark.parametrize("column", ["left", "angle"])
    def test_an_empty_channel(self, write, column):
        assert "800 of 800 samples without" in refusal_of(write(table().assign(**{column: np.nan}))).got


class TestRefusedAngles:
    def refuse(self, write, angle, unit="deg", **frame):
        recorder = settings(columns={"crank_deg": ColumnSource("angle", unit)})
        return refusal_of(write(table(**frame).assign(angle=angle)), recorder)

    def test_an_angle_that_does_not_move(self, write):
        assert self.refuse(write, 12.5).got == "an angle that does not move"

    @pytest.mark.parametrize(
        ("stored", "declared"),
        [("rad", "deg"), ("turn", "deg"), ("turn", "rad"), ("deg", "rad"), ("deg", "turn"), ("rad", "turn")],
    )
    @pytest.mark.parametrize("rate_hz", [50, 200, 1000])
    @pytest.mark.parametrize("cadence", [40, 90])
    def test_a_wrapped_angle_in_another_unit(self, write, stored, declared, rate_hz, cadence):
        time = table(4, rate_hz)["time"]
        factor = {"rad": 2 * np.pi, "deg": 360, "turn": 1}[stored]
        angle = crank_at(time, cadence) / (2 * np.pi) % 1 * factor
        refusal = self.refuse(write, angle, declared, rate_hz=rate_hz)
        assert "unit or scale is probably wrong" in refusal.remedy
        assert repr(declared) in refusal.what

    def test_an_unwrapped_angle_in_another_unit(self, write):
        time = table(60)["time"]
        assert "half a turn" in self.refuse(write, np.degrees(crank_at(time)), "turn", seconds=60).got
        assert "rpm" in self.refuse(write, crank_at(time), "deg", seconds=60).got

    def test_an_angle_that_runs_backwards(self, write):
        refusal = self.refuse(write, -np.degrees(crank_at(table()["time"])) % 360)
        assert refusal.got == "6.0 turns backwards"
        assert "scale = -1" in refusal.remedy

    def test_too_few_samples_a_turn(self, write):
        """At 5 Hz and 90 rpm the crank goes 0.3 turn a sample."""
        time = table(20, 5)["time"]
        assert "3.3 samples a turn" in self.refuse(write, 540 * time, seconds=20, rate_hz=5).got


class TestSettings:
    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            (
                {"columns": {"crank_deg": ColumnSource("angle", "degrees")}},
                r"'degrees' \(did you mean 'deg'\?\)",
            ),
            ({"columns": {"torque_left_Nm": ColumnSource("left", "Nm")}}, r"'Nm' \(did you mean 'N m'\?\)"),
            ({"columns": {"torque_rigth_Nm": ColumnSource("r", "N m")}}, "did you mean 'torque_right_Nm'"),
            ({"kind": "xlsx"}, "kind"),
            ({"crank_side": "Left"}, "did you mean 'left'"),
            ({"columns": {"time_s": None}}, "no time_s"),
            ({"columns": {"torque_left_Nm": None, "torque_right_Nm": None}}, "torque channels"),
            ({"columns": {"torque_left_Nm": None, "torque_Nm": ColumnSource("t", "N m")}}, "right, total"),
        ],
    )
    def test_refused(self, changes, message):
        with pytest.raises(Refusal, match=message):
            settings(**changes)

    def test_a_recording_checks_its_shapes_and_its_layout(self):
        time = np.arange(20.0)
        with pytest.raises(Refusal, match="19 samples"):
            Recording(time, time, {"total": time[1:]})
        with pytest.raises(Refusal, match="declared as 'two legs'"):
            Recording(time, time, {"total": time}, "two legs")
        assert math.isclose(Recording(time, time, {"left": time}).duration_s, 19.0)
