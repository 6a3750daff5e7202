"""Serial correlation: block lengths of a reference library, exact effective sample sizes, coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.signal import lfilter

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.serial import (
    block_indices,
    block_length,
    effective_sample_size,
    mean_with_se,
    means_with_se,
)


def autoregressive(rng, phi, n, copies=1):
    return lfilter([1], [1, -phi], rng.normal(size=(copies, n + 200)), axis=1)[:, 200:]


# optimal_block_length of the Python package arch, version 8.0.0, on data that come with statsmodels
@pytest.mark.parametrize(
    ("data", "column", "stationary", "circular"),
    [(sm.datasets.nile, "volume", 12.3335, 14.1183), (sm.datasets.sunspots, "SUNACTIVITY", 21.0507, 24.0970)],
)
def test_block_lengths_of_river_and_sunspots(data, column, stationary, circular):
    series = data.load_pandas().data[column].to_numpy(dtype=float)
    assert block_length(series) == pytest.approx(circular, abs=6e-5)
    assert block_length(series, "stationary") == pytest.approx(stationary, abs=6e-5)
    # Both schemes use the same sums, D = 4/3 g² against 2 g²
    assert (block_length(series) / block_length(series, "stationary")) ** 3 == pytest.approx(1.5)


@pytest.mark.parametrize(("n", "phi", "exact"), [(100, 0.5, 33.7838), (200, 0.8, 22.7273)])
def test_effective_sample_size_of_autoregressive_series(n, phi, exact):
    # Closed form of the sum for ρ_k = φ^k, printed to four decimals
    assert effective_sample_size(phi ** np.arange(1, n)) == pytest.approx(exact, abs=6e-5)


def test_independent_values_count_fully_and_equal_ones_as_one():
    assert effective_sample_size(np.zeros(9)) == 10
    assert effective_sample_size(np.ones(9)) == pytest.approx(1)


@pytest.mark.parametrize(("n", "phi", "tolerance"), [(400, 0.0, 0.06), (400, 0.5, 0.10), (2000, 0.8, 0.10)])
def test_standard_error_and_effective_size_on_average(n, phi, tolerance):
    # Variance of the mean of an AR(1) with unit noise: (1/(1 − φ²)) / effective size, an exact sum
    series = autoregressive(np.random.default_rng(1), phi, n, copies=200)
    results = [mean_with_se(row) for row in series]
    size = effective_sample_size(phi ** np.arange(1, n))
    exact = math.sqrt(1 / (1 - phi**2) / size)
    assert np.mean([r.se for r in results]) == pytest.approx(exact, rel=tolerance)
    assert np.median([r.n_effective for r in results]) == pytest.approx(size, rel=2.5 * tolerance)


def test_coverage_is_near_nominal_where_the_usual_formula_fails():
    series = autoregressive(np.random.default_rng(2), 0.6, 300, copies=500)
    results = [mean_with_se(row) for row in series]
    covered = np.mean([abs(r.mean) < 1.96 * r.se for r in results])
    usual = np.mean(np.abs(series.mean(axis=1)) < 1.96 * series.std(axis=1, ddof=1) / math.sqrt(300))
    assert 0.89 < covered < 0.97
    assert usual < 0.72


def test_alternating_values_know_their_mean_better():
    series = np.tile([1.0, -1.0], 50) + 0.1 * np.random.default_rng(3).normal(size=100)
    result = mean_with_se(series)
    assert result.n_effective > 300


def test_coverage_is_nominal_where_turns_alternate_and_a_cap_at_their_number_would_waste_them():
    # AR(1) with −0.4: the mean's variance is (1 − 0.4)/(1 + 0.4) = 0.43 of that of independent values
    series = autoregressive(np.random.default_rng(6), -0.4, 89, copies=500)
    results = [mean_with_se(row) for row in series]
    assert np.mean([abs(r.mean) < 1.96 * r.se for r in results]) == pytest.approx(0.95, abs=0.03)
    assert np.median([r.n_effective for r in results]) == pytest.approx(89 * 1.4 / 0.6, rel=0.2)
    capped = [max(r.se, row.std(ddof=1) / math.sqrt(89)) for r, row in zip(results, series, strict=True)]
    assert np.mean([abs(r.mean) < 1.96 * se for r, se in zip(results, capped, strict=True)]) > 0.985


def test_shift_and_scale():
    series = autoregressive(np.random.default_rng(4), 0.5, 120)[0]
    one, other = mean_with_se(series), mean_with_se(250 - 3 * series)
    assert other.se == pytest.approx(3 * one.se, rel=1e-9)
    assert other.n_effective == pytest.approx(one.n_effective, rel=1e-9)
    assert other.block_length == one.block_length


def test_a_constant_series():
    assert mean_with_se(np.full(20, 0.1)).se == 0
    assert block_length(np.full(20, 0.1)) == 1


@pytest.mark.parametrize(
    "period", [[1.0, 2.0], [1.0, 2.0, 4.0], [0.0, 1.0, 0.0, -1.0], [3.0, 3.0, 1.0, 5.0, 2.0]]
)
@pytest.mark.parametrize("n", range(10, 41))
def test_a_series_that_repeats_itself_exactly_has_a_standard_error_all_the_same(period, n):
    """Never nothing, for it varies; never more than the usual one of independent values by the largest factor of serial
    correlation, √n."""
    series = np.resize(period, n)
    found = mean_with_se(series)
    usual = series.std(ddof=1) / math.sqrt(n)
    assert 0 < found.se <= usual * math.sqrt(n)
    assert 0 < found.n_effective < math.inf


def test_block_indices_are_runs_that_wrap():
    indices = block_indices(10, 4, 300, np.random.default_rng(5))
    assert indices.shape == (300, 10)
    steps = np.diff(indices, axis=1)[:, [0, 1, 2, 4, 5, 6, 8]] % 10
    assert (steps == 1).all()
    counts = np.bincount(indices.ravel(), minlength=10)
    # Every value is drawn equally often: 300 expected, blocks make the count about twice as variable
    assert np.abs(counts - 300).max() < 5 * math.sqrt(2 * 300)
    assert (np.diff(indices, axis=1) == -9).any()


def test_moving_blocks_stay_inside():
    indices = block_indices(10, 4, 300, np.random.default_rng(6), wrap=False)
    assert (np.diff(indices, axis=1)[:, [0, 1, 2, 4, 5, 6, 8]] == 1).all()
    assert indices.min() == 0 and indices.max() == 9


def test_bootstrap_of_the_mean_agrees_with_the_standard_error():
    series = autoregressive(np.random.default_rng(7), 0.5, 500)[0]
    result = mean_with_se(series)
    draws = series[block_indices(500, result.block_length, 4000, np.random.default_rng(8))].mean(axis=1)
    assert draws.std() == pytest.approx(result.se, rel=0.15)


def test_refusals():
    with pytest.raises(Refusal, match="at least 10"):
        mean_with_se([1.0, 2.0])
    with pytest.raises(Refusal, match="series, value 3"):
        block_length([1.0, 2.0, np.nan] + [1.0] * 10)
    with pytest.raises(Refusal, match="kind"):
        block_length(np.arange(20.0), "moving")
    with pytest.raises(Refusal, match="block length"):
        block_indices(10, 11, 1, np.random.default_rng(0))
    with pytest.raises(Refusal, match="draws"):
        block_indices(10, 2, -1, np.random.default_rng(0))


def test_series_together_are_as_each_alone():
    """Also where one of them does not vary; a gap in any is refused by its place."""
    rng = np.random.default_rng(4)
    rows = np.cumsum(rng.standard_normal((5, 40)), axis=1)
    rows[2] = 3.0
    together = means_with_se(rows)
    assert [part.block_length for part in together] == [mean_with_se(row).block_length for row in rows]
    assert [part.se for part in together] == pytest.approx([mean_with_se(row).se for row in rows], rel=1e-12)
    assert together[2].se == 0.0
    rows[4, 6] = np.nan
    with pytest.raises(Refusal, match="value 7"):
        means_with_se(rows)
