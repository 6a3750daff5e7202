"""The tables that riders' pages left in a report, read when they are asked for and not kept."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import pandas as pd
from pandas.api.types import union_categoricals

from analysis_lib.reports.joined_rings import join_table, pair_name, ring_labels
from analysis_lib.reports.rider_tables import TABLES, RiderTables, read_rider_table
from analysis_lib.study.settings import StudySettings

BATCH = 25
"""Riders whose rows are put together at a time: a frame of a rider's dozen rows takes ten times what is in it."""


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


def in_batches(frames: Iterable[pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """Put frames together a batch at a time, so that of many small ones few are in memory."""
    rest = iter(frames)
    while batch := list(islice(rest, BATCH)):
        yield pd.concat(batch)


def packed_together(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Put frames of the same columns together, a batch at a time, with words as categories: each is kept once."""
    batches = [_packed(batch) for batch in in_batches(frames)]
    return pd.DataFrame({name: _joined([batch[name] for batch in batches]) for name in batches[0]})


def in_words(packed: pd.DataFrame) -> pd.DataFrame:
    """Return rows of packed frames with their words as words again, which group and sort as such."""
    words = [name for name, values in packed.items() if _is_packed(values)]
    return packed.astype({name: packed[name].cat.categories.dtype for name in words})


def _packed(batch: pd.DataFrame) -> pd.DataFrame:
    words = [name for name, values in batch.items() if pd.api.types.is_string_dtype(values)]
    return batch.astype(dict.fromkeys(words, "category"))


def _joined(parts: list[pd.Series]) -> pd.Series:
    if all(map(_is_packed, parts)):
        return pd.Series(union_categoricals(parts))
    return pd.concat(parts, ignore_index=True)


def _is_packed(values: pd.Series) -> bool:
    """Whether a column's words are categories; those that have an order, as intensities may, are meant to be."""
    return isinstance(values.dtype, pd.CategoricalDtype) and not values.dtype.ordered
