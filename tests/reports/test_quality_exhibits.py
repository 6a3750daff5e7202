"""Tables of the data-quality page, from trials and checks that were made up by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_tables import RiderTables
from analysis_lib.reports.study import exclusion_exhibits, quality_exhibits, recorder_exhibits, study_exhibits
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.recorder_map import ColumnMap, MessageMap
from analysis_lib.study.synthetic.synthetic import small_study

NOTHING = pd.DataFrame()
NO_QUANTITIES = pd.DataFrame(columns=["trial", "quantity", "value"])


def trial(number, state="used", reason="", **more):
    """A row of a rider's trials: five minutes apart, a minute long, a sample every 10 ms."""
    row = {
        **{"trial": f"T{number}", "rider": "R01", "sequence": "A", "period": 1, "intensity": "steady"},
        **{"ring": "round", "ring_name": "round", "recorder": "two_leg_crank", "usable": True},
        **{"state": state, "reason": reason, "missing_samples": 0, "kept_turns": 80.0},
        **{"started_at": pd.Timestamp("2026-03-02T09:00:00") + pd.Timedelta(minutes=5 * number)},
        **{"duration_s": 60.0, "sample_rate_hz": 100.0, "longest_gap_s": 0.01},
    }
    return row | more


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("quality") / "study"
    small_study(folder, riders=2, duration_s=20.0)
    return open_study(folder)


def analysis_of(study, *rows, left_out=None, quantities=NO_QUANTITIES, **settings):
    rules = study.settings.rules.model_copy(update=settings)
    study = replace(study, settings=study.settings.model_copy(update={"rules": rules}))
    tables = RiderTables(pd.DataFrame(list(rows)), quantities, NOTHING, NOTHING, NOTHING, NOTHING)
    return StudyAnalysis(study, {"R01": tables}, left_out or {})


LOST = (
    trial(1),
    trial(2, "caution", "Only 12 whole turns were kept."),
    trial(3, "not used", "excluded: chain dropped"),
    trial(4, "not used", "excluded by rule: 12 kept turns, fewer than exclude_below_turns = 20"),
    trial(5, "not used", "excluded by rule: zero torque moved, more than exclude_above_zero_drift_Nm = 0.5"),
    trial(6, "not used", "T6.csv – got an empty file – wanted a recording – copy it again"),
    trial(7, "not used", "trials.csv, row 8, ring – got 'ovall'", usable=False),
)


class TestExclusions:
    def test_every_rule_has_its_count_and_what_is_not_declared_is_said(self, study):
        analysis = analysis_of(study, *LOST, exclude_below_turns=20, exclude_above_zero_drift_Nm=0.5)
        frame = exclusion_exhibits.causes_table(analysis).frame
        assert frame.to_numpy().tolist() == [
            ["exclude = yes in trials.csv", "", 1],
            ["exclude_below_turns", "20", 1],
            ["exclude_above_dropped_pct", "not declared", 0],
            ["exclude_above_zero_drift_Nm", "0.5", 1],
            ["a fault in the study's tables", "", 1],
            ["a recording that cannot be used", "", 1],
        ]
        assert len(exclusion_exhibits.exclusions_table(analysis).frame) == frame["trials"].sum() == 5

    def test_cautions_stand_with_their_words(self, study):
        (row,) = exclusion_exhibits.cautions_table(analysis_of(study, *LOST)).frame.to_dict("records")
        assert (row["trial"], row["reason"]) == ("T2", "Only 12 whole turns were kept.")

    def test_trials_of_a_rider_who_could_not_be_analysed_are_counted_and_drawn(self, study):
        analysis = analysis_of(study, *LOST, left_out={"R02": "no trial that could be analysed"})
        own = int((study.trials["rider"] == "R02").sum())
        frame = exclusion_exhibits.exclusions_table(analysis).frame
        assert (frame["rider"] == "R02").sum() == own > 0
        assert set(frame.loc[frame["rider"] == "R02", "reason"]) == {"rider: no trial that could be analysed"}
        words = exclusion_exhibits.state_sentences(analysis)[0]
        assert f"{len(LOST) + own} listed: 1 used, 1 used with caution, {5 + own} not used" in words
        cells = study_exhibits.quality_strip_exhibit(analysis).data
        assert len(cells) == len(LOST) + own


class TestClocks:
    def test_jumps_and_lost_samples(self, study):
        """A gap of 15 ms is one and a half usual times and none lost; 20 ms is one sample lost; 3 s is a jump."""
        rows = [
            trial(1),
            trial(2, longest_gap_s=0.015),
            trial(3, longest_gap_s=0.02, missing_samples=7),
            trial(4, longest_gap_s=3.0),
        ]
        (row,) = quality_exhibits.clock_table(analysis_of(study, *rows)).frame.to_dict("records")
        assert (row["trials"], row["trials_with_gap"], row["missing_samples"]) == (4, 2, 7)
        assert (row["longest_gap_ms"], row["gap_of"], row["overlapping"]) == (pytest.approx(3000), "T4", 0)

    def test_trials_at_the_same_time_on_one_recorder(self, study):
        """T2 lasts seven minutes, beyond the starts of T3; T4 of another recorder may run at the same time."""
        rows = [trial(1), trial(2, duration_s=420.0), trial(3), trial(4, recorder="spider", duration_s=900.0)]
        frame = quality_exhibits.clock_table(analysis_of(study, *rows)).frame.set_index("recorder")
        assert frame["overlapping"].to_dict() == {"two_leg_crank": 2, "spider": 0}

    def test_a_trial_without_a_starting_time_overlaps_none(self, study):
        rows = [trial(1, started_at=pd.NaT), trial(2)]
        assert quality_exhibits.clock_table(analysis_of(study, *rows)).frame["overlapping"].tolist() == [0]


def test_sides_name_the_trial_that_stands_apart_and_count_what_is_implausible(study):
    """Shares 48, 49, 50 and 61 %: the median is 49.5, T4 lies farthest from it and above 60 %."""
    shares = pd.DataFrame(
        {
            "rider": "R01",
            "trial": ["T1", "T2", "T3", "T4"],
            "quantity": "left_share_pct",
            "value": [48.0, 49, 50, 61],
        }
    )
    (row,) = quality_exhibits.side_table(analysis_of(study, *LOST, quantities=shares)).frame.to_dict(
        "records"
    )
    assert (row["median"], row["range"], row["farthest"], row["implausible"]) == (49.5, 13.0, "T4", 1)
    assert np.isnan(row["later_deg"])


def test_where_no_trial_tells_the_legs_apart_the_table_says_so(study):
    power = pd.DataFrame([{"rider": "R01", "trial": "T1", "quantity": "power_W", "value": 200.0}])
    with pytest.raises(Refusal, match="no trial that tells the legs apart"):
        quality_exhibits.side_table(analysis_of(study, *LOST, quantities=power))


def test_a_study_without_zero_checks_has_empty_tables_of_them(study):
    analysis = analysis_of(replace(study, zero_checks=study.zero_checks.iloc[:0]), trial(1))
    for table in (recorder_exhibits.zero_table(analysis), recorder_exhibits.zero_fit_table(analysis)):
        assert table.frame.empty and "<table" in table.html()


def test_a_leg_that_drives_later_is_given_with_its_interval(study):
    """2, 4 and 6° later, across north: 4° ± 4.303 · 2/√3 (Student's quantile for 2 degrees of freedom, printed tables)."""
    trials = ["T1", "T2", "T3"]
    rows = [
        {"rider": "R01", "trial": trial, "quantity": quantity, "value": value}
        for quantity, values in (
            ("left_share_pct", (50.0, 50.0, 51.0)),
            ("torque_phase_left_deg", (1.0, 94.0, 3.0)),
            ("torque_phase_right_deg", (359.0, 90.0, 357.0)),
        )
        for trial, value in zip(trials, values, strict=True)
    ]
    (row,) = quality_exhibits.side_table(
        analysis_of(study, *LOST, quantities=pd.DataFrame(rows))
    ).frame.to_dict("records")
    assert row["later_deg"] == pytest.approx(4.0)
    assert row["later_high"] - row["later_deg"] == pytest.approx(4.303 * 2 / np.sqrt(3), rel=2e-4)
    assert row["later_deg"] - row["later_low"] == pytest.approx(4.303 * 2 / np.sqrt(3), rel=2e-4)


class TestRecorders:
    def test_zero_is_fitted_on_temperature_and_time_with_intervals(self, study):
        """Against numpy's least squares; Student's quantile for 3 degrees of freedom is 3.182 (printed tables)."""
        days = np.array([0, 1, 2, 3, 4, 5.0])
        warm = np.array([18, 22, 19, 23, 20, 21.0])
        left = 0.3 + 0.05 * (warm - 20) - 0.02 * days + np.array([0.01, -0.01, 0.02, 0.0, -0.02, 0.01])
        checks = pd.DataFrame(
            {
                "recorder": "two_leg_crank",
                "checked_at": pd.Timestamp("2026-03-02") + pd.to_timedelta(days, "D"),
                "temperature_C": warm,
                "zero_left_Nm": left,
                "zero_right_Nm": 0.1,
            }
        )
        frame = recorder_exhibits.zero_fit_table(
            analysis_of(replace(study, zero_checks=checks), trial(1))
        ).frame
        row = frame.set_index("channel").loc["left"]
        design = np.column_stack([np.ones(6), warm, days])
        solution, squares, *_ = np.linalg.lstsq(design, left)
        errors = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * squares[0] / 3)
        assert row["per_degC"] == pytest.approx(solution[1], rel=1e-9)
        assert row["per_day"] == pytest.approx(solution[2], rel=1e-9)
        assert row["per_degC_high"] - row["per_degC"] == pytest.approx(3.182 * errors[1], rel=2e-4)
        assert row["per_day"] - row["per_day_low"] == pytest.approx(3.182 * errors[2], rel=2e-4)
        assert row["scatter"] == pytest.approx(np.sqrt(squares[0] / 3), rel=1e-9)
        table = recorder_exhibits.zero_table(analysis_of(replace(study, zero_checks=checks), trial(1))).frame
        assert table.set_index("channel").loc["left", "largest_move"] == pytest.approx(
            np.abs(np.diff(left)).max()
        )

    def test_a_channel_whose_checks_cannot_tell_has_an_empty_row(self, study):
        checks = study.zero_checks.iloc[:2]
        frame = recorder_exhibits.zero_fit_table(
            analysis_of(replace(study, zero_checks=checks), trial(1))
        ).frame
        assert set(frame["channel"]) == {"left", "right"}
        assert frame.drop(columns=["recorder", "channel", "unit"]).isna().all().all()

    def test_zeros_of_forces_stand_in_newtons(self, study):
        columns = {
            "time_s": ColumnMap(column="t", unit="s"),
            "crank_deg": ColumnMap(column="a", unit="deg"),
            "force_fore_aft_left_N": ColumnMap(column="f", unit="N"),
            "force_vertical_left_N": ColumnMap(column="v", unit="N"),
        }
        pedals = study.settings.recorders["two_leg_crank"].model_copy(update={"columns": columns})
        settings = study.settings.model_copy(update={"recorders": {"two_leg_crank": pedals}})
        checks = pd.DataFrame(
            {
                "recorder": "two_leg_crank",
                "checked_at": pd.Timestamp("2026-03-02") + pd.to_timedelta([0, 1, 2, 3, 4], "h"),
                "temperature_C": [18.0, 22, 19, 23, 20],
                "zero_force_fore_aft_left_N": [3.6, 4.4, 3.8, 4.6, 4.0],  # 4 N at 20 °C, 0.2 N a degree
                "zero_force_vertical_left_N": [-5.0, -5.0, -5.0, -5.0, -5.0],
            }
        )
        analysis = analysis_of(replace(study, settings=settings, zero_checks=checks), trial(1))
        frame = recorder_exhibits.zero_fit_table(analysis).frame.set_index("channel")
        assert frame["unit"].tolist() == ["N", "N"]
        assert frame.loc["fore_aft_left", "per_degC"] == pytest.approx(0.2)
        table = recorder_exhibits.zero_table(analysis).frame.set_index("channel")
        assert (table.loc["fore_aft_left", "lowest"], table.loc["vertical_left", "largest_move"]) == (
            3.6,
            0.0,
        )

    def test_what_nobody_has_said_is_named(self, study):
        assert recorder_exhibits.unknown_sentences(analysis_of(study, trial(1))) == []
        bare = study.settings.recorders["two_leg_crank"].model_copy(update={"calibrated_at_degC": None})
        recorders = study.settings.recorders | {"two_leg_crank": bare}
        bare_study = replace(study, settings=study.settings.model_copy(update={"recorders": recorders}))
        (said,) = recorder_exhibits.unknown_sentences(analysis_of(bare_study, trial(1)))
        assert ": the temperature of its calibration" in said

    def test_samples_without_an_angle_of_their_own_carry_a_warning(self, study):
        assert recorder_exhibits.spacing_sentences(analysis_of(study, trial(1))) == []
        messages = MessageMap(
            time="t", characteristic="uuid", message="hex", channel="total", spacing="even angle"
        )
        log = study.settings.recorders["two_leg_crank"].model_copy(
            update={"kind": "notifications", "columns": {}, "messages": messages}
        )
        logged = replace(
            study, settings=study.settings.model_copy(update={"recorders": {"two_leg_crank": log}})
        )
        analysis = analysis_of(logged, trial(1), trial(2, ring="oval", ring_name="oval"))
        (said,) = recorder_exhibits.spacing_sentences(analysis)
        assert "carry no angle and no time of their own" in said
        assert said.endswith("1 of 2 trials were ridden on such a ring.")
        (row,) = recorder_exhibits.recorder_table(analysis).frame.to_dict("records")
        assert (row["file"], row["channels"], row["angle"]) == (
            "notifications",
            "total",
            "first angle of a message",
        )


def test_the_answer_counts_riders_who_have_every_ring_at_every_intensity(study):
    rows = [
        trial(1),
        trial(2, ring="oval"),
        trial(3, intensity="hard"),
        trial(4, "not used", ring="oval", intensity="hard"),
    ]
    words = exclusion_exhibits.answer(analysis_of(study, *rows))[0]
    assert words.startswith(
        "0 of 2 riders have a usable trial on every ring at every intensity; R01, R02 do not."
    )
