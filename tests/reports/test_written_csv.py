"""Tables as CSV: the same bytes as pandas writes, whatever kinds of columns they hold."""

import numpy as np
import pandas as pd
import pytest

from analysis_lib.reports.exhibits.numbers import FILE_DIGITS, write_csv

TIMES = pd.Series([pd.Timestamp("2026-01-05 09:00:00"), pd.Timestamp("2026-01-06"), pd.NaT])
FRAMES = {
    "numbers": pd.DataFrame(
        {
            "x": [1 / 3, np.nan, -np.inf],
            "whole": [5.0, -0.0, 1e22],
            "n": [1, -2, 3],
            "is": [True, False, True],
        }
    ),
    "numbers or none": pd.DataFrame(
        {
            "n": pd.array([1, None, 3], dtype="Int64"),
            "x": pd.array([1 / 3, None, 3], dtype="Float64"),
            "is": pd.array([True, None, False], dtype="boolean"),
        }
    ),
    "words": pd.DataFrame(
        {
            "word": pd.array(["a,b", None, 'say "x"'], dtype="str"),
            "kind": pd.Categorical(["x", None, "two\nlines"]),
            "any": pd.Series([1 / 3, None, "a"], dtype=object),
            "none": pd.Series([None, pd.NA, np.nan], dtype=object),
        }
    ),
    "times": pd.DataFrame(
        {"at": TIMES, "day": TIMES.dt.normalize(), "to the ms": TIMES + pd.Timedelta("1ms")}
    ),
    "one column": pd.DataFrame({"word": ["a", None, ""]}),
    "one name twice": pd.DataFrame([[1, "a"], [2, "b"]], columns=["x", "x"]),
    "no rows": pd.DataFrame({"x": pd.Series(dtype=float), "at": TIMES[:0], "word": pd.Series(dtype="str")}),
    "nothing": pd.DataFrame(),
}


@pytest.mark.parametrize("name", FRAMES)
def test_bytes_are_those_of_pandas(name, tmp_path):
    write_csv(tmp_path / "t.csv", FRAMES[name])
    expected = FRAMES[name].to_csv(index=False, float_format=f"%.{FILE_DIGITS}g", lineterminator="\n")
    assert (tmp_path / "t.csv").read_bytes() == expected.encode()
