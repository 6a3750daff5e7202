"""What doubts of trials are judged from: one rider's recordings as much as a whole study's."""

from __future__ import annotations

from typing import Protocol

import pandas as pd

from analysis_lib.study.checks.folder import Study


class TrialsAtHand(Protocol):
    """A page's study, its trials, and a row for each quantity of each trial used."""

    @property
    def study(self) -> Study:
        """The study that lists the trials."""

    @property
    def trials(self) -> pd.DataFrame:
        """With ``trial, rider, state, reason`` among others."""

    @property
    def quantities(self) -> pd.DataFrame:
        """With ``trial, rider, quantity, value`` among others."""
