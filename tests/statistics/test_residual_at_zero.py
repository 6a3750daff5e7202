"""One residual variance of several at zero: one value a rider, period and intensity, the commonest study there is."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import scipy

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.mixed import fit_mixed_model
from analysis_lib.statistics.ring_model import ring_mixed_model

TERMS = ("rider", "rider:ring", "rider:period", "rider:intensity", "rider:ring:intensity")
ORDERS = {"ROOR": ["round", "oval", "oval", "round"], "ORRO": ["oval", "round", "round", "oval"]}


def _study(hard_sd: float) -> pd.DataFrame:
    """Eight riders whose days tell more at hard than at easy: easy and hard go together by more than easy varies."""
    rng = np.random.default_rng(3)
    rows = []
    for rider in range(8):
        sequence = list(ORDERS)[rider % 2]
        level = rng.normal(200, 20)
        for period, ring in enumerate(ORDERS[sequence], start=1):
            day = rng.normal(0, 2)
            for intensity, sd, share in (("easy", 0.0, 1.0), ("hard", hard_sd, 1.0 + 0.3 * (hard_sd > 0))):
                value = level + share * day + rng.normal(0, sd) + 3 * (ring == "oval")
                rows.append((f"R{rider}", sequence, period, ring, intensity, value))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "power"])


def _likeliest_by_scipy(table: pd.DataFrame) -> float:
    """Greatest restricted log-likelihood over all variances: dense matrices and SciPy's bounded search from many starts."""
    cell = {
        "rider": table["rider"],
        "rider:ring": table["rider"] + table["ring"],
        "rider:period": table["rider"] + table["period"].astype(str),
        "rider:intensity": table["rider"] + table["intensity"],
        "rider:ring:intensity": table["rider"] + table["ring"] + table["intensity"],
    }
    dummies = [pd.get_dummies(labels).to_numpy(float) for labels in cell.values()]
    parts = [z @ z.T for z in dummies]
    parts += [np.diag((table["intensity"] == name).to_numpy(float)) for name in ("easy", "hard")]
    oval = (table["ring"] == "oval").to_numpy(float)
    at = pd.get_dummies(table["intensity"]).to_numpy(float)
    x = np.column_stack([at, at * oval[:, None], pd.get_dummies(table["period"]).to_numpy(float)[:, 1:]])
    y = table["power"].to_numpy()

    def lost(logs: np.ndarray) -> float:
        v = sum(np.exp(log) * part for log, part in zip(logs, parts, strict=True))
        wx = np.linalg.solve(v, x)
        rest = y - x @ np.linalg.solve(x.T @ wx, wx.T @ y)
        logs_det = np.linalg.slogdet(v)[1] + np.linalg.slogdet(x.T @ wx)[1]
        free = len(y) - x.shape[1]
        return 0.5 * (free * np.log(2 * np.pi) + logs_det + rest @ np.linalg.solve(v, rest))

    starts = np.random.default_rng(0).uniform(-3, 5, size=(4, len(parts)))
    bounds = [(-16, 9)] * len(parts)
    return -min(
        scipy.optimize.minimize(lost, start, method="L-BFGS-B", bounds=bounds).fun for start in starts
    )


def test_the_fit_with_one_residual_at_zero_is_the_likeliest_there_is():
    table = _study(hard_sd=2.0)
    model = ring_mixed_model(table, "power", random_terms=TERMS, residual_by_intensity=True)
    assert model.variance_components["residual: easy"] == 0.0
    assert model.variance_components["residual: hard"] > 1
    # A search over logarithms ends at e^-16 in place of 0, which costs less than 1e-3 of log-likelihood.
    assert model.model.loglik == pytest.approx(_likeliest_by_scipy(table), abs=1e-3)
    assert "residual: easy was estimated as zero" in model.notes[0]
    assert "do not tell it from what differs between groups" in model.notes[0]


def test_its_overall_effect_is_the_mean_of_the_riders_contrasts():
    """A complete, balanced study: generalised least squares is the plain mean whatever the variances are."""
    table = _study(hard_sd=2.0)
    means = table.groupby("ring")["power"].mean()
    model = ring_mixed_model(table, "power", random_terms=TERMS, residual_by_intensity=True)
    assert model.overall.value == pytest.approx(means["oval"] - means["round"], rel=1e-9)


def test_two_residuals_at_zero_are_refused_without_a_word_of_copies():
    table = _study(hard_sd=0.0)
    with pytest.raises(Refusal, match="the groupings take all of the spread") as refused:
        ring_mixed_model(table, "power", random_terms=TERMS, residual_by_intensity=True)
    assert "copied" not in str(refused.value)


def test_a_residual_that_nothing_replaces_is_refused():
    """Rows of 'a' repeat one another within each rider; without their residual no row of them varies on its own."""
    y = [1.0, 1, 2, 4, 5, 5, 9, 6, 3, 3, 8, 2]
    riders, kinds = [*"aaaabbbbcccc"], ["a", "a", "b", "b"] * 3
    with pytest.raises(Refusal, match="residual variance"):
        fit_mixed_model(y, pd.DataFrame({"1": np.ones(12)}), {"rider": riders}, residual_groups=kinds)
