"""One rider's tables of several two-ring comparisons, joined into those of all rings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from analysis_lib.reports.rider.rider_tables import TABLES, RiderTables
from analysis_lib.reports.trials.other_ring import of_another_ring
from analysis_lib.study.declared.settings import StudySettings

_KEYS = {
    "trials": ["trial"],
    "quantities": ["trial", "quantity"],
    "profiles": ["trial", "crank_deg"],
    "budgets": ["trial", "quantity", "input"],
}
"""What tells one row of each table from another; the trials on the round ring stand in every comparison."""


def pair_name(rider: str, ring: str) -> str:
    """Name the page of one rider and oval ring; a study of one oval ring names its pages by the rider alone.

    No rider and no ring has a full stop in its name, so two pairs never share one.

    >>> pair_name("R01", "late"), pair_name("R01", "")
    ('R01.late', 'R01')
    """
    return f"{rider}.{ring}" if ring else rider


def compared_rings(settings: StudySettings) -> list[str]:
    """List the oval rings that have pages of their own; an empty name alone where there is one oval ring."""
    return settings.oval_rings if len(settings.oval_rings) > 1 else [""]


def join_rings(settings: StudySettings, tables: Mapping[str, RiderTables]) -> RiderTables:
    """Join a rider's tables of several comparisons, by oval ring, into one set; see `join_table`."""
    if list(tables) == [""]:
        return tables[""]
    labels = ring_labels(settings, (found.trials for found in tables.values()))
    parts = {name: {ring: getattr(one, name) for ring, one in tables.items()} for name in TABLES}
    return RiderTables(**{name: join_table(name, parts[name], labels) for name in TABLES})


def ring_labels(settings: StudySettings, trials: Iterable[pd.DataFrame]) -> dict[str, str]:
    """Return what tables of all rings call the ring of each trial, as `StudySettings.ring_label` says."""
    return {
        str(trial): settings.ring_label(str(name))
        for found in trials
        for trial, name in zip(found["trial"], found["ring_name"], strict=True)
    }


def join_table(name: str, parts: Mapping[str, pd.DataFrame], labels: Mapping[str, str]) -> pd.DataFrame:
    """Join one table of a rider's several comparisons, by oval ring.

    The torque phases are those on the round ring; ``meter`` gets a column ``ring``; elsewhere ``ring`` is what `labels`
    call that of the trial.
    """
    if name == "phases":
        return _join(parts.values(), ["rider", "intensity"])
    if name == "meter":
        return pd.concat([part.assign(ring=ring) for ring, part in parts.items()], ignore_index=True)
    joined = _join(parts.values(), _KEYS[name])
    joined = joined.assign(ring=joined["trial"].map(labels))
    return joined.sort_values("period", kind="stable", ignore_index=True) if name == "trials" else joined


def _join(frames: Iterable[pd.DataFrame], keys: list[str]) -> pd.DataFrame:
    rows = pd.concat(frames, ignore_index=True)
    if "reason" in rows:
        # A round trial that was ridden on one of the ovals shows that in the comparison with that ring alone.
        rows = rows.iloc[(~of_another_ring(rows)).argsort(kind="stable")]
    return rows.drop_duplicates(keys, ignore_index=True)
