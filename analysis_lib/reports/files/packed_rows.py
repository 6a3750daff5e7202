"""Rows of many riders put together without much memory: a batch at a time, and each word kept once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice

import pandas as pd
from pandas.api.types import union_categoricals

BATCH = 25
"""Riders whose rows are put together at a time: a frame of a rider's dozen rows takes ten times what is in it."""


def in_batches(frames: Iterable[pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """Put frames together a batch at a time, so that of many small ones few are in memory."""
    rest = iter(frames)
    while batch := list(islice(rest, BATCH)):
        yield pd.concat(batch)


def packed_together(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Put frames of the same columns together, a batch at a time, with words as categories: each is kept once."""
    batches = [dict(_packed(batch).items()) for batch in in_batches(frames)]
    # A column's parts are given up as soon as they are joined, so that no more than one column stands there twice.
    columns = {name: _joined([batch.pop(name) for batch in batches]) for name in [*batches[0]]}
    return pd.DataFrame(columns, copy=False)


def together(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Put frames of the same columns together, a batch at a time; words stay words.

    A batch's words are made one piece of each column: joined as they come, they would be as many pieces as frames, and a
    piece of a dozen words takes ten times what is in it.
    """
    return pd.concat((in_words(_packed(batch)) for batch in in_batches(frames)), ignore_index=True)


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
