"""The mixed model of a ring study against R (lme4, lmerTest, pbkrtest, emmeans) and exact identities."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
import worked_crossovers as worked
from worked_crossovers import two_periods

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.crossover import ring_effect, ring_mixed_model

# y ~ ring * intensity + period + (1 | rider) + (1 | rider:ring) on the simulated study of twelve riders,
# fitted in R 4.2 with lme4; contrasts of emmeans: estimate, SE, df, p. Signs turned to oval − round.
R_KENWARD_ROGER = {
    "low": (0.0985518224, 0.1643259391, 32.6931187, 0.5528179155),
    "mid": (0.4886903387, 0.1740894949, 37.3227143, 0.0079013566),
    "high": (0.3871934812, 0.1704316369, 34.8798214, 0.0293729291),
    "overall": (0.3248118808, 0.1198617207, 9.5680448, 0.0227692369),
}
R_SATTERTHWAITE = {
    "low": (0.0985518224, 0.1641349748, 27.4739504, 0.5531398422),
    "mid": (0.4886903387, 0.1735812504, 31.6738108, 0.0083107368),
    "high": (0.3871934812, 0.1699282149, 29.4468212, 0.0301213003),
    "overall": (0.3248118808, 0.1193662083, 7.6661899, 0.0272597951),
}


@pytest.mark.parametrize(
    ("df_method", "expected"), [("kenward-roger", R_KENWARD_ROGER), ("satterthwaite", R_SATTERTHWAITE)]
)
def test_twelve_riders_as_in_r(df_method, expected):
    model = ring_mixed_model(
        worked.twelve_riders(), "y", df_method=df_method, random_terms=("rider", "rider:ring")
    )
    frame = model.to_frame().set_index("intensity")
    assert list(frame.columns) == ["estimate", "se", "df", "t", "p", "low", "high", "n"]
    for intensity, row in expected.items():
        found = frame.loc[intensity, ["estimate", "se", "df", "p"]].astype(float)
        np.testing.assert_allclose(found, row, rtol=5e-6)
    # SD of R: rider:ring 0.198892, rider 1.283108, residual 0.475286
    deviations = {name: value**0.5 for name, value in model.variance_components.items()}
    assert deviations == pytest.approx(
        {"rider": 1.283108, "rider:ring": 0.198892, "residual": 0.475286}, abs=1e-5
    )


def test_typed_reference_is_that_of_the_shared_file():
    path = worked.SHARED_DATA / "xover12_ref.json"
    if not path.exists():
        pytest.skip(f"{path.name} is not beside the project")
    reference = json.loads(path.read_text())["b"]["emmeans"]["kenward-roger"]
    rows = [*reference["ring_diff_by_intensity"], *reference["ring_diff_overall"]]
    for (_, typed), row in zip(R_KENWARD_ROGER.items(), rows, strict=True):
        assert typed == pytest.approx((-row["estimate"], row["SE"], row["df"], row["p.value"]), rel=1e-8)


def test_complete_two_period_trial_is_senns_analysis():
    # Senn 2002 ch. 3: 46.607, SE 10.777 on 11 df; the mixed model must agree when nothing is missing
    table = two_periods(worked.FORMOTEROL_FIRST, worked.SALBUTAMOL_FIRST)
    model = ring_mixed_model(table, "y")
    overall = model.overall
    assert (overall.value, overall.se, overall.df) == pytest.approx((46.607143, 10.776560, 11), rel=1e-6)
    # One trial a ring and rider: rider:ring is the residual itself
    assert list(model.variance_components) == ["rider", "residual"]


def balanced(periods_hold=1, orders=("ABBA", "BAAB"), riders=10, seed=11, response=1.5):
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(riders):
        order, level, own = orders[i % 2], 5 * rng.normal(), response * rng.normal()
        for period, letter in enumerate(order, start=1):
            visit = 0.8 * rng.normal()
            for k in range(periods_hold):
                y = level + visit + (1 + own) * (letter == "B") + k + rng.normal()
                rows.append((i, order, period, {"A": "round", "B": "oval"}[letter], f"i{k}", y))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def test_balanced_study_with_rider_by_ring_has_n_minus_two_df():
    # In a balanced ABBA/BAAB study the mixed model is the t on sequence-adjusted contrasts (exact identity)
    table = balanced()
    overall, primary = ring_mixed_model(table, "y").overall, ring_effect(table, "y").overall
    assert (overall.value, overall.se, overall.df) == pytest.approx((primary.value, primary.se, 8), rel=1e-6)
    with_intensities = balanced(periods_hold=3)
    overall = ring_mixed_model(with_intensities, "y").overall
    primary = ring_effect(with_intensities, "y").overall
    assert (overall.value, overall.se, overall.df) == pytest.approx((primary.value, primary.se, 8), rel=1e-6)


def test_random_terms_follow_the_design():
    assert list(ring_mixed_model(balanced(), "y").variance_components) == ["rider", "rider:ring", "residual"]
    several = ring_mixed_model(balanced(periods_hold=3), "y").variance_components
    assert list(several) == ["rider", "rider:ring", "rider:period", "residual"]
    # Two periods: a ring is a period, so rider:period is rider:ring
    two = balanced(periods_hold=3, orders=("AB", "BA"))
    assert list(ring_mixed_model(two, "y").variance_components) == ["rider", "rider:ring", "residual"]


def test_one_sequence_leaves_period_effects_out_and_says_so():
    model = ring_mixed_model(balanced(orders=("AB", "AB"), periods_hold=2), "y")
    assert "Period effects cannot be told from the ring" in model.notes[0]


def test_n_counts_riders_with_values():
    table = balanced(periods_hold=2)
    table.loc[(table["rider"] < 3) & (table["intensity"] == "i1"), "y"] = np.nan
    assert ring_mixed_model(table, "y").to_frame()["n"].tolist() == [10, 7, 10]


def test_the_sentence_names_the_model():
    assert "mixed model" in ring_mixed_model(balanced(), "y", unit="W").sentence()


def test_refusals():
    table = balanced(periods_hold=2)
    gone = table.assign(y=table["y"].mask((table["ring"] == "oval") & (table["intensity"] == "i1")))
    with pytest.raises(Refusal, match="intensity i1 – got no values on both rings"):
        ring_mixed_model(gone, "y")
    with pytest.raises(Refusal, match="random terms"):
        ring_mixed_model(table, "y", random_terms=("rider", "bike"))
    with pytest.raises(Refusal, match="confidence level"):
        ring_mixed_model(table, "y", level=2)
