"""Which share of the variance is between subjects? The six forms of Shrout and Fleiss from mean squares.

Each row is form, correlation, low, high, F, df1, df2. Formulas: Shrout & Fleiss 1979, Psychol Bull 86:420;
McGraw & Wong 1996, Psychol Methods 1:30.
"""

from __future__ import annotations

import numpy as np
import scipy  # its parts are loaded when first asked for

from analysis_lib.statistics.repeated_values import MeanSquares

Row = tuple[str, float, float, float, float, float, float]


def one_way_forms(squares: MeanSquares, level: float) -> list[Row]:
    """ICC(1,1) and ICC(1,k): column means count as error and are not told apart from it."""
    return _pair_of_forms(1, squares.subjects / squares.within, squares, squares.n * (squares.k - 1), level)


def consistency_forms(squares: MeanSquares, level: float) -> list[Row]:
    """ICC(3,1) and ICC(3,k): column means are left out."""
    df = (squares.n - 1) * (squares.k - 1)
    return _pair_of_forms(3, squares.subjects / squares.error, squares, df, level)


def _pair_of_forms(form: int, f: float, squares: MeanSquares, df: int, level: float) -> list[Row]:
    """Forms 1 and 3: (F − 1)/(F + k − 1) and 1 − 1/F, at F and at its interval."""
    k, between = squares.k, squares.n - 1
    tail = (1 - level) / 2
    ends = np.array([f, f / scipy.stats.f.isf(tail, between, df), f * scipy.stats.f.isf(tail, df, between)])
    single, mean = (ends - 1) / (ends + k - 1), 1 - 1 / ends
    return [(f"ICC({form},1)", *single, f, between, df), (f"ICC({form},k)", *mean, f, between, df)]


def agreement_forms(squares: MeanSquares, level: float) -> list[Row]:
    """ICC(2,1) and ICC(2,k): column means count as error; Satterthwaite df for mixed mean squares."""
    n, k, error = squares.n, squares.k, squares.error
    noise = k * squares.columns + (k * n - k - n) * error
    value = (squares.subjects - error) / (
        squares.subjects + (k - 1) * error + k * (squares.columns - error) / n
    )
    a, b = k * value * squares.columns / error, n * (1 + (k - 1) * value) - k * value
    df = (k - 1) * (n - 1) * (a + b) ** 2 / ((n - 1) * a**2 + b**2)
    tail = (1 - level) / 2
    # A negative correlation can leave next to no df, with 1/F below at 0 and F above under 1, where it would
    # shut the estimate out.
    scale = np.array(
        [1, 1 / scipy.stats.f.isf(tail, n - 1, df), max(scipy.stats.f.isf(tail, df, n - 1), 1.0)]
    )
    single = n * (scale * squares.subjects - error) / (noise + n * scale * squares.subjects)
    # Spearman and Brown's step from one rating to the mean of k; it has no bound below at −1/(k − 1).
    below = 1 + (k - 1) * single
    mean = np.where(below > 0, k * single / below, -np.inf)
    f = squares.subjects / error
    test = (f, n - 1, (n - 1) * (k - 1))
    return [("ICC(2,1)", *single, *test), ("ICC(2,k)", *mean, *test)]
