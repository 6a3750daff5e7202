"""Whether a report that somebody made can be made again, and from what it says it was made."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.page_keys import PageKeys
from analysis_lib.reports.run_record import checksums, package_versions, sha256_of
from analysis_lib.reports.runner import make_report

RELATIVE_TOLERANCE = 1e-6
"""Tables are written with ten digits; another processor or library build may move the last few of them."""

Finding = Literal["agrees", "differs", "not checked"]


@dataclass(frozen=True)
class Check:
    """One thing that was compared: what, the finding, and by how much or why not."""

    what: str
    finding: Finding
    details: str = ""


def verify_report(report: Path, study: Path | None) -> list[Check]:
    """Compare a report with its own record and, where the study is at hand, with one made anew.

    Parameters
    ----------
    report : Path
        A report folder.
    study : Path or None
        The study folder it was made from; without it nothing is computed again.

    Returns
    -------
    list of Check

    Raises
    ------
    Refusal
        When `report` holds no record of a run.
    """
    record_file = report / "run.json"
    if not record_file.is_file():
        raise Refusal(
            str(report), "no run.json", "a report folder made by roundoval", "name the folder of a report"
        )
    record = json.loads(record_file.read_text(encoding="utf-8"))
    checks = [*_own_files(report), *_versions(record)]
    if study is None:
        return [*checks, Check("numbers", "not checked", "no study folder was given: --study DIR")]
    return [*checks, *compare_inputs(record, study), *_numbers(report, study)]


def _own_files(report: Path) -> Iterator[Check]:
    """Every file of every page is as it was when it was made."""
    keys = PageKeys(report)
    for subject in keys.subjects():
        record = keys.of(subject)
        changed = [
            name
            for name, checksum in record["files"].items()
            if not (report / name).is_file() or sha256_of(report / name) != checksum
        ]
        what = f"files of {record['page']['subject']}"
        if changed:
            yield Check(what, "differs", "edited or missing since they were made: " + ", ".join(changed))
        else:
            yield Check(what, "agrees", f"{len(record['files'])} files as they were made")


def _versions(record: dict) -> Iterator[Check]:
    """The packages here are those of the record."""
    here = package_versions()
    other = [
        f"{name} {version} there, {here.get(name, 'none')} here"
        for name, version in record["packages"].items()
        if here.get(name) != version
    ]
    yield Check("versions of packages", "differs" if other else "agrees", "; ".join(other))


def compare_inputs(record: dict, study: Path) -> Iterator[Check]:
    """The study's files are those of the record."""
    then, now = record["inputs"], checksums(study)
    changed = sorted(name for name in then.keys() & now.keys() if then[name] != now[name])
    parts = {
        "changed": changed,
        "missing": sorted(then.keys() - now.keys()),
        "new": sorted(now.keys() - then.keys()),
    }
    said = "; ".join(f"{word}: {', '.join(names)}" for word, names in parts.items() if names)
    yield Check(
        "inputs", "differs" if said else "agrees", said or f"{len(now)} files with the recorded checksums"
    )


def _numbers(report: Path, study: Path) -> Iterator[Check]:
    """Every table and every figure's numbers come out again."""
    with tempfile.TemporaryDirectory(prefix="verify-") as folder:
        again = Path(folder) / "report"
        make_report(study, again, jobs=2, say=lambda line: None)
        names = sorted({_name(path, root) for root in (report, again) for path in root.rglob("*.csv")})
        for name in names:
            yield _compare(name, report / name, again / name)
        yield _compare_results(report / "results.json", again / "results.json")


def _name(path: Path, root: Path) -> str:
    return path.relative_to(root).as_posix()


def _compare(name: str, there: Path, here: Path) -> Check:
    if not there.is_file() or not here.is_file():
        where = "the report" if there.is_file() else "the new run"
        return Check(name, "differs", f"only in {where}")
    if there.read_bytes() == here.read_bytes():
        return Check(name, "agrees", "byte for byte")
    return compare_tables(name, pd.read_csv(there), pd.read_csv(here))


def compare_tables(name: str, there: pd.DataFrame, here: pd.DataFrame) -> Check:
    """Compare two tables: the same rows, columns and words, and numbers within a relative 1e-6.

    Examples
    --------
    >>> one = pd.DataFrame({"rider": ["R01"], "power_W": [200.0]})
    >>> compare_tables("t", one, one * 1).finding
    'agrees'
    >>> compare_tables("t", one, one.assign(power_W=201.0)).details
    'power_W by up to 1 (row 1)'
    """
    if list(there.columns) != list(here.columns) or len(there) != len(here):
        shapes = (
            f"{len(there)} rows of {list(there.columns)} there, {len(here)} rows of {list(here.columns)} here"
        )
        return Check(name, "differs", shapes)
    said = [part for column in there for part in _column_difference(there[column], here[column])]
    return Check(
        name, "differs" if said else "agrees", "; ".join(said) or f"within a relative {RELATIVE_TOLERANCE:g}"
    )


def _column_difference(there: pd.Series, here: pd.Series) -> Iterator[str]:
    if pd.api.types.is_numeric_dtype(there) and pd.api.types.is_numeric_dtype(here):
        one, two = there.to_numpy(float), here.to_numpy(float)
        off = ~np.isclose(one, two, rtol=RELATIVE_TOLERANCE, atol=0, equal_nan=True)
        if off.any():
            sizes = np.abs(one - two)
            row = int(np.argmax(np.where(off, np.nan_to_num(sizes, nan=np.inf), -1)))
            yield f"{there.name} by up to {sizes[row]:.4g} (row {row + 1})"
    elif not there.fillna("").astype(str).equals(here.fillna("").astype(str)):
        yield f"words of {there.name}"


def _compare_results(there: Path, here: Path) -> Check:
    if not there.is_file() or not here.is_file():
        return Check("results.json", "not checked", "not in both")
    rows = [pd.DataFrame(_estimates(json.loads(path.read_text(encoding="utf-8")))) for path in (there, here)]
    return compare_tables("results.json", *rows)


def _estimates(results: dict) -> Iterator[dict]:
    for outcome in results["outcomes"]:
        for row in outcome["estimates"]:
            yield {"outcome": outcome["outcome"], **row}
