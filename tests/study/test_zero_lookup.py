"""Which zero checks belong to a trial: the search for many trials at once against one look at every check for each."""

import numpy as np
import pandas as pd
import pytest

from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.zero_lookup import NONE, checks_around, places_around
from analysis_lib.study.synthetic.synthetic import small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("checks") / "study"
    small_study(folder, riders=3, duration_s=4.0)
    return open_study(folder)


def _look_at_every_check(checks, trial, reach_s):
    """The nearest before, or at, and after a trial by its distance from every check; the first of equals."""
    away = [(moment - trial.started_at).total_seconds() for moment in checks["checked_at"]]
    before = [(-seconds, place) for place, seconds in enumerate(away) if -reach_s <= seconds <= 0]
    after = [(seconds, place) for place, seconds in enumerate(away) if 0 < seconds <= reach_s]
    return min(before, default=(0, NONE))[1], min(after, default=(0, NONE))[1]


def test_many_trials_find_the_checks_that_each_would_find_alone(study):
    """Rows out of order, two checks at one time, a check at the very start of a trial, absent times, a short reach."""
    rng = np.random.default_rng(3)
    checks = study.zero_checks.iloc[rng.permutation(len(study.zero_checks))].reset_index(drop=True)
    trials = study.trials.copy()
    checks.loc[:2, "checked_at"] = checks.loc[3:5, "checked_at"].to_numpy()
    checks.loc[6, "checked_at"] = trials.loc[4, "started_at"]
    checks.loc[7, "checked_at"] = pd.NaT
    trials.loc[9, "started_at"] = pd.NaT
    for hours in (0.05, 0.5, 12.0, 1e300):
        rules = study.settings.rules.model_copy(update={"zero_check_max_hours": hours})
        settings = study.settings.model_copy(update={"rules": rules})
        found = list(zip(*places_around(settings, checks, trials), strict=True))
        wanted = [_look_at_every_check(checks, trial, hours * 3600) for trial in trials.itertuples()]
        assert found == wanted
        assert found[9] == (NONE, NONE)
    assert {NONE} < {before for before, _ in found}


def test_without_any_check_no_trial_has_one(study):
    none = study.zero_checks.iloc[:0]
    before, after = places_around(study.settings, none, study.trials)
    assert set(before) == set(after) == {NONE}
    assert checks_around(study.settings, none, next(study.trials.itertuples())).before == []
