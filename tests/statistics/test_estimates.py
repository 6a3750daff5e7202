"""Estimates and intervals, against printed t tables and the limits of the formula."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate, Interval, decimals_for, show_number, show_p


def make_estimate(value=1.2, se=1.0, df=10.0):
    return Estimate("Power, oval − round", value, se, df, "W", 12, "paired t")


# Percentage points of Student's t, two-sided: Fisher & Yates, Statistical Tables, Table III (from memory).
@pytest.mark.parametrize(
    ("df", "level", "printed"),
    [(1, 0.95, 12.706), (4, 0.95, 2.776), (10, 0.95, 2.228), (11, 0.90, 1.796), (30, 0.99, 2.750)],
)
def test_half_width_is_the_tabled_t_times_the_standard_error(df, level, printed):
    estimate = make_estimate(value=0.0, se=2.0, df=df)
    assert estimate.interval(level).high == pytest.approx(2 * printed, abs=2 * 0.00051)


def test_infinite_df_is_the_normal_distribution():
    assert make_estimate(0.0, 1.0, math.inf).interval(0.95).high == pytest.approx(1.959964, abs=5e-7)


def test_p_of_the_formoterol_trial():
    # Senn, Cross-over Trials in Clinical Research, 2nd ed. 2002, ch. 3: 46.6, 11 df, p 0.0012, 22.9 to 70.3
    estimate = Estimate("PEF", 46.607143, 10.776560, 11, "L/min", 13, "crossover")
    assert estimate.p == pytest.approx(0.00120485, rel=1e-5)
    assert estimate.interval().low == pytest.approx(22.888, abs=5e-4)
    assert estimate.interval().high == pytest.approx(70.326, abs=5e-4)


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.floats(1, 200), st.floats(0.5, 0.999))
def test_interval_excludes_zero_exactly_when_p_is_below_one_minus_level(value, se, df, level):
    estimate = make_estimate(value, se, df)
    if abs(estimate.p - (1 - level)) > 1e-9:
        assert estimate.interval(level).excludes(0.0) == (estimate.p < 1 - level)


def test_no_spread_gives_no_p_and_says_so():
    estimate = make_estimate(se=0.0)
    assert math.isnan(estimate.p) and math.isnan(estimate.interval().low)
    assert not estimate.interval().excludes(0.0)
    assert "the differences it rests on do not vary" in estimate.sentence()


def test_sentence_reads_as_a_report_would():
    assert make_estimate().sentence() == (
        "Power, oval − round: +1.2 W (95 % interval −1.0 to 3.4; n = 12, df = 10; p = 0.26; paired t)"
    )


def test_numbers_are_shown_without_minus_zero():
    assert show_number(-0.04, 1) == "0.0"
    assert show_number(-12.3456, 2) == "−12.35"
    assert show_number(math.nan) == "not known"
    assert show_p(0.0) == "p < 0.0001"
    assert decimals_for(0.99) == 2


@pytest.mark.parametrize("level", [0.0, 1.0, 95, -0.1, math.nan])
def test_a_level_outside_0_to_1_is_refused(level):
    with pytest.raises(Refusal, match="confidence level"):
        make_estimate().interval(level)


def test_impossible_standard_error_and_df_are_refused():
    with pytest.raises(Refusal, match="standard error"):
        make_estimate(se=-1.0)
    with pytest.raises(Refusal, match="degrees of freedom"):
        make_estimate(df=0)


def test_interval_knows_what_it_excludes():
    assert Interval(0.1, 2.0, 0.95).excludes(0.0)
    assert not Interval(-0.1, 2.0, 0.95).excludes(0.0)
