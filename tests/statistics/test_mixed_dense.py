"""Small-sample tests of mixed models, against the published formulas written once more, dense and without any shortcut.

Kenward & Roger, Biometrics 1997;53:983, equations for Φ_A, A1, A2, B, c1 to c3, λ and m; Satterthwaite as in Kuznetsova,
Brockhoff & Christensen 2017, J Stat Softw 82(13). Unbalanced rows, three sequences, variances at zero, unequal residuals.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis_lib.statistics import restricted_likelihood
from analysis_lib.statistics.mixed import fit_mixed_model

TWO = [(0, 1, 1, 0), (1, 0, 0, 1)]
THREE = [(0, 1, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0), (1, 0, 2), (0, 2, 1)]
THREE_SEQUENCES = [(0, 1, 1, 0), (1, 0, 0, 1), (0, 1, 0, 1)]


def scattered(sequences, riders, ring_sd, seed, unequal=False):
    """Trials at three intensities, an eighth of them lost."""
    rng = np.random.default_rng(seed)
    rows = [
        (r, p, sequences[r % len(sequences)][p], i)
        for r in range(riders)
        for p in range(len(sequences[0]))
        for i in range(3)
        if rng.random() > 0.12
    ]
    table = pd.DataFrame(rows, columns=["rider", "period", "ring", "level"])
    cell = 10 * table.rider + table.ring
    noise = (1 + unequal * table.level.to_numpy()) * rng.normal(size=len(table))
    y = 2 * rng.normal(size=riders)[table.rider] + ring_sd * rng.normal(size=10 * riders)[cell] + noise
    x = pd.DataFrame({"1": 1.0}, index=table.index)
    for name in ("ring", "period", "level"):
        for value in sorted(table[name].unique())[1:]:
            x[f"{name}{value}"] = (table[name] == value).astype(float)
    return table, np.asarray(y, dtype=float), x, {"rider": table.rider, "rider:ring": cell}


def patterns_of(table, groups, unequal):
    """G = ZZ' of every variance: groupings, then residuals."""
    found = [np.equal.outer(g.to_numpy(), g.to_numpy()).astype(float) for g in groups.values()]
    if not unequal:
        return [*found, np.eye(len(table))]
    return [*found, *(np.diag((table.level == k).astype(float)) for k in pd.unique(table.level))]


class Dense:
    """Everything at given variances, from whole matrices."""

    def __init__(self, y, x, patterns, variances):
        self.patterns, self.found = patterns, variances > 0
        v = np.linalg.inv(sum(s * g for s, g in zip(variances, patterns, strict=True)))
        self.c = np.linalg.inv(x.T @ v @ x)
        p = v - v @ x @ self.c @ x.T @ v
        self.beta = self.c @ x.T @ v @ y
        u = p @ y
        e = np.array([[0.5 * np.trace(p @ a @ p @ b) for b in patterns] for a in patterns])
        o = np.array([[u @ a @ p @ b @ u for b in patterns] for a in patterns]) - e
        self.score = np.array([0.5 * u @ g @ u - 0.5 * np.trace(p @ g) for g in patterns])
        self.w = np.linalg.inv(e)
        self.spread = np.linalg.inv(o[np.ix_(self.found, self.found)])
        self.p = [-x.T @ v @ g @ v @ x for g in patterns]
        q = [[x.T @ v @ a @ v @ b @ v @ x for b in patterns] for a in patterns]
        k = range(len(patterns))
        middle = sum(self.w[i, j] * (q[i][j] - self.p[i] @ self.c @ self.p[j]) for i in k for j in k)
        self.adjusted = self.c + 2 * self.c @ middle @ self.c

    def one(self, weights, df_method):
        """Standard error and df of one contrast."""
        slopes = np.array([-weights @ self.c @ p @ self.c @ weights for p in self.p])
        plain = weights @ self.c @ weights
        if df_method == "satterthwaite":
            g = slopes[self.found]
            return plain**0.5, 2 * plain**2 / (g @ self.spread @ g)
        return (weights @ self.adjusted @ weights) ** 0.5, 2 * plain**2 / (slopes @ self.w @ slopes)

    def several(self, rows):
        """F and denominator df of Kenward and Roger."""
        q, c = len(rows), self.c
        theta = rows.T @ np.linalg.inv(rows @ c @ rows.T) @ rows
        terms = [theta @ c @ p @ c for p in self.p]
        k = range(len(terms))
        a1 = sum(self.w[i, j] * np.trace(terms[i]) * np.trace(terms[j]) for i in k for j in k)
        a2 = sum(self.w[i, j] * np.trace(terms[i] @ terms[j]) for i in k for j in k)
        b = (a1 + 6 * a2) / (2 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        below = 3 * q + 2 * (1 - g)
        c1, c2, c3 = g / below, (q - g) / below, (q + 2 - g) / below
        mean = 1 / (1 - a2 / q)
        variance = 2 / q * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
        m = 4 + (q + 2) / (q * variance / (2 * mean**2) - 1)
        wald = rows @ self.beta @ np.linalg.solve(rows @ self.adjusted @ rows.T, rows @ self.beta) / q
        return m / (mean * (m - 2)) * wald, m


@pytest.mark.parametrize(
    ("sequences", "riders", "ring_sd", "unequal"),
    [
        (TWO, 7, 1.0, False),
        (TWO, 8, 0.0, False),
        (TWO, 9, 1.0, True),
        (THREE_SEQUENCES, 9, 0.7, False),
        (THREE_SEQUENCES, 8, 0.0, True),
        (THREE, 6, 1.0, False),
        (THREE, 12, 0.0, True),
    ],
)
@pytest.mark.parametrize(("seed", "at_once"), [(1, 128), (2, 128), (1, 4), (2, 1)])
def test_every_coefficient_and_f_is_that_of_the_formulas(
    sequences, riders, ring_sd, unequal, seed, at_once, monkeypatch
):
    """Also with riders taken a few at a time."""
    monkeypatch.setattr(restricted_likelihood, "BLOCKS_AT_ONCE", at_once)
    table, y, x, groups = scattered(sequences, riders, ring_sd, seed, unequal)
    fits = {
        method: fit_mixed_model(y, x, groups, method, residual_groups=table.level if unequal else None)
        for method in ("kenward-roger", "satterthwaite")
    }
    variances = np.array(list(fits["kenward-roger"].variance_components.values()))
    dense = Dense(y, x.to_numpy(), patterns_of(table, groups, unequal), variances)
    # The maximum: no slope where a variance is positive, none upward where it is zero
    sizes = variances.max()
    assert np.abs(dense.score[dense.found] * sizes).max() < 1e-5
    assert (dense.score[~dense.found] <= 0).all()
    for method, fit in fits.items():
        frame = fit.to_frame()
        assert frame["estimate"].to_numpy() == pytest.approx(dense.beta, rel=1e-8)
        shown = np.array([dense.one(row, method) for row in np.eye(len(frame))])
        assert frame[["se", "df"]].to_numpy() == pytest.approx(shown, rel=1e-8)
    rows = np.eye(x.shape[1])[[list(x).index("level1"), list(x).index("level2")]]
    test = fits["kenward-roger"].f_test(rows)
    assert (test.f, test.df_within) == pytest.approx(dense.several(rows), rel=1e-8)


def test_some_of_these_fits_lie_on_the_boundary():
    found = [
        fit_mixed_model(y, x, groups).singular
        for _, y, x, groups in (scattered(TWO, 8, 0.0, seed) for seed in range(1, 7))
    ]
    assert any(found) and not all(found)
