"""Whether a study folder is filled in, and filled in with different things."""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.declared.problems import Problem, listed
from analysis_lib.study.declared.settings import FILE
from analysis_lib.study.tables.contents import Contents, about_study, about_trial
from analysis_lib.study.template.template_numbers import numbers_still_the_template_s

FEWEST_RIDERS = 3
"""(riders − 2)(rings − 1) degrees of freedom are left where each rider rides each of several rings once."""
MIDDLE_BYTES = 4096
NO_ROWS = "no rows that can be used"
PLACEHOLDER = re.compile(r"^<.*>$", re.DOTALL)


def check_placeholders(contents: Contents) -> Iterator[Problem]:
    """Nothing of the template stands in angle brackets any more."""
    for key, value in _texts(contents.settings.model_dump(), ()):
        if PLACEHOLDER.match(value):
            place = f"{FILE}, {'.'.join(key)}"
            yield about_study(place, repr(value), "your own words", "replace what stands in angle brackets")


def check_template_numbers(contents: Contents) -> Iterator[Problem]:
    """The numbers that the template marks as the lab's own were replaced."""
    yield from numbers_still_the_template_s(contents.settings)


def check_anybody(contents: Contents) -> Iterator[Problem]:
    """There are riders and trials."""
    for table, frame in (("riders.csv", contents.riders), ("trials.csv", contents.trials)):
        if frame.empty:
            yield about_study(table, NO_ROWS, "at least one", "fill in the table")


def check_enough_riders(contents: Contents) -> Iterator[Problem]:
    """The primary analysis needs more riders than sequences; with fewer there is a description and no interval.

    With several oval rings it has riders, periods and rings in one model, and three riders leave something over. A study
    of one rider rests on periods whose rings were drawn by lot, and must say how.
    """
    sequences = contents.settings.design.sequences
    ridden = set(contents.ridden["rider"])
    if len(contents.riders) == 1:
        if contents.settings.design.lot is None:
            wanted = "pairs or free: how one rider's order of rings was drawn"
            remedy = "say it, or the page shows what was ridden and tests nothing"
            yield about_study("study.toml, design.lot", "nothing", wanted, remedy, "note")
    elif len(contents.settings.oval_rings) > 1:
        if 0 < len(ridden) < FEWEST_RIDERS:
            remedy = "report what each rider did; plan more riders before an effect is judged"
            got = f"{len(ridden)} with trials"
            wanted = f"{FEWEST_RIDERS} riders or more, for any interval"
            yield about_study("riders.csv", got, wanted, remedy, "note")
    elif ridden and len(ridden) <= len(sequences):
        remedy = "report what each rider did; plan more riders before an effect is judged"
        got = f"{len(ridden)} with trials in a design of {show_count(len(sequences), 'sequence')}"
        yield about_study("riders.csv", got, "more riders than sequences, for any interval", remedy, "note")


def check_same_recordings(contents: Contents) -> Iterator[Problem]:
    """No two files hold the same bytes; several trials may be parts of one file."""
    by_content: dict[str, list[str]] = defaultdict(list)
    for names in _alike(contents):
        for name in names:
            by_content[hashlib.sha256((contents.root / name).read_bytes()).hexdigest()].append(name)
    copies = {name: names for names in by_content.values() if len(names) > 1 for name in names}
    for trial in contents.ridden_rows:
        if trial.file in copies:
            others = listed(name for name in copies[trial.file] if name != trial.file)
            got = f"the same recording as {others}"
            yield about_trial(trial, "file", got, "a recording of its own", "put the right file in its place")


def _alike(contents: Contents) -> Iterator[list[str]]:
    """Go through groups of files that could be the same: of one size and with the same bytes in their middle.

    Recordings of one length have one size in some formats; a few bytes of each keep a large study from being read whole.
    Empty files are no copies of each other: their reader says what is wrong with each.
    """
    by_size: dict[int, list[str]] = defaultdict(list)
    for name in dict.fromkeys(contents.ridden["file"]):
        if contents.bytes_of.get(name):
            by_size[contents.bytes_of[name]].append(name)
    for size, names in by_size.items():
        by_middle: dict[bytes, list[str]] = defaultdict(list)
        for name in names if len(names) > 1 else ():
            with (contents.root / name).open("rb") as stream:
                stream.seek(size // 2)
                by_middle[stream.read(MIDDLE_BYTES)].append(name)
        yield from (alike for alike in by_middle.values() if len(alike) > 1)


def _texts(value: Any, key: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Every text of nested settings with its key."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from _texts(part, (*key, str(name)))
    elif isinstance(value, list):
        for place, part in enumerate(value, start=1):
            yield from _texts(part, (*key, str(place)))
    elif isinstance(value, str):
        yield key, value


CHECKS = (
    check_placeholders,
    check_template_numbers,
    check_anybody,
    check_enough_riders,
    check_same_recordings,
)
