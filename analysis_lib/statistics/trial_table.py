"""Can this table of trials be analysed as a crossover?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Estimate

LABELS = ("rider", "sequence", "period", "ring", "intensity")
RINGS = ("round", "oval")
OVERALL = "overall"
# Squares of larger numbers, and their sums, are infinite.
LARGEST = 1e100


def check_trials(table: pd.DataFrame, value: str, rings: tuple[str, ...] = RINGS) -> pd.DataFrame:
    """Check a table with one row a trial, and bring it to fixed columns.

    Parameters
    ----------
    table : DataFrame
        One row a trial: columns rider, sequence, period (numbers, or an ordered Categorical), ring, intensity
        and the value column. A missing value is a trial without outcome; it is kept here as NaN.
    value : str
        Name of the column to analyse, numbers.
    rings : tuple of str
        The ring names that may occur; each of them must.

    Returns
    -------
    DataFrame
        Columns rider, sequence, period (int, in time order), ring, intensity (ordered Categorical in the
        order of the given categories, else of first appearance) and value (float).

    Raises
    ------
    Refusal
        Missing columns or labels, an empty table, text or infinite values, unknown or absent rings, two rows
        for the same rider, period and intensity, two rings in one period of a rider, a rider in two
        sequences, or a sequence whose riders did not ride the rings in the order that its label says.
    """
    _check_columns(table, value)
    trials = table[list(LABELS)].reset_index(drop=True)
    # Plain labels, so that categories without trials can turn up nowhere.
    trials = trials.astype({"rider": object, "sequence": object, "ring": object})
    trials["period"] = _number_periods(trials["period"])
    trials["intensity"] = _order_intensities(trials["intensity"])
    trials["value"] = _read_values(table[value], value)
    _check_rings(trials, rings)
    _check_cells(trials)
    _check_sequences(trials)
    return trials


def ring_order(trials: pd.DataFrame) -> pd.DataFrame:
    """Return the ring of each sequence (rows) in each period (columns), as ridden."""
    cells = trials.drop_duplicates(["sequence", "period"])
    return cells.pivot_table(index="sequence", columns="period", values="ring", aggfunc="first", sort=True)


OVERALL_OF_PERIODS = (
    "overall takes each period's mean over all intensities: a period that lacks a value at one intensity counts nowhere"
    " in it"
)
"""What becomes of missing values in an overall estimate that is made of periods."""


def split_intensities(trials: pd.DataFrame) -> list[tuple[object, pd.DataFrame]]:
    """Return the trials of each intensity, then for "overall" the mean of all intensities of a rider's
    period.

    A period that lacks a value at one intensity has none overall.
    """
    levels = trials["intensity"].cat.categories
    parts: list[tuple[object, pd.DataFrame]]
    parts = [(level, trials[trials["intensity"] == level]) for level in levels]
    cells = trials.groupby(["rider", "sequence", "period", "ring"], sort=False)["value"]
    parts.append((OVERALL, cells.mean().where(cells.count() == len(levels)).reset_index()))
    return parts


def without_levels(columns: pd.DataFrame, groups: pd.Series) -> pd.DataFrame:
    """Take each group's mean, a rider's level say, out of every column; a row a trial.

    Least squares then find of the columns what they would find beside one more column for each group, of which a
    thousand riders would have a thousand (Frisch & Waugh, Econometrica 1933;1:387, from memory).

    >>> without_levels(pd.DataFrame({"value": [10.0, 12.0, 7.0]}), pd.Series(["A", "A", "B"]))["value"].tolist()
    [-1.0, 1.0, 0.0]
    """
    return columns - columns.groupby(groups.to_numpy()).transform("mean")


def take_logs(trials: pd.DataFrame, value: str) -> pd.DataFrame:
    """Put the values of checked trials on the scale of natural logarithms; refuses values of 0 or below."""
    wrong = trials["value"] <= 0
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise Refusal(
            f"trial table, row {row + 1}, column {value}",
            f"{trials['value'].iloc[row]}",
            "a value above 0 on the log scale",
            "analyse this outcome on the linear scale",
        )
    return trials.assign(value=np.log(trials["value"]))


def tabulate_estimates(estimates: Mapping[object, Estimate], level: float) -> pd.DataFrame:
    """One row an intensity: intensity, estimate, se, df, t, p, low, high, n."""
    rows = []
    for intensity, e in estimates.items():
        bounds = e.interval(level)
        rows.append((intensity, e.value, e.se, e.df, e.t, e.p, bounds.low, bounds.high, e.n))
    return pd.DataFrame(rows, columns=["intensity", "estimate", "se", "df", "t", "p", "low", "high", "n"])


def _check_columns(table: pd.DataFrame, value: str) -> None:
    absent = [name for name in (*LABELS, value) if name not in table.columns]
    if absent:
        raise Refusal(
            "columns of the trial table",
            f"no {', '.join(absent)}",
            f"{', '.join(LABELS)} and {value}",
            "rename or add the columns",
        )
    twice = [name for name in (*LABELS, value) if list(table.columns).count(name) > 1]
    if twice:
        raise Refusal(
            "columns of the trial table", f"{twice[0]} twice", "every column once", "rename or drop one"
        )
    if table.empty:
        raise Refusal("trial table", "no rows", "one row a trial", "check what was left out before")
    for name in LABELS:
        if table[name].isna().any():
            row = int(np.flatnonzero(table[name].isna())[0])
            raise Refusal(
                f"trial table, row {row + 1}, column {name}",
                "nothing",
                "a label",
                "fill it in or drop the row",
            )


def _number_periods(period: pd.Series) -> pd.Series:
    if isinstance(period.dtype, pd.CategoricalDtype) and period.cat.ordered:
        return period.cat.codes.astype(int) + 1
    numbers = pd.to_numeric(period.astype(object), errors="coerce")
    if numbers.isna().any() or (numbers % 1 != 0).any():
        wrong = period[numbers.isna() | (numbers % 1 != 0)].iloc[0]
        raise Refusal(
            "column period", repr(wrong), "whole numbers 1, 2, 3 in the order of riding", "number the periods"
        )
    return numbers.astype(int)


def _order_intensities(intensity: pd.Series) -> pd.Categorical:
    if OVERALL in set(intensity):
        raise Refusal(
            "column intensity",
            repr(OVERALL),
            "any other label",
            "the word is kept for the mean of all intensities",
        )
    if isinstance(intensity.dtype, pd.CategoricalDtype) and intensity.cat.ordered:
        return pd.Categorical(intensity).remove_unused_categories()
    return pd.Categorical(intensity, categories=list(pd.unique(intensity)), ordered=True)


def _read_values(column: pd.Series, name: str) -> pd.Series:
    if pd.api.types.is_complex_dtype(column.dtype):
        raise Refusal(
            f"column {name}", "complex numbers", "real numbers", "take the part that is the outcome"
        )
    numbers = pd.to_numeric(column.astype(object), errors="coerce").astype(float).reset_index(drop=True)
    text = numbers.isna() & column.reset_index(drop=True).notna()
    for wrong in (text, numbers.abs() > LARGEST):
        if wrong.any():
            row = int(np.flatnonzero(wrong)[0])
            got = column.iloc[row]
            raise Refusal(
                f"trial table, row {row + 1}, column {name}",
                repr(got) if isinstance(got, str) else str(got),
                "a finite number, or an empty cell for a trial without outcome",
                "mend the value where it was made",
            )
    return numbers


def _check_rings(trials: pd.DataFrame, rings: tuple[str, ...]) -> None:
    unknown = [ring for ring in pd.unique(trials["ring"]) if ring not in rings]
    if unknown:
        raise Refusal("column ring", repr(unknown[0]), f"one of {', '.join(rings)}", "rename the ring")
    absent = [ring for ring in rings if ring not in set(trials["ring"])]
    if absent:
        raise Refusal(
            "column ring", f"no trial on {absent[0]}", "trials on every ring", "add the missing trials"
        )


def _check_cells(trials: pd.DataFrame) -> None:
    twice = trials.duplicated(["rider", "period", "intensity"])
    if twice.any():
        row = trials[twice].iloc[0]
        raise Refusal(
            f"trial table, rider {row['rider']}, period {row['period']}, intensity {row['intensity']}",
            "more than one row",
            "one trial for each rider, period and intensity",
            "leave out the spoiled trial, or number the repeat as a period of its own",
        )
    rings = trials.groupby(["rider", "period"])["ring"].nunique()
    if (rings > 1).any():
        rider, period = rings.index[rings > 1][0]
        raise Refusal(
            f"trial table, rider {rider}, period {period}",
            "more than one ring",
            "one ring a period",
            "number each change of ring as a period of its own",
        )


def _check_sequences(trials: pd.DataFrame) -> None:
    labels = trials.groupby("rider")["sequence"].nunique()
    if (labels > 1).any():
        rider = labels.index[labels > 1][0]
        raise Refusal(
            f"trial table, rider {rider}",
            "more than one sequence",
            "one sequence a rider",
            "correct the label",
        )
    rings = trials.groupby(["sequence", "period"])["ring"].nunique()
    if (rings > 1).any():
        sequence, period = rings.index[rings > 1][0]
        raise Refusal(
            f"sequence {sequence}, period {period}",
            "riders on different rings",
            "the same ring for every rider of the sequence",
            "correct the sequence label of the rider who rode another order",
        )
    _check_letters(trials)


def _check_letters(trials: pd.DataFrame) -> None:
    """Where labels spell the order, a letter to a period (ABBA), each letter must stand for one ring."""
    order = ring_order(trials)
    periods = list(order.columns)
    spelled = [str(label) for label in order.index]
    letters = set("".join(spelled))
    if any(len(label) != len(periods) for label in spelled) or len(letters) != trials["ring"].nunique():
        return
    meaning: dict[str, str] = {}
    for label, rings in zip(spelled, order.itertuples(index=False), strict=True):
        for letter, ring in zip(label, rings, strict=True):
            if pd.notna(ring) and meaning.setdefault(letter, ring) != ring:
                raise Refusal(
                    f"sequence {label}",
                    f"{letter} for {meaning[letter]} and for {ring}",
                    "one ring behind each letter",
                    "correct the label, or the rings of its periods",
                )
