"""Power and numbers of riders, against published tables, a manual, and the t tests themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.sample_size import (
    riders_for_difference,
    riders_for_equivalence,
    smallest_detectable_effect,
)
from analysis_lib.statistics.statistical_power import contrast_sd, difference_power, equivalence_power


def log_sd(cv: float) -> float:
    """SD of a subject's contrast of logarithms, from the within-subject coefficient of variation."""
    return math.sqrt(2 * math.log(1 + cv**2))


# Total subjects of the 2 × 2 crossover, bounds 0.80 to 1.25: Hauschke, Steinijans & Pigeot 2007,
# Bioequivalence Studies in Drug Development, table 5.1.
@pytest.mark.parametrize(
    ("cv", "ratio", "power", "subjects"),
    [
        (0.20, 0.95, 0.8, 20),
        (0.20, 1.00, 0.8, 16),
        (0.25, 0.95, 0.8, 28),
        (0.30, 0.95, 0.8, 40),
        (0.30, 0.90, 0.8, 80),
        (0.30, 1.00, 0.8, 32),
        (0.10, 1.00, 0.8, 6),
        (0.30, 0.95, 0.9, 52),
    ],
)
def test_subjects_for_average_bioequivalence(cv, ratio, power, subjects):
    size = riders_for_equivalence(math.log(ratio), math.log(0.8), math.log(1.25), log_sd(cv), power)
    assert size.riders == subjects
    assert size.power >= power


# The whole table at 80 % power of the same book, as of Diletti, Hauschke & Steinijans 1991, Int J Clin Pharmacol
# 29:1, table 1, rounded up to even numbers; typed from memory, so that a slip of memory would show as a failure.
RATIOS = (0.85, 0.90, 0.95, 1.00, 1.05, 1.10, 1.15, 1.20)
SUBJECTS_BY_CV = {
    0.050: (12, 6, 4, 4, 4, 6, 8, 22),
    0.075: (22, 8, 6, 6, 6, 8, 12, 44),
    0.100: (36, 12, 8, 6, 8, 10, 20, 76),
    0.125: (54, 16, 10, 8, 10, 14, 30, 118),
    0.150: (78, 22, 12, 10, 12, 20, 42, 168),
    0.175: (104, 30, 16, 14, 16, 26, 56, 226),
    0.200: (134, 38, 20, 16, 18, 32, 72, 294),
    0.225: (168, 46, 24, 20, 24, 40, 90, 368),
    0.250: (206, 56, 28, 24, 28, 48, 110, 452),
    0.275: (248, 68, 34, 28, 34, 58, 132, 544),
    0.300: (292, 80, 40, 32, 38, 68, 156, 642),
}


@pytest.mark.parametrize("cv", SUBJECTS_BY_CV)
def test_every_number_of_subjects_of_the_table(cv):
    sizes = [
        riders_for_equivalence(math.log(ratio), math.log(0.8), math.log(1.25), log_sd(cv)).riders
        for ratio in RATIOS
    ]
    assert tuple(sizes) == SUBJECTS_BY_CV[cv]


def owen_q(df: int, t: float, delta: float, end: float) -> float:
    """∫₀^end Φ(t x/√df − δ) of a χ density on even df, by the finite sums of Owen 1965, Biometrika 52:437."""
    phi, cumulative = stats.norm.pdf, stats.norm.cdf
    a, b = t / math.sqrt(df), df / (df + t * t)
    root = math.sqrt(b)
    steps = [1.0, 1.0]
    for k in range(2, df + 2):
        steps.append(1 / ((k - 1) * steps[-1]))
    inner = [
        a
        * root
        * phi(delta * root)
        * (cumulative(delta * a * root) - cumulative((delta * a * b - end) / root))
    ]
    ends = phi(delta * a * root) - phi((delta * a * b - end) / root)
    inner.append(b * (delta * a * inner[0] + a * phi(delta * root) * ends))
    outer, left = (
        [-phi(end) * cumulative(a * end - delta)],
        [0.5 * a * b * end * phi(end) * phi(a * end - delta)],
    )
    for k in range(1, df - 1):
        outer.append(steps[k + 1] * end * outer[-1])
        left.append(steps[k + 3] * end * left[-1] if k + 3 < len(steps) else 0.0)
    for k in range(2, df - 1):
        inner.append((k - 1) / k * b * (steps[k - 1] * delta * a * inner[k - 1] + inner[k - 2]) - left[k - 2])
    total = sum(inner[k] + outer[k] for k in range(0, df - 1, 2))
    return float(cumulative(-delta) + math.sqrt(2 * math.pi) * total)


def owen_power(effect: float, lower: float, upper: float, sd: float, subjects: int) -> float:
    """Power of two one-sided t tests in a 2 × 2 crossover as the difference of two of Owen's functions."""
    se, df = sd / math.sqrt(subjects), subjects - 2
    t = stats.t.isf(0.05, df)
    below, above = (effect - lower) / se, (effect - upper) / se
    end = (below - above) * math.sqrt(df) / (2 * t)
    return owen_q(df, -t, above, end) - owen_q(df, t, below, end)


@pytest.mark.parametrize("subjects", [4, 6, 8, 12, 20, 40, 80])
@pytest.mark.parametrize("effect", [0.0, 0.05, 0.15, 0.2])
def test_equivalence_power_is_owens(effect, subjects):
    expected = owen_power(effect, -0.2, 0.2, 0.25 * math.sqrt(2), subjects)
    assert equivalence_power(effect, -0.2, 0.2, 0.25 * math.sqrt(2), subjects) == pytest.approx(
        expected, abs=1e-9
    )


@pytest.mark.parametrize("spread", [0.10, 0.15, 0.20, 0.25, 0.30])
@pytest.mark.parametrize("effect", [0.0, 0.05, 0.10])
@pytest.mark.parametrize("power", [0.7, 0.8, 0.9])
def test_subjects_on_the_additive_scale_by_owens_sums(spread, effect, power):
    # The layout of Chow & Liu's table 5.4.1: the first even number of subjects whose power by Owen's sums is enough
    sd = spread * math.sqrt(2)
    wanted = next(n for n in range(4, 400, 2) if owen_power(effect, -0.2, 0.2, sd, n) >= power)
    assert riders_for_equivalence(effect, -0.2, 0.2, sd, power).riders == wanted


# Additive scale, bounds ± 0.20, within-subject SD 0.20: Chow & Liu 2009, Design and Analysis of
# Bioavailability and Bioequivalence Studies, 3rd ed., table 5.4.1.
@pytest.mark.parametrize(("difference", "subjects"), [(0.0, 20), (0.05, 24), (0.10, 52)])
def test_subjects_on_the_additive_scale(difference, subjects):
    assert riders_for_equivalence(difference, -0.2, 0.2, 0.2 * math.sqrt(2)).riders == subjects


# Recomputed for the same tables with another implementation of Owen's integral (R).
@pytest.mark.parametrize(("cv", "subjects", "power"), [(0.20, 20, 0.834680), (0.30, 40, 0.815845)])
def test_exact_equivalence_power(cv, subjects, power):
    value = equivalence_power(math.log(0.95), math.log(0.8), math.log(1.25), log_sd(cv), subjects)
    assert value == pytest.approx(power, abs=1e-6)


# Pairs for a two-sided paired t test at 0.05 with 80 and 90 % power, exact non-central t (any power
# programme).
@pytest.mark.parametrize(
    ("effect", "for_80", "for_90"),
    [(0.2, 199, 265), (0.3, 90, 119), (0.5, 34, 44), (0.8, 15, 19), (1.0, 10, 13)],
)
def test_pairs_for_a_paired_t(effect, for_80, for_90):
    assert riders_for_difference(effect, 1.0, 0.8, sequences=1).riders == for_80
    assert riders_for_difference(-effect, 1.0, 0.9, sequences=1).riders == for_90


def test_power_of_half_an_sd():
    assert difference_power(0.5, 1.0, 34) == pytest.approx(0.807778, abs=1e-6)


def test_crossover_example_of_a_manual():
    # SAS/STAT, PROC POWER, AB/BA example: means 330 and 310, SD 40 and 55, correlation 0.3, alpha 0.01, 100
    # pairs: .801 two-sided, .865 one-sided, equivalence ± 35 .598
    sd = math.sqrt(40**2 + 55**2 - 2 * 0.3 * 40 * 55)
    assert difference_power(20, sd, 100, alpha=0.01) == pytest.approx(0.801, abs=5e-4)
    assert difference_power(20, sd, 100, alpha=0.01, sides=1) == pytest.approx(0.865, abs=5e-4)
    assert equivalence_power(20, -35, 35, sd, 100, sequences=1, alpha=0.01) == pytest.approx(0.598, abs=5e-4)


@settings(deadline=None)
@given(st.floats(0, 3), st.integers(2, 200), st.floats(0.001, 0.3))
def test_power_is_the_non_central_t(effect, riders, alpha):
    df, shift = riders - 1, effect * math.sqrt(riders)
    upper = stats.nct.sf(stats.t.isf(alpha, df), df, shift)
    if np.isfinite(upper):  # the library's function has gaps
        assert difference_power(effect, 1.0, riders, alpha=alpha, sides=1) == pytest.approx(upper, abs=1e-9)
    assert difference_power(0.0, 1.0, riders, alpha=alpha) == pytest.approx(alpha, rel=1e-9)


def test_sequence_adjusted_power_by_simulating_the_t_test():
    # 5 riders in AB and 6 in BA, effect 0.8 SD: the two-sample t on contrasts, sign turned in the second
    # sequence, is that test; 100 000 studies have a Monte Carlo standard error of 0.0015
    rng = np.random.default_rng(20)
    first, second = rng.normal(0.8, 1, (100_000, 5)), rng.normal(0.8, 1, (100_000, 6))
    hits = stats.ttest_ind(first, -second, axis=1).pvalue < 0.05
    assert difference_power(0.8, 1.0, 11, sequences=2) == pytest.approx(hits.mean(), abs=0.005)


def test_equivalence_power_by_simulating_the_two_tests():
    rng = np.random.default_rng(21)
    contrasts = rng.normal(0.3, 1, (100_000, 14))
    below = stats.ttest_1samp(contrasts, 1.0, axis=1, alternative="less").pvalue
    above = stats.ttest_1samp(contrasts, -1.0, axis=1, alternative="greater").pvalue
    shown = ((below < 0.05) & (above < 0.05)).mean()
    assert equivalence_power(0.3, -1, 1, 1.0, 14, sequences=1) == pytest.approx(shown, abs=0.005)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.2, 4), st.floats(0.55, 0.98), st.sampled_from([1, 2, 4]), st.sampled_from([1, 2]))
def test_the_number_is_enough_and_one_fewer_a_sequence_is_not(effect, power, sequences, sides):
    size = riders_for_difference(effect, 1.0, power, sequences, sides=sides)
    assert size.riders % sequences == 0
    assert difference_power(effect, 1.0, size.riders, sequences, sides=sides) >= power
    fewer = size.riders - sequences
    assert fewer <= sequences or difference_power(effect, 1.0, fewer, sequences, sides=sides) < power
    smallest = smallest_detectable_effect(1.0, size.riders, power, sequences, sides=sides)
    assert smallest <= effect * (1 + 1e-9)
    assert difference_power(smallest, 1.0, size.riders, sequences, sides=sides) == pytest.approx(
        power, abs=1e-9
    )


@settings(deadline=None, max_examples=60)
@given(st.floats(-0.9, 0.9), st.floats(0.05, 5), st.integers(3, 60), st.floats(0.01, 100))
def test_equivalence_power_mirrors_and_scales(effect, sd, riders, unit):
    power = equivalence_power(effect, -1, 1, sd, riders)
    assert equivalence_power(-effect, -1, 1, sd, riders) == pytest.approx(power, abs=1e-12)
    assert equivalence_power(unit * effect, -unit, unit, unit * sd, riders) == pytest.approx(power, abs=1e-9)
    assert 0 <= power <= equivalence_power(0, -1, 1, sd, riders) + 1e-12
    if power > 0.1:  # below, with next to no df, a lucky spread decides and more riders can lower it
        assert equivalence_power(effect, -1, 1, sd, riders + 2) >= power - 1e-9


def test_on_the_bound_equivalence_is_claimed_in_five_percent():
    assert equivalence_power(1.0, -1, 1, 0.01, 12) == pytest.approx(0.05, abs=1e-9)
    assert equivalence_power(1.0, -1, 1, 0.5, 12) < 0.05


def test_spread_of_contrasts():
    # Two trials on each ring halve the error variance; a response that differs between riders adds its own
    assert contrast_sd(3.0) == pytest.approx(math.sqrt(18))
    assert contrast_sd(3.0, 2, 4.0) == pytest.approx(5.0)
    # Hopkins 2000, Sports Med 30:1: SD of differences is √2 typical errors; sample size by the normal
    # approximation 2 (1.96 + 0.84)² TE²/d² = 62.8 for TE 2 %, d 1 %, and t adds about two
    assert riders_for_difference(1.0, contrast_sd(2.0), sequences=1).riders == pytest.approx(62.8 + 2, abs=1)


def test_drop_outs_are_recruited_on_top():
    size = riders_for_difference(1.0, 1.2, sequences=2, dropout=0.2)
    assert size.recruit % 2 == 0
    assert size.recruit * 0.8 >= size.riders > (size.recruit - 2) * 0.8
    assert riders_for_difference(0.9, 1.0, 0.8, 4, dropout=0.0).recruit % 4 == 0


def test_sentence_reads_as_a_report_would():
    assert riders_for_difference(1, 3, dropout=0.1).sentence() == (
        "74 riders (recruit 84) give a power of 0.808 when riders' contrasts have SD 3; two-sided t test"
        " of an effect of 1 at 0.05, adjusted for 2 sequences."
    )
    assert "two one-sided t tests at 0.05 between −2 and 2, true effect 0, paired" in (
        riders_for_equivalence(0, -2, 2, 1, sequences=1).sentence()
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: difference_power(1, 0, 10), "SD of contrasts"),
        (lambda: difference_power(1, math.nan, 10), "SD of contrasts"),
        (lambda: difference_power(1, 1, 2, sequences=2), "2 in 2 sequences"),
        (lambda: difference_power(1, 1, 5, sequences=0), "in 0 sequences"),
        (lambda: difference_power(1, 1, 10, alpha=5), "alpha"),
        (lambda: difference_power(1, 1, 10, sides=3), "sides"),
        (lambda: equivalence_power(0, 1, -1, 1, 10), "equivalence bounds"),
        (lambda: riders_for_difference(0, 1), "effect to detect"),
        (lambda: riders_for_difference(1, 1, power=80), "power wanted"),
        (lambda: riders_for_difference(1, 1, dropout=10), "drop-outs"),
        (lambda: riders_for_difference(0.001, 1), "riders needed"),
        (lambda: riders_for_equivalence(1.5, -1, 1, 1), "expected effect"),
        (lambda: smallest_detectable_effect(1, 10, power=0.01), "power wanted"),
        (lambda: contrast_sd(-1), "spread of contrasts"),
        (lambda: contrast_sd(1, 0.5), "spread of contrasts"),
    ],
)
def test_impossible_plans_are_refused(call, words):
    with pytest.raises(Refusal) as refused:
        call()
    assert words in str(refused.value)
