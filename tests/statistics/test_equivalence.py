"""Equivalence tests against published examples, and the three words in every case."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.equivalence import judge, two_one_sided_tests
from analysis_lib.statistics.estimates import Estimate


def effect(value, se=1.0, df=10.0):
    return Estimate("Power, oval − round", value, se, df, "W", 12, "crossover")


def test_paired_example_from_summary_numbers():
    # Input: paired example in the manual of the TOSTER package (Lakens, Soc Psychol Personal Sci 2017;8:355):
    # n 65, means 5.83 and 5.75, SD 1.17 and 1.29, r 0.75, bounds dz ±0.4. Answers recomputed in R.
    n, sd_difference = 65, math.sqrt(1.17**2 + 1.29**2 - 2 * 0.75 * 1.17 * 1.29)
    estimate = Estimate("score", 5.83 - 5.75, sd_difference / math.sqrt(n), n - 1, "", n, "paired t")
    tests = two_one_sided_tests(estimate, -0.4 * sd_difference, 0.4 * sd_difference)
    assert tests.upper == pytest.approx(0.350782, abs=5e-7)
    assert (tests.t_lower, tests.t_upper) == pytest.approx((3.96038, -2.48943), abs=5e-6)
    assert (tests.p_lower, tests.p_upper) == pytest.approx((9.532e-5, 0.0077024), rel=6e-5)
    assert (tests.interval().low, tests.interval().high) == pytest.approx((-0.10154, 0.26154), abs=5e-6)
    assert (estimate.t, estimate.p) == pytest.approx((0.73548, 0.46474), abs=5e-6)
    assert judge(estimate, 0.4 * sd_difference).word == "equivalent"


def test_bioequivalence_of_areas_on_the_raw_scale():
    # Chow & Liu, Design and Analysis of Bioavailability and Bioequivalence Studies, ch. 4: T − R = −2.2875,
    # SE 3.7333, 22 df, margin 20 % of the reference mean 82.559; TL 3.810, TU −5.036.
    estimate = Estimate("AUC, T − R", -2.2875, 3.7333, 22, "", 24, "crossover")
    tests = two_one_sided_tests(estimate, -0.2 * 82.559, 0.2 * 82.559)
    assert (tests.t_lower, tests.t_upper) == pytest.approx((3.810, -5.036), abs=5e-4)
    assert (tests.interval().low, tests.interval().high) == pytest.approx((-8.698, 4.123), abs=1e-3)


# t(10): 1.812 at 90 %, 2.228 at 95 % (any table of t)
@pytest.mark.parametrize(
    ("value", "se", "margin", "word", "differs", "phrase"),
    [
        (0.0, 1.0, 2.0, "equivalent", False, "is ruled out"),
        (0.0, 1.0, 1.8, "undecided", False, "Neither zero (p against zero"),
        (2.3, 1.0, 1.0, "difference", True, "not settled"),
        (6.0, 1.0, 3.0, "difference", True, "by at least 3 W"),
        (-6.0, 1.0, 3.0, "difference", True, "by at least 3 W"),
        (0.5, 0.1, 2.0, "equivalent", True, ", yet an effect as large as 2 W"),
        (2.0, 1.0, 1.0, "undecided", False, "Neither zero (p against zero"),
    ],
)
def test_every_word(value, se, margin, word, differs, phrase):
    verdict = judge(effect(value, se), margin)
    assert (verdict.word, verdict.differs_from_zero) == (word, differs)
    assert phrase in verdict.sentence()


# ± 2.228 · se is the 95 % interval of t(10), ± 1.812 · se the 90 % one that decides equivalence (any table of t). p of
# t(10) by the closed form for even degrees of freedom (Abramowitz & Stegun 26.7.4): two-sided of 2 and 3 0.0734 and 0.0133,
# one-sided above 2.5 0.0157, below 1 0.8296.
@pytest.mark.parametrize(
    ("value", "margin", "said"),
    [
        (
            0.5,
            3.0,
            "Power, oval − round: +0.5 W (95 % interval −1.7 to 2.7 W; n = 12, df = 10). Verdict: equivalent. An effect as"
            " large as 3 W in either direction is ruled out (90 % interval −1.3 to 2.3 W, p against effects that large"
            " = 0.016).",
        ),
        (
            2.0,
            1.0,
            "Power, oval − round: +2.0 W (95 % interval −0.2 to 4.2 W; n = 12, df = 10). Verdict: undecided. Neither zero"
            " (p against zero = 0.073) nor an effect as large as 1 W (p against effects that large = 0.83) can be ruled"
            " out.",
        ),
        (
            3.0,
            2.5,
            "Power, oval − round: +3.0 W (95 % interval 0.8 to 5.2 W; n = 12, df = 10). Verdict: difference. It differs"
            " from zero (p against zero = 0.013); whether by as much as 2.5 W is not settled.",
        ),
    ],
)
def test_a_sentence_gives_the_estimate_first_and_what_decided(value, margin, said):
    assert judge(effect(value), margin).sentence() == said


@given(st.floats(-20, 20), st.floats(0.01, 10), st.floats(2, 60), st.floats(0.1, 20), st.floats(0.001, 0.4))
def test_words_agree_with_the_intervals(value, se, df, margin, alpha):
    estimate = effect(value, se, df)
    narrow, wide = estimate.interval(1 - 2 * alpha), estimate.interval(1 - alpha)
    gaps = (narrow.low + margin, margin - narrow.high, wide.low, wide.high)
    if min(abs(gap) for gap in gaps) > 1e-6:
        inside = narrow.low > -margin and narrow.high < margin
        word = "equivalent" if inside else "difference" if wide.excludes(0) else "undecided"
        assert judge(estimate, margin, alpha).word == word


def test_without_spread_nothing_is_decided():
    verdict = judge(effect(5.0, se=0.0), 1.0)
    assert verdict.word == "undecided"
    assert "do not vary" in verdict.sentence() and "interval" not in verdict.sentence()


@pytest.mark.parametrize("margin", [0, -1, math.nan])
def test_a_smallest_effect_that_is_not_positive_is_refused(margin):
    with pytest.raises(Refusal, match="smallest effect"):
        judge(effect(1), margin)


def test_bad_bounds_and_alpha_are_refused():
    with pytest.raises(Refusal, match="bounds"):
        two_one_sided_tests(effect(1), 2, -2)
    with pytest.raises(Refusal, match="alpha"):
        two_one_sided_tests(effect(1), -2, 2, alpha=0.5)
