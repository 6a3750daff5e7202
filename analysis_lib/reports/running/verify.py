"""Whether a report that somebody made can be made again, and from what it says it was made."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.record.record_check import Check, check_files, check_inputs, check_program
from analysis_lib.reports.record.report_records import NAMED, ReportRecords, read_records
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.reports.record.run_crate import entities_of_run
from analysis_lib.reports.record.table_comparison import TOLERANCES, table_differences
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.study.page_list import PlannedPage, planned_pages
from analysis_lib.study.checks.folder import Study, open_study
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.tables.named_folder import check_study_folder

PICTURES = (".svg", ".png", ".pdf")
DRAWN_ELSEWHERE = "drawn by other versions of packages; its numbers are compared as tables"
PICTURE_IN_TEXT = re.compile(r"data:image/[a-z+]+;base64,[A-Za-z0-9+/=]+|\"image/[a-z+]+\": \"[^\"]*\"")


def verify_report(report: Path, study: Path | None) -> list[Check]:
    """Compare a report with its own records and, where the study is at hand, with one made anew.

    Parameters
    ----------
    report : Path
        A report folder.
    study : Path or None
        The study folder it was made from; without it nothing is computed again.

    Returns
    -------
    list of Check
        Files, research object, program, packages, inputs, records; then every table, every figure's numbers, and every
        page, notebook and picture, by bytes.

    Raises
    ------
    Refusal
        When there is no such folder, or `report` holds no record of a run.
    """
    if study is not None:
        check_study_folder(study)
    records = read_records(report)
    checks = [*check_files(records), *check_program(records.run)]
    if study is None:
        said = "no study folder was given: --study DIR"
        return [*checks, Check("inputs", "not checked", said), Check("numbers", "not checked", said)]
    try:
        opened = open_study(study.resolve())
    except (Refusal, Refusals) as refusal:
        checks += [Check("study folder", "differs", f"cannot be opened: {refusal}")]
        checks += check_inputs(records.run, study, None)
        return [*checks, _no_numbers(refusal)]
    checks += [*check_inputs(records.run, study, opened), *_check_crate(records, opened)]
    same_program = all(check.finding == "agrees" for check in check_program(records.run))
    try:
        return [*checks, *_made_anew(records, opened, same_program)]
    except (Refusal, Refusals) as refusal:
        return [*checks, _no_numbers(refusal)]


def _no_numbers(cause: Refusal | Refusals) -> Check:
    return Check("numbers", "not checked", f"no report can be made from this study: {cause}")


def tolerances_in_words() -> list[str]:
    """Return the tolerance of each kind of column, one sentence each."""
    return [tolerance.sentence() for tolerance in TOLERANCES]


def _check_crate(records: ReportRecords, study: Study) -> Iterator[Check]:
    """The research object says of every page what the page's own record says: an edit of one of the two is found."""
    if records.has_crate:
        try:
            apart = _entities_apart(records, study)
        except (LookupError, TypeError, ValueError, AttributeError) as error:
            if isinstance(error, Refusal):
                raise
            yield Check("records", "differs", f"keys/ are not as roundoval wrote them: {error!r}")
            return
        yield Check.of(
            "records", (f"{name} is another in {CRATE} than by keys/" for name in apart), "of one mind"
        )


def _entities_apart(records: ReportRecords, study: Study) -> list[str]:
    """Name the entities that are not the same in the research object and by the pages' records, or are in one alone.

    One entity is in memory at a time, and a number for each: a thousand riders have sixty thousand.
    """
    by_keys = {_number(entity) for entity in entities_of_run(records.report, study)}
    apart: dict[str, None] = {}
    there = set()
    for entity in records.crate():
        there.add(number := _number(entity))
        if number not in by_keys:
            apart[_identifier(entity)] = None
    if by_keys - there:
        here = entities_of_run(records.report, study)
        apart |= {_identifier(entity): None for entity in here if _number(entity) not in there}
    return list(apart)


def _number(entity: object) -> int:
    return hash(json.dumps(entity, sort_keys=True))


def _identifier(entity: object) -> str:
    return str(entity.get("@id")) if isinstance(entity, dict) else repr(entity)


def _made_anew(records: ReportRecords, study: Study, same_program: bool) -> Iterator[Check]:
    """Every file of every page comes out again; pages that the report does not have are not made, but named."""
    planned = {plan.subject: plan for plan in planned_pages(study)}
    with tempfile.TemporaryDirectory(prefix="verify-") as folder:
        again = Path(folder) / "report"
        needed = _needed(records.subjects, planned.values())
        make_report(study, again, jobs=2, say=lambda line: None, subjects=needed)
        new = read_records(again)
        if lacking := [subject for subject in planned if subject not in records.subjects]:
            some = ", ".join(lacking[:NAMED]) + (", …" if len(lacking) > NAMED else "")
            yield Check(
                f"pages of {some}", "not checked", f"{len(lacking)} pages that the report does not have"
            )
        for subject in sorted(records.subjects):
            if subject not in new.subjects:
                yield Check(f"page of {subject}", "differs", "no such page comes from this study")
            else:
                names = {name for part in (records, new) for name in part.page(subject)["files"]}
                for name in sorted(names):
                    if not is_inside(records.report, records.report / name):
                        yield Check(name, "differs", "leads out of the folder")
                        continue
                    try:
                        yield compare_files(name, records.report / name, again / name, same_program)
                    except (OSError, ValueError) as error:
                        yield Check(name, "differs", f"cannot be read: {error}")
        if set(records.subjects) == set(new.subjects):
            yield compare_files(
                "index.html", records.report / "index.html", again / "index.html", same_program
            )
            told = (_said_of_run(run) for run in (records.run, new.run))
            yield Check.of("run.json", _value_differences(*told), "as made anew")


def _said_of_run(run: dict[str, Any]) -> dict[str, Any]:
    """What the record says beside program and packages, looked at before, and the command, which may be of one rider."""
    return {name: run.get(name) for name in ("seed", "parameters", "notebooks", "inputs", "states")}


def _needed(held: Collection[str], planned: Iterable[PlannedPage]) -> set[str]:
    """The pages to make: those that the report has and, where one of them is about all riders, every rider's."""
    plans = list(planned)
    about_all = any(plan.subject in held for plan in plans if not plan.rider)
    return {plan.subject for plan in plans if plan.subject in held or (about_all and plan.rider)}


def compare_files(name: str, there: Path, here: Path, same_program: bool) -> Check:
    """Compare a file of a report with the one made anew.

    Parameters
    ----------
    name : str
        How the file is called in the findings.
    there, here : Path
        The report's and the new one.
    same_program : bool
        Whether both come from the same program and packages: then pages and pictures must have the same bytes.
        Otherwise pictures are not checked, and pages without their pictures.
    """
    if not there.is_file() or not here.is_file():
        return _only_one(name, there.is_file(), same_program)
    if there.read_bytes() == here.read_bytes():
        return Check(name, "agrees", "byte for byte")
    if name.endswith(".csv"):
        return compare_tables(name, there, here)
    if name.endswith(".json"):
        return compare_results(name, there, here)
    if same_program:
        return Check(name, "differs", _first_difference(there, here))
    if name.endswith(PICTURES):
        return Check(name, "not checked", DRAWN_ELSEWHERE)
    words = [
        PICTURE_IN_TEXT.sub("", path.read_text(encoding="utf-8", errors="replace")) for path in (there, here)
    ]
    if words[0] == words[1]:
        return Check(name, "agrees", "but for its pictures, which are " + DRAWN_ELSEWHERE)
    return Check(name, "differs", _first_line(*words))


def compare_tables(name: str, there: Path, here: Path) -> Check:
    """Compare two tables within the declared tolerances."""
    try:
        frames = [pd.read_csv(path) for path in (there, here)]
    except ValueError as error:  # pandas' parser and decoder errors are ValueErrors
        return Check(name, "differs", f"not a table any more: {str(error).splitlines()[0]}")
    return Check.of(name, table_differences(*frames), "within the tolerances")


def _only_one(name: str, is_there: bool, same_program: bool) -> Check:
    where = "the report" if is_there else "the new run"
    if name.endswith(".pdf") and not same_program:
        return Check(name, "not checked", f"only in {where}: no PDF printer in the other place")
    return Check(name, "differs", f"only in {where}")


def _first_difference(there: Path, here: Path) -> str:
    if there.suffix in (".png", ".pdf"):
        return "other bytes than the one made anew"
    return _first_line(*(path.read_text(encoding="utf-8", errors="replace") for path in (there, here)))


def _first_line(there: str, here: str) -> str:
    """Say where two texts part, with a few words of each."""
    lines, others = there.splitlines(), here.splitlines()
    row = next((i for i, pair in enumerate(zip(lines, others, strict=False)) if pair[0] != pair[1]), None)
    if row is None:
        return f"{len(lines)} lines there, {len(others)} lines here"
    one, two = lines[row], others[row]
    place = next((i for i, pair in enumerate(zip(one, two, strict=False)) if pair[0] != pair[1]), 0)
    start = max(place - 20, 0)
    return f"line {row + 1}: …{one[start : place + 40]}… there, …{two[start : place + 40]}… here"


def compare_results(name: str, there: Path, here: Path) -> Check:
    """Compare two JSON files value by value within the declared tolerances, as a table of one row."""
    try:
        contents = [json.loads(path.read_text(encoding="utf-8")) for path in (there, here)]
        return Check.of(name, _value_differences(*contents), "within the tolerances")
    except (ValueError, RecursionError) as error:
        return Check(name, "differs", f"not JSON any more: {error}")


def _value_differences(there: object, here: object) -> list[str]:
    return table_differences(*(pd.DataFrame([dict(_values(content))]) for content in (there, here)))


def _values(content: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Every single value of nested lists and tables, under its path such as outcomes.0.estimates.2.low."""
    if isinstance(content, dict | list):
        inner = content.items() if isinstance(content, dict) else enumerate(content)
        for key, value in inner:
            yield from _values(value, f"{path}.{key}" if path else str(key))
    else:
        yield path, content
