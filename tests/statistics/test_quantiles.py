"""Quantiles by scipy.special, held against scipy.stats and printed tables."""

import numpy as np
import pytest
from scipy import stats

from analysis_lib.statistics.quantiles import normal_quantile, t_quantile

PRINTED = [(1, 12.706), (2, 4.303), (5, 2.571), (10, 2.228), (30, 2.042), (120, 1.980), (np.inf, 1.960)]
"""Two-sided 5 % points of Student's t. Fisher & Yates, Statistical Tables, table III; from memory."""


@pytest.mark.parametrize(("df", "point"), PRINTED)
def test_five_percent_points_of_t_are_the_printed_ones(df, point):
    assert t_quantile(0.975, df) == pytest.approx(point, abs=0.0005)


def test_quantiles_are_those_of_scipy_stats_to_the_last_bit():
    for probability in (0.001, 0.05, 0.5, 0.9, 0.975, 0.9999):
        assert normal_quantile(probability) == stats.norm.ppf(probability)
        for df in (0.5, 1, 2.7, 11, 1e4, 1e300):
            assert t_quantile(probability, df) == stats.t.ppf(probability, df)


@pytest.mark.parametrize("df", [0, -1, np.nan])
def test_without_degrees_of_freedom_there_is_no_quantile(df):
    assert np.isnan(t_quantile(0.975, df))
