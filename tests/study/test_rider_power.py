"""Gross errors within one rider, found by the rider's own other trials: made-up powers, factors by arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from analysis_lib.study.doubts.power_doubts import doubt_powers
from analysis_lib.study.doubts.rider_power import FAR_OFF, compare_powers

HONEST = {"easy": 150.0, "steady": 200.0, "hard": 260.0}  # W
FORM = {1: 1.0, 2: 1.03, 3: 0.97, 4: 1.01}
"""Power in each period over the rider's usual; within what is published of a day's form (Clark 2014: 2 to 3 %)."""


def powers(periods=4, intensities=tuple(HONEST), **wrong):
    """Return powers by trial: honest ones, then those that are wrong, named as P2_easy."""
    honest = {f"P{p}_{name}": HONEST[name] * FORM[p] for p in range(1, periods + 1) for name in intensities}
    return honest | wrong


def scaled(given, factor, *periods):
    return {name: watts * (factor if int(name[1]) in periods else 1) for name, watts in given.items()}


def doubts(given):
    rows = [(name, int(name[1]), name[3:]) for name in given]
    trials = pd.DataFrame(rows, columns=["trial", "period", "intensity"])
    return doubt_powers("R02", compare_powers(trials, given))


@pytest.mark.parametrize("periods", [1, 2, 3, 4])
def test_a_rider_s_form_is_no_doubt(periods):
    assert doubts(powers(periods)) == []


@pytest.mark.parametrize("factor", [0.5, 0.113, 2.0])
@pytest.mark.parametrize("period", [1, 2, 3, 4])
def test_a_period_off_by_one_factor_is_said_once_with_the_factor(period, factor):
    """The others' median: of 1, 1.03, 0.97 and 1.01 without period 2, 1; so 1.03 times the factor there."""
    (doubt,) = doubts(scaled(powers(), factor, period))
    assert doubt.kind == "period" and set(doubt.trials) == {f"P{period}_{name}" for name in HONEST}
    others = [form for number, form in FORM.items() if number != period]
    assert doubt.factor == pytest.approx(factor * FORM[period] / sorted(others)[1])
    assert f"Rider R02, period {period}: power is {doubt.factor:.2f} times" in doubt.said
    assert "calibration, scale or unit" in doubt.sentence()


def test_one_period_of_three_is_off_and_the_other_two_are_not():
    """Against two others that disagree nobody is judged: against 150 and 15 W their median, 82 W, tells nothing."""
    (doubt,) = doubts(scaled(powers(3), 0.1, 3))
    assert doubt.kind == "period" and {name[:2] for name in doubt.trials} == {"P3"}


@pytest.mark.parametrize("periods", [2, 4])
def test_where_half_of_the_periods_is_off_nobody_knows_which(periods):
    """Of two, the ratio is 0.5 · 1.03; of four, 0.5 · 0.97 and 0.5 · 1.01, over the middle of 1, 1.03 and a half."""
    later = range(periods // 2 + 1, periods + 1)
    (doubt,) = doubts(scaled(powers(periods), 0.5, *later))
    assert doubt.kind == "halves" and len(doubt.trials) == 3 * periods
    assert "which of them is wrong the recordings do not tell" in doubt.sentence().lower()
    assert doubt.factor == pytest.approx({2: 0.515, 4: (0.485 + 0.505) / 2}[periods])
    assert " and ".join(f"period {number}" for number in later) + " is 0." in doubt.said


def test_two_periods_of_one_visit_are_named_together():
    given = {f"P{p}_{name}": watts for p in range(1, 7) for name, watts in HONEST.items()}
    (doubt,) = doubts(scaled(given, 0.5, 5, 6))
    assert "Rider R02, period 5 and period 6: power is 0.50 times" in doubt.said and len(doubt.trials) == 6


@pytest.mark.parametrize(("one", "two"), [("easy", "hard"), ("easy", "steady"), ("steady", "hard")])
@pytest.mark.parametrize("periods", [2, 4])
def test_two_exchanged_recordings_are_named_as_a_pair(periods, one, two):
    """Steady over hard is 1.3: exchanged, their ratio is off by 1.3², 1.69; five spreads of 5.5 % · √2 · √(1 + 1/n) are
    1.57 at n = 3 and 1.73 at n = 1, where it is too little."""
    given = powers(periods)
    given[f"P2_{one}"], given[f"P2_{two}"] = given[f"P2_{two}"], given[f"P2_{one}"]
    found = doubts(given)
    spread = 0.055 * math.sqrt(2 * (1 + 1 / (periods - 1)))
    if 2 * math.log(HONEST[two] / HONEST[one]) < 5 * spread:
        assert (periods, one) == (2, "steady") and found == []
        return
    (doubt,) = found
    either = (1, 2) if periods == 2 else (2,)  # of two periods either may be the exchanged one
    assert set(doubt.trials) == {f"P{number}_{name}" for number in either for name in (one, two)}
    assert doubt.kind == "exchange"
    assert "look exchanged" in doubt.said and "file and intensity" in doubt.sentence()


def test_recordings_exchanged_across_periods_are_named_too():
    given = powers(P1_easy=260.0, P3_hard=150.0)
    (doubt,) = doubts(given)
    assert doubt.kind == "exchange" and doubt.trials == ("P1_easy", "P3_hard")


def test_a_single_trial_off_is_named_with_both_numbers():
    """The median of 150, 154.5 and 151.5 W is 151.5 W; 75.75 W is half of it."""
    (doubt,) = doubts(powers(P3_easy=75.75))
    assert doubt.trials == ("P3_easy",) and doubt.factor == pytest.approx(0.5)
    assert "power is 76 W, 0.50 times the 152 W of the other periods" in doubt.said
    assert "n = 3 trials" in doubt.said


def test_a_single_trial_needs_two_others_and_more_than_the_bound():
    assert doubts(powers(2, ("easy",), P2_easy=75.0)) == []
    others = 150.0 * 1.0  # the median of 150, 145.5 and 151.5 W
    assert doubts(powers(4, ("easy",), P2_easy=others * FAR_OFF * 0.999)) == []
    assert len(doubts(powers(4, ("easy",), P2_easy=others * FAR_OFF * 1.001))) == 1
    assert len(doubts(powers(4, ("easy",), P2_easy=others / FAR_OFF / 1.001))) == 1


def test_intensities_of_one_power_are_never_exchanged():
    """Cadences at one power, say: which is above the other is chance."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        given = {f"P{p}_{name}": 200 * math.exp(rng.normal(0, 0.05)) for p in range(1, 5) for name in HONEST}
        assert doubts(given) == []


def test_a_trial_without_power_is_passed_over():
    assert doubts(powers(P2_easy=math.nan, P3_easy=0.0)) == []


def test_honest_riders_are_not_doubted():
    """Five per cent from trial to trial: 1.5 is ln 1.5 / (0.05 · 1.22) = 6.6 spreads; in 100 riders none."""
    rng = np.random.default_rng(11)
    for _ in range(100):
        given = {name: watts * math.exp(rng.normal(0, 0.05)) for name, watts in powers().items()}
        assert doubts(given) == []
