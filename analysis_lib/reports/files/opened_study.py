"""The study that a notebook is about: as its run opened it, or opened now.

A run opens the study once, with everything that is to be said against it, and its kernels take it from there. Else each
of a thousand kernels would read and check what belongs to all riders. What was opened lies in the run's own folder,
which nobody else may write to; a kernel takes it for the study of its run alone.
"""

from __future__ import annotations

import os
import pickle
from dataclasses import replace
from pathlib import Path

from analysis_lib.reports.files.places import study_folder
from analysis_lib.study.checks.folder import Study, open_study

VARIABLE = "ROUNDOVAL_OPENED_STUDY"
"""Tells a kernel where the study of its run lies, as opened."""

STUDY = "study"
"""What a run's kernels call the study folder."""


def leave_opened(study: Study, place: Path) -> Path:
    """Leave an opened study for the kernels of a run, which see its folder under another name, and return the file."""
    with place.open("wb") as stream:
        pickle.dump(replace(study, root=Path(STUDY)), stream, protocol=pickle.HIGHEST_PROTOCOL)
    return place


def study_at(study_dir: str) -> Study:
    """Return the study that a notebook's ``study_dir`` parameter means; empty means the demo study.

    Raises
    ------
    Refusal, Refusals
        What `open_study` refuses.
    """
    place = os.environ.get(VARIABLE)
    if study_dir == STUDY and place:
        with Path(place).open("rb") as stream:
            return pickle.load(stream)
    return open_study(study_folder(study_dir))
