"""One rider's tables of several two-ring comparisons, joined into those of all rings."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from analysis_lib.reports.other_ring import of_another_ring
from analysis_lib.reports.rider_tables import RiderTables
from analysis_lib.study.settings import StudySettings

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
    """Join a rider's tables of several comparisons, by oval ring, into one set.

    Rings are called as `StudySettings.ring_label` says. The torque phases are those on the round ring; ``meter``
    gets a column ``ring``.
    """
    if list(tables) == [""]:
        return tables[""]
    labels: dict[str, str] = {}
    for found in tables.values():
        names = zip(found.trials["trial"], found.trials["ring_name"], strict=True)
        labels |= {str(trial): settings.ring_label(str(name)) for trial, name in names}
    joined = {
        name: _join([getattr(one, name) for one in tables.values()], keys) for name, keys in _KEYS.items()
    }
    called = {name: frame.assign(ring=frame["trial"].map(labels)) for name, frame in joined.items()}
    called["trials"] = called["trials"].sort_values("period", kind="stable", ignore_index=True)
    phases = pd.concat([one.phases for one in tables.values()], ignore_index=True)
    meter = [one.meter.assign(ring=ring) for ring, one in tables.items()]
    return RiderTables(
        **called,
        phases=phases.drop_duplicates(["rider", "intensity"], ignore_index=True),
        meter=pd.concat(meter, ignore_index=True),
    )


def _join(frames: list[pd.DataFrame], keys: list[str]) -> pd.DataFrame:
    rows = pd.concat(frames, ignore_index=True)
    if "reason" in rows:
        # A round trial that was ridden on one of the ovals shows that in the comparison with that ring alone.
        rows = rows.iloc[(~of_another_ring(rows)).argsort(kind="stable")]
    return rows.drop_duplicates(keys, ignore_index=True)
