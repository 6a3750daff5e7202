"""The tables that riders' pages left in a report, read when they are asked for and not kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from analysis_lib.reports.rider.joined_rings import join_table, pair_name, ring_labels
from analysis_lib.reports.rider.rider_tables import TABLES, RiderTables, read_rider_table
from analysis_lib.study.declared.settings import StudySettings


@dataclass(frozen=True, eq=False)
class WrittenTables(Mapping[str, RiderTables]):
    """The riders' tables of a report, by rider; of a thousand riders, one's are in memory at a time.

    ``pages`` holds each rider with the oval rings whose pages left tables: one empty name where a study has one oval ring.
    """

    settings: StudySettings
    results_dir: str
    pages: Mapping[str, Sequence[str]]

    def __getitem__(self, rider: str) -> RiderTables:
        """Read all tables of one rider."""
        return RiderTables(**{name: self.table(name, rider) for name in TABLES})

    def __iter__(self) -> Iterator[str]:
        """Go through the riders."""
        return iter(self.pages)

    def __len__(self) -> int:
        """Count the riders."""
        return len(self.pages)

    def table(self, name: str, rider: str) -> pd.DataFrame:
        """Read one table of one rider, of all rings together."""
        rings = self.pages[rider]
        parts = {ring: self._read(name, rider, ring) for ring in rings}
        if list(rings) == [""]:
            return parts[""]
        trials = (self._read("trials", rider, ring) for ring in rings)
        return join_table(name, parts, ring_labels(self.settings, trials))

    def _read(self, name: str, rider: str, ring: str) -> pd.DataFrame:
        return read_rider_table(self.results_dir, pair_name(rider, ring), name)


def each_table(tables: Mapping[str, RiderTables], name: str) -> Iterator[pd.DataFrame]:
    """Go through one table of every rider; written ones are read one after the other."""
    for rider in tables:
        if isinstance(tables, WrittenTables):
            yield tables.table(name, rider)
        else:
            yield getattr(tables[rider], name)
