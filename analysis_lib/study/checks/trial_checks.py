"""Whether each trial of a study folder can be analysed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from analysis_lib.study.checks.exchanged_rings import exchanged_with_mounts
from analysis_lib.study.corrections.zero_lookup import NONE, places_around
from analysis_lib.study.declared.problems import Problem, Severity, listed, suggest
from analysis_lib.study.tables.contents import Contents, about_study, about_trial, rows_of

MOUNT_TOLERANCE_DEG = 0.05
RECORDINGS = "recordings"
MOST_COMPARED = 20_000
"""Pairs of file names, 2 s or so. Where more lack their file, it is no slip of the hand in one of them."""


def check_words_of_trials(contents: Contents) -> Iterator[Problem]:
    """Riders, rings, intensities and recorders of trials.csv are known elsewhere."""
    settings = contents.settings
    known = {
        "rider": (contents.rider_ids, "riders.csv"),
        "ring": (settings.rings, "study.toml"),
        "intensity": (settings.intensity_names, "study.toml"),
        "recorder": (settings.recorders, "study.toml"),
    }
    for trial in contents.trial_rows:
        for column, (words, home) in known.items():
            word = getattr(trial, column)
            if word in words or (column == "recorder" and trial.exclude and not word):
                continue
            one = f"{'an' if column == 'intensity' else 'a'} {column} of {home}"
            remedy = suggest(word, words, f"use {one}")
            yield about_trial(trial, column, repr(word), f"{one}: {listed(sorted(words))}", remedy)


def check_mounts(contents: Contents) -> Iterator[Problem]:
    """An oval ring sits at one of its available mounts, which are axes: half a turn is nothing. A round one has none."""
    if exchanged := exchanged_with_mounts(contents):
        yield from exchanged
        return
    for trial in contents.trial_rows:
        ring = contents.settings.rings.get(trial.ring)
        if ring is None or trial.exclude:
            continue
        if ring.axis_ratio == 1:
            if not (np.isnan(trial.mount_deg) or ring.available_mounts_deg):
                got = f"{trial.mount_deg:g} with ring {trial.ring}, which has no major axis"
                remedy = "correct the ring if it was another one; otherwise empty the cell"
                yield about_trial(trial, "mount_deg", got, "an empty cell", remedy, "caution")
            continue
        wanted = f"one of {listed(f'{angle:g}' for angle in ring.ridden_mounts_deg)} for ring {trial.ring}"
        if np.isnan(trial.mount_deg):
            yield about_trial(trial, "mount_deg", "an empty cell", wanted, "state how the oval ring sat")
        elif not any(_same_axis(trial.mount_deg, angle) for angle in ring.ridden_mounts_deg):
            remedy = "correct it, or add the angle to available_mounts_deg in study.toml"
            if ring.mount_deg is not None:
                remedy = "correct it, or describe that mount as a ring entry of its own in study.toml"
            yield about_trial(trial, "mount_deg", f"{trial.mount_deg:g}", wanted, remedy)


def _same_axis(one_deg: float, other_deg: float) -> bool:
    return abs((one_deg - other_deg + 90) % 180 - 90) < MOUNT_TOLERANCE_DEG


def check_exclusions(contents: Contents) -> Iterator[Problem]:
    """Every exclusion gives its reason, and no reason stands without an exclusion."""
    for trial in contents.trial_rows:
        if trial.exclude and not trial.exclude_reason:
            remedy = "write the rule by which it was left out"
            yield about_trial(
                trial, "exclude_reason", "an empty cell", "the reason for the exclusion", remedy
            )
        elif trial.exclude_reason and not trial.exclude:
            remedy = "write yes in exclude, or empty the reason"
            yield about_trial(trial, "exclude", "no, beside a reason", "yes", remedy, "note")


def check_files(contents: Contents) -> Iterator[Problem]:
    """Every trial ridden names a recording that is there."""
    lacking = {trial.file for trial in contents.ridden_rows if trial.file} - contents.bytes_of.keys()
    spare = unlisted_files(contents) if lacking else []  # never another trial's recording
    if len(lacking) * len(spare) > MOST_COMPARED:
        spare = []
    for trial in contents.ridden_rows:
        if not trial.file:
            remedy = "name the recording, or exclude the trial with its reason"
            yield about_trial(trial, "file", "an empty cell", "the recording of the trial", remedy)
        elif trial.file in lacking:
            remedy = suggest(trial.file, spare, "put the file there, or correct its name")
            yield about_trial(
                trial, "file", f"{trial.file!r}, no such file", "a file of the study folder", remedy
            )


def check_windows(contents: Contents) -> Iterator[Problem]:
    """No second of a recording serves two trials."""
    named = contents.ridden[contents.ridden["file"] != ""]
    shared = named[named["file"].duplicated(keep=False)]
    for file, group in shared.groupby("file", sort=True):
        parts = group.assign(start_s=group["start_s"].fillna(0.0), end_s=group["end_s"].fillna(np.inf))
        longest, *others = rows_of(parts.sort_values("start_s"))
        for later in others:
            if later.start_s < longest.end_s:
                got = f"{file} from {later.start_s:g} s, where trial {longest.trial} has not ended"
                yield about_trial(
                    later, "start_s", got, "a part that no other trial uses", "set start_s and end_s"
                )
            longest = max(longest, later, key=lambda trial: trial.end_s)


def check_unlisted_files(contents: Contents) -> Iterator[Problem]:
    """A recording that no trial names is pointed out, for it may be a trial that was left out in silence."""
    for file in unlisted_files(contents):
        remedy = "list it in trials.csv, with exclude = yes and the reason if it does not count"
        yield about_study(file, "a recording that no trial names", "every recording listed", remedy, "note")


def unlisted_files(contents: Contents) -> list[str]:
    """Return the files of the folder of recordings that no trial names; links to folders are not followed."""
    named = {*contents.trials["file"], *contents.set_aside["file"]}
    found = [
        f"{folder}/{name}"[len(f"{contents.root}/") :]
        for folder, _, names in os.walk(contents.root / RECORDINGS)
        for name in names
        if not name.startswith(".")
    ]
    unlisted = [file for file in found if file not in named and (contents.root / file).is_file()]
    return sorted(unlisted, key=lambda file: file.split("/"))


def check_zero_torque(contents: Contents) -> Iterator[Problem]:
    """Every trial ridden has a zero check of its recorder near in time, unless the rules do without."""
    rules = contents.settings.rules
    severity: Severity = "error" if rules.zero_check_required else "note"
    known = contents.ridden["recorder"].isin(list(contents.settings.recorders)).to_numpy(dtype=bool)
    ridden = contents.ridden[known]
    around = places_around(contents.settings, contents.zero_checks, ridden)
    rows = [trial for trial in contents.ridden_rows if trial.recorder in contents.settings.recorders]
    for trial, before, after in zip(rows, *around, strict=True):
        if pd.isna(trial.started_at):
            wanted = "date and time, which places the trial among the zero checks"
            remedy = "write when the trial started"
            yield about_trial(trial, "started_at", "an empty cell", wanted, remedy, severity)
            continue
        if before == after == NONE:
            got = f"no zero check of {trial.recorder} within {rules.zero_check_max_hours:g} h"
            wanted = "a zero check before or after the trial, of every channel of the recorder"
            remedy = "add it to zero_checks.csv; half a newton metre of zero torque is 5 W at 90 rpm"
            yield about_trial(trial, "started_at", got, wanted, remedy, severity)


CHECKS: tuple[Callable[[Contents], Iterator[Problem]], ...] = (
    check_words_of_trials,
    check_mounts,
    check_exclusions,
    check_files,
    check_windows,
    check_unlisted_files,
    check_zero_torque,
)
