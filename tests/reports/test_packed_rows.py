"""Rows of many riders put together: the same rows, in few pieces."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.files.packed_rows import BATCH, in_words, packed_together, together


def rows_of(riders):
    """Two trials a rider, of whom some have a reason and some have none."""
    for number in range(riders):
        reason = "Few turns." if number % 3 else ""
        yield pd.DataFrame(
            {"rider": f"R{number}", "period": [1, 2], "reason": [reason, ""], "value": [number, 0.5]}
        )


def test_rows_are_those_of_the_riders_one_after_the_other():
    riders = 2 * BATCH + 3
    expected = pd.concat(rows_of(riders), ignore_index=True)  # pandas alone, all at once
    pd.testing.assert_frame_equal(together(rows_of(riders)), expected)
    pd.testing.assert_frame_equal(in_words(packed_together(rows_of(riders))), expected)


def test_words_are_a_piece_a_batch_and_not_one_a_rider():
    words = together(rows_of(3 * BATCH))["rider"].array
    assert words.__arrow_array__().num_chunks == 3


def test_a_column_that_some_riders_leave_empty_keeps_their_gaps():
    frames = [pd.DataFrame({"note": ["late"]}), pd.DataFrame({"note": [float("nan")]})] * BATCH
    joined = together(iter(frames))["note"]
    assert joined.isna().tolist() == [False, True] * BATCH
    assert set(joined.dropna()) == {"late"}
