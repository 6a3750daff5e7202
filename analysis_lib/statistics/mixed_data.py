"""Can a mixed model be fitted to these rows at all? Reading and refusing its input."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.row_blocks import RandomTerm

Array = NDArray[np.floating]

COVARIANCE = " covariance"


@dataclass(frozen=True, eq=False)
class MixedData:
    """Checked input of a mixed model.

    Attributes
    ----------
    y, x : array (rows,), (rows, terms)
    terms : tuple of str
    components : tuple of str
        Names of the variances: groupings first, each before what belongs to its slope, residuals last.
    random_terms : list of RandomTerm
        One a component that is no residual.
    to_stated : array (components, components)
        What turns variances of the components into those of intercepts and slopes as they were given.
    groupings, slopes : tuple of str
        Names of the groupings, and of those with a slope.
    residual_codes : array (rows,)
    """

    y: Array
    x: Array
    terms: tuple[str, ...]
    components: tuple[str, ...]
    random_terms: list[RandomTerm]
    to_stated: Array
    groupings: tuple[str, ...]
    slopes: tuple[str, ...]
    residual_codes: NDArray


def read_mixed_data(
    y: ArrayLike,
    x: pd.DataFrame,
    groups: Mapping[str, Iterable],
    residual_groups: Iterable | None,
    slopes: Mapping[str, ArrayLike],
    slopes_correlate: bool,
) -> MixedData:
    """Bring the input of a mixed model to arrays; the refusals are those of `fit_mixed_model`."""
    values = _read_numbers("y", y)
    columns = _read_columns(x, len(values))
    if "residual" in groups:
        raise Refusal(
            "groups", "a grouping named 'residual'", "another name", "rename it; that name is taken"
        )
    components, terms, maps = _read_terms(groups, slopes, slopes_correlate, len(values))
    if residual_groups is None:
        residual_codes, residual_names = np.zeros(len(values), dtype=int), ["residual"]
    else:
        residual_codes, labels = _read_labels("residual_groups", residual_groups, len(values))
        residual_names = [f"residual: {label}" for label in labels]
    return MixedData(
        y=values,
        x=columns,
        terms=tuple(map(str, x.columns)),
        components=(*components, *residual_names),
        random_terms=terms,
        to_stated=scipy.linalg.block_diag(*maps, np.eye(len(residual_names))),
        groupings=tuple(map(str, groups)),
        slopes=tuple(map(str, slopes)),
        residual_codes=residual_codes,
    )


def _read_terms(
    groups: Mapping[str, Iterable], slopes: Mapping[str, ArrayLike], correlate: bool, n_rows: int
) -> tuple[list[str], list[RandomTerm], list[Array]]:
    """Names and terms of the variances, an intercept a grouping, its slope and their covariance; and their maps."""
    unknown = [name for name in slopes if name not in groups]
    if unknown:
        known = ", ".join(map(repr, groups)) or "none"
        raise Refusal("slopes", f"{unknown[0]!r}", f"groupings that are there: {known}", "name the grouping")
    names: list[str] = []
    terms: list[RandomTerm] = []
    maps: list[Array] = []
    ones = np.ones(n_rows)
    for name, labels in groups.items():
        codes, _ = _read_labels(f"grouping {name!r}", labels, n_rows)
        names.append(str(name))
        terms.append(RandomTerm(codes, ones, ones))
        if name not in slopes:
            maps.append(np.eye(1))
            continue
        by, zero, size = _read_slope(str(name), slopes[name], n_rows, correlate)
        names.append(f"{name} slope")
        terms.append(RandomTerm(codes, by, by))
        if correlate:
            names.append(f"{name}{COVARIANCE}")
            terms.append(RandomTerm(codes, ones, by, is_covariance=True))
        # Counted from `zero` in `size`, slope and intercept are b' = size·b and a' = a + zero·b.
        shift = zero / size
        whole = np.array([[1, shift**2, -2 * shift], [0, 1 / size**2, 0], [0, -shift / size, 1 / size]])
        maps.append(whole if correlate else whole[:2, :2])
    return names, terms, maps


def _read_slope(name: str, values: ArrayLike, n_rows: int, centre: bool) -> tuple[Array, float, float]:
    """Numbers that a slope is by, counted from a zero in a unit that bring them near 1; that zero and unit.

    Slopes that may correlate with intercepts can be counted from anywhere; from the middle the two are told apart
    best. Those that may not have their zero in the data.
    """
    numbers = _read_numbers(f"slope of {name!r}", values)
    if len(numbers) != n_rows or np.ptp(numbers) == 0:
        got = f"{len(numbers)} numbers" if len(numbers) != n_rows else "one number over and over"
        raise Refusal(f"slope of {name!r}", got, f"{n_rows} numbers that vary", "give what the slope is by")
    zero = float(numbers.mean()) if centre else 0.0
    size = float(np.sqrt(((numbers - zero) ** 2).mean()))
    return (numbers - zero) / size, zero, size


def check_components_differ(information: Array, whole: Array, data: MixedData) -> None:
    """Refuse a variance whose pattern in the data is lost in X, or is a mixture of the others.

    Parameters
    ----------
    information : array (components, components)
        ½ tr(M G_i M G_j), the inner products of the patterns G = ZZ' that X leaves, M = I − X(X'X)⁻¹X'.
    whole : array (components,)
        ½ tr(G_i G_i): what there would be without X.
    """
    n_groups = len(data.random_terms)
    kept: list[int] = []
    for i in [*range(n_groups, len(data.components)), *range(n_groups)]:
        if information[i, i] < 1e-12 * whole[i]:
            raise _not_told_apart(data.components[i], "the fixed effects")
        own = information[i, i]
        if kept:
            shared = np.linalg.lstsq(information[np.ix_(kept, kept)], information[kept, i], rcond=None)[0]
            own -= information[kept, i] @ shared
        if own < 1e-9 * information[i, i]:
            names = [data.components[k] for k in kept]
            raise _not_told_apart(data.components[i], " and ".join(names))
        kept.append(i)


def _not_told_apart(name: str, others: str) -> Refusal:
    return Refusal(
        f"variance of {name!r}",
        f"a grouping that cannot be told from {others}",
        "groups of rows that cut across those of the other terms",
        "leave the grouping out, or record repeats",
    )


def _read_numbers(name: str, values: ArrayLike) -> Array:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise Refusal(name, "values that are not numbers", "numbers", "convert or drop them first") from error
    if array.ndim != 1:
        raise Refusal(name, f"{array.ndim} dimensions", "one value a row", "give one column")
    wrong = np.flatnonzero(~np.isfinite(array))
    if len(wrong):
        raise Refusal(
            f"{name}, row {wrong[0] + 1}",
            f"{array[wrong[0]]}",
            "finite numbers",
            "drop the rows that were not measured, and say how many",
        )
    return array


def _read_columns(x: pd.DataFrame, n_rows: int) -> Array:
    if not isinstance(x, pd.DataFrame) or not len(x.columns):
        got = "no column" if isinstance(x, pd.DataFrame) else type(x).__name__
        raise Refusal("X", got, "a DataFrame of fixed-effect columns", "give at least an intercept of ones")
    repeated = x.columns[x.columns.duplicated()]
    if len(repeated):
        raise Refusal("X", f"two columns {repeated[0]!r}", "a name once", "rename or drop one")
    if len(x) != n_rows:
        raise Refusal("X", f"{len(x)} rows", f"{n_rows}, as y has", "take both from the same table")
    for name, kind in x.dtypes.items():
        if not (pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_bool_dtype(kind)):
            raise Refusal(
                f"X, column {name!r}", f"{kind}", "numbers", "code its levels as columns of 0 and 1"
            )
    columns = np.column_stack(
        [_read_numbers(f"X, column {n!r}", x[n].to_numpy(float, na_value=np.nan)) for n in x]
    )
    if n_rows <= columns.shape[1]:
        raise Refusal(
            "X",
            f"{n_rows} rows for {columns.shape[1]} columns",
            "more rows than columns",
            "ask fewer questions",
        )
    _check_columns_differ(columns, [str(name) for name in x.columns])
    return columns


def _check_columns_differ(columns: Array, names: list[str]) -> None:
    sizes = np.linalg.norm(columns, axis=0)
    if not sizes.all():
        name = names[int(np.argmin(sizes))]
        raise Refusal(f"X, column {name!r}", "zeros only", "values that differ from 0", "leave it out")
    left_over = np.abs(np.diagonal(np.linalg.qr(columns / sizes, mode="r")))
    collinear = np.flatnonzero(left_over < 1e-10)
    if len(collinear):
        name = names[collinear[0]]
        raise Refusal(
            f"X, column {name!r}",
            "a column that follows from those before it",
            "columns none of which is a sum of others",
            "leave it out, or one level of the factor that it belongs to",
        )


def _read_labels(name: str, labels: Iterable, n_rows: int) -> tuple[NDArray, list[str]]:
    series = pd.Series(list(labels), dtype=object)  # labels may be tuples, which an array would take apart
    if len(series) != n_rows:
        raise Refusal(name, f"{len(series)} labels", f"{n_rows}, as y has", "give a label for every row")
    codes, levels = pd.factorize(series)
    missing = np.flatnonzero(codes < 0)
    if len(missing):
        raise Refusal(
            f"{name}, row {missing[0] + 1}", "no label", "a label on every row", "fill it in or drop the row"
        )
    if len(levels) < 2:
        raise Refusal(name, "one label", "two labels or more", "leave it out")
    return codes, [str(level) for level in levels]
