"""Two rings exchanged throughout a study's tables: one message, laid at every door that it stops.

Where each single row contradicts, the rows are not at fault one by one. The tables alone cannot say which of them is
right; the recordings may, so a check reads them all the same.
"""

from __future__ import annotations

import math

from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import FEWEST_TO_GROUP
from analysis_lib.study.declared.problems import Problem
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.tables.contents import Contents

WITH_SEQUENCES = "trials.csv, column ring, against riders.csv, column sequence"
WITH_MOUNTS = "trials.csv, column ring, against column mount_deg"
SEEMS = "the two rings look exchanged throughout"


def exchanged_with_sequences(contents: Contents) -> list[Problem]:
    """Return one message, once a rider, where all rode in every period the other ring than their sequence says."""
    settings = contents.settings
    if not _are_two(settings):
        return []
    periods: dict[tuple[str, int], None] = {}
    for rider, trials in contents.trials_by_rider():
        order = settings.design.sequences.get(rider.sequence, [])
        for trial in trials:
            period = int(trial.period)
            if trial.ring not in settings.rings or period > len(order):
                continue  # at fault by itself, and told so
            if trial.ring == order[period - 1]:
                return []
            periods[rider.rider, period] = None
    if len(periods) < FEWEST_TO_GROUP:
        return []
    riders = dict.fromkeys(rider for rider, _ in periods)
    got = f"the other ring in all {len(periods)} periods of {show_count(len(riders), 'rider')}"
    wanted, remedy = (
        "the ring that the sequence names",
        f"{SEEMS}: correct ring or sequence, whichever is wrong",
    )
    return [Problem(WITH_SEQUENCES, got, wanted, remedy, "rider", rider) for rider in riders]


def exchanged_with_mounts(contents: Contents) -> list[Problem]:
    """Return one message, once a trial on the oval ring, where none of these has a mount and every other trial has."""
    settings = contents.settings
    if not _are_two(settings) or settings.rings[settings.oval_rings[0]].axis_ratio == 1:
        return []
    trials = [trial for trial in contents.ridden_rows if trial.ring in settings.rings]
    oval = [trial for trial in trials if trial.ring == settings.oval_rings[0]]
    known = [trial for trial in trials if not math.isnan(trial.mount_deg)]
    on_oval = any(trial.ring == settings.oval_rings[0] for trial in known)
    if min(len(oval), len(known)) < FEWEST_TO_GROUP or on_oval or len(oval) + len(known) < len(trials):
        return []
    got = f"a mount with all {len(known)} trials on the round ring and with none of {len(oval)} on the oval ring"
    wanted, remedy = "the mount of the oval ring", f"{SEEMS}: correct ring or mount_deg, whichever is wrong"
    return [Problem(WITH_MOUNTS, got, wanted, remedy, "trial", trial.rider, trial.trial) for trial in oval]


def _are_two(settings: StudySettings) -> bool:
    """Whether a study has two rings, one round and one oval, so that each has one other."""
    return len(settings.rings) == 2 and len(settings.oval_rings) == 1
