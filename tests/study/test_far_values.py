"""A cell far from all others of its outcome is told and counted; what honest riders write never is."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis_lib.study.checks.far_values import far_cells
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.declared.settings import StudySettings, read_settings
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

RPE = [11, 12, 10, 11, 12, 13, 11, 10]
"""Of four riders who rode two periods each."""


@pytest.fixture
def settings(tiny) -> StudySettings:
    return read_settings(tiny.root / "study.toml")


def declaring(settings: StudySettings, smallest_effect: float = 1.0, unit: str = "1") -> StudySettings:
    """The settings with one score of trials.csv."""
    score = Outcome(
        name="score",
        label="Score",
        unit=unit,
        source="trials",
        better="lower",
        smallest_effect=smallest_effect,
    )
    return settings.model_copy(update={"outcomes": [*settings.outcomes, score]})


def written(values, periods: int = 2, intensity: str = "easy") -> pd.DataFrame:
    """Trials at one intensity, a rider's periods one after the other."""
    riders = [f"R{place // periods}" for place in range(len(values))]
    return pd.DataFrame({"rider": riders, "intensity": intensity, "score": values})


@pytest.mark.parametrize("slip", [110, 1100, 1.1e6, 0.11])
def test_a_slip_of_the_decimal_point_is_found(settings, slip):
    values = [*RPE[:3], slip, *RPE[4:]]
    found = far_cells(declaring(settings, 0.1), written(values))
    assert [(cell.place, cell.value) for cell in found] == [(3, slip)]
    # Median of 10, 10, 11, 11, 12, 12, 13 and a slip above them all, or below them all.
    assert found[0].median == (11.5 if slip > 11 else 11.0)


def test_other_intensities_are_no_measure(settings):
    rows = [written(RPE), written([10.0 * value for value in RPE], intensity="hard")]
    assert far_cells(declaring(settings, 0.1), pd.concat(rows, ignore_index=True)) == []


def test_a_rider_unlike_the_others_in_every_period_is_no_slip(settings):
    assert far_cells(declaring(settings), written([*RPE, 90, 95])) == []
    assert [cell.place for cell in far_cells(declaring(settings), written([*RPE, 90, 9]))] == [8]


def test_a_rider_with_one_value_is_noted_only_where_it_is_ten_times_off(settings):
    assert far_cells(declaring(settings), written([*RPE, 90])) == []
    assert [cell.place for cell in far_cells(declaring(settings), written([*RPE, 130]))] == [8]


@pytest.mark.parametrize(
    "values",
    [
        [1, 1, 1, 1, 1, 1, 1, 4],  # a score of few steps on which most agree: no deviation from the median
        [0, 0, 0, 0, 0, 0, 0, 60],  # a ratio to nought
        [-3, 2, -1, 4, 0, 40, 1, 2],
        [11, 11, 11, 1100],  # too few to be far from
        [5.0] * 8,
        [np.nan] * 8,
    ],
)
def test_what_has_no_median_to_be_far_from_is_passed_over(settings, values):
    assert far_cells(declaring(settings), written(values)) == []


def test_riders_who_spread_widely_are_never_noted(settings):
    """Lognormal values: riders spread by up to 60 %, their periods by up to 30 %; scores in whole steps likewise."""
    rng = np.random.default_rng(11)
    told = 0
    for study in range(400):
        riders, periods = int(rng.integers(2, 25)), int(rng.choice([2, 4]))
        between, within = rng.uniform(0.05, 0.6), rng.uniform(0.02, 0.3)
        level = np.exp(between * rng.normal(size=(riders, 1)) + within * rng.normal(size=(riders, periods)))
        values = (level * rng.choice([3.0, 12.0, 150.0])).ravel()
        values = np.round(values) if study % 2 else values
        told += len(far_cells(declaring(settings, float(np.median(values)) / 50), written(values, periods)))
    assert told == 0


def test_invented_studies_are_never_noted(tmp_path):
    for seed in range(3):
        folder = tmp_path / str(seed)
        small_study(folder, riders=6, duration_s=3.0, seed=seed, intensities=DEMO_INTENSITIES)
        study = open_study(folder)
        assert {"rpe", "comfort", "hr_bpm"} <= set(study.trials)
        assert far_cells(study.settings, study.trials) == []


def test_check_notes_the_cell_and_its_trial_counts(tmp_path):
    folder = tmp_path / "study"
    small_study(folder, riders=3, duration_s=3.0, intensities=DEMO_INTENSITIES[:1])
    trials = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    trials.loc[4, "rpe"] = "1100"
    trials.to_csv(folder / "trials.csv", index=False)
    study = open_study(folder)
    (note,) = [problem for problem in study.notes if problem.got == "1100"]
    assert note.trial == trials.loc[4, "trial"] and "column rpe" in note.what
    assert study.errors == [] and study.trials["usable"].all()
    assert study.trials.loc[4, "rpe"] == 1100
