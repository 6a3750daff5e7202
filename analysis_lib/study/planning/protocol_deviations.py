"""Where a study left its frozen protocol."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.checks.alike import grouped
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.declared.schema import is_inside
from analysis_lib.study.planning.allocation_list import draw_allocation
from analysis_lib.study.planning.frozen_protocol import (
    OPEN_ALLOCATION,
    OPEN_SCHEDULE,
    PROTOCOL,
    SUMS,
    describe_promises,
    sha256_of_file,
)
from analysis_lib.study.planning.protocol_reading import read_frozen_table, read_protocol
from analysis_lib.study.planning.schedule import REST_RULE, TRIAL

NOTHING = "nothing"
SUBJECTS = ("rider", "trial", "protocol")
"""How a deviation begins that names no file and no key of study.toml."""


@dataclass(frozen=True)
class Deviation:
    """One thing that is not as the protocol says.

    Attributes
    ----------
    what : str
        As precisely as it is known: a key of study.toml, a rider, a file.
    planned, found : str
    is_open : bool
        Whether a study that is still being ridden may yet do as planned.
    """

    what: str
    planned: str
    found: str
    is_open: bool = False

    def sentence(self) -> str:
        """The deviation in one line."""
        what = self.what[0].upper() + self.what[1:] if self.what.startswith(SUBJECTS) else self.what
        return f"{what}: planned {self.planned}; found {self.found}."


def compare_with_protocol(study: Study) -> list[Deviation]:
    """Compare a study with the protocol that was frozen for it.

    Returns
    -------
    list of Deviation
        Files changed since, changes of question, rings, sequences, outcomes, smallest effects, rules, plan and
        analysis; riders allocated otherwise; rests too short; intensities in another order; exclusions for
        reasons that the protocol does not list. That no protocol was frozen is a deviation too. An empty list
        says that nothing was found to differ.
    """
    folder = study.root / PLAN_FOLDER
    frozen = read_protocol(folder / PROTOCOL)
    if frozen is None:
        found = "none that can be read" if (folder / PROTOCOL).exists() else "not frozen"
        return [Deviation("protocol", "to be frozen before the first trial", found)]
    return [
        *_changed_files(folder, frozen),
        *_changed_promises(study, frozen),
        *_changed_riding(study, frozen),
    ]


def deviation_sentences(study: Study) -> list[str]:
    """Say where a study left its frozen protocol: which protocol that is and how many deviations, then one line each; lines
    that are alike are told once, as `check` tells them.

    Where no protocol was frozen there is the one line that says so, and no count.
    """
    found = [deviation.sentence() for deviation in compare_with_protocol(study)]
    told = grouped(found, study.names)
    compared = what_was_compared(study)
    if not compared:
        return told
    if not found:
        return [f"{compared}: nothing was found that differs."]
    return [f"{compared}; {show_count(len(found), 'deviation')}:", *told]


def what_was_compared(study: Study) -> str:
    """Say which protocol a study is compared with, be it readable or not; "" where none was frozen."""
    protocol = study.root / PLAN_FOLDER / PROTOCOL
    if not protocol.is_file() or not is_inside(study.root, protocol):
        return ""
    return (
        f"The protocol whose checksum begins with {sha256_of_file(protocol)[:12]} was compared with the study, rests"
        f" between periods and orders of intensities {_by_time(study.trials)}"
    )


def _by_time(trials: pd.DataFrame) -> str:
    """Say by what rests and orders were compared, or that they were not."""
    known, listed_trials = int(trials["started_at"].notna().sum()), len(trials)
    if not known:
        return "not, for trials.csv has no started_at"
    of_some = f" of the {known} of {listed_trials} trials that have one" if known < listed_trials else ""
    return f"by started_at{of_some}"


def _changed_files(folder: Path, frozen: dict[str, Any]) -> Iterator[Deviation]:
    """Files that are not what they were; the protocol's own sum is the one to register elsewhere."""
    if (folder / SUMS).is_file() and is_inside(folder, folder / SUMS):
        lines = (folder / SUMS).read_text(encoding="utf-8", errors="replace").splitlines()
    else:
        yield Deviation(f"{PLAN_FOLDER}/{SUMS}", "the checksums of the protocol's files", "no such file")
        lines = []
    sums = {name: was for was, _, name in (line.partition("  ") for line in lines)}
    for name, was in {**sums, **frozen["sha256"]}.items():
        path = folder / name
        if not path.is_file() or not is_inside(folder, path):
            yield Deviation(f"{PLAN_FOLDER}/{name}", "a file of the protocol", "no such file")
        elif sha256_of_file(path) != was:
            yield Deviation(
                f"{PLAN_FOLDER}/{name}", f"SHA-256 {was[:12]}…", "other bytes: changed since it was frozen"
            )
    if frozen["trials_listed_when_frozen"]:
        count = frozen["trials_listed_when_frozen"]
        yield Deviation(
            "protocol", "frozen before the first trial", f"frozen with {show_count(count, 'trial')} listed"
        )


def _changed_promises(study: Study, frozen: dict[str, Any]) -> Iterator[Deviation]:
    yield from _differences("", frozen["promised"], describe_promises(study.settings))


def _differences(place: str, planned: Any, found: Any) -> Iterator[Deviation]:
    """Go through two nested dicts and name every leaf that differs; a branch that is missing is named once."""
    if isinstance(planned, dict) and isinstance(found, dict):
        for key in {**planned, **found}:
            where = f"{place}.{key}" if place else str(key)
            yield from _differences(where, planned.get(key), found.get(key))
    elif planned != found:
        yield Deviation(place, _show(planned), _show(found))


def _show(value: Any) -> str:
    return NOTHING if value is None else json.dumps(value, ensure_ascii=False)


def _changed_riding(study: Study, frozen: dict[str, Any]) -> Iterator[Deviation]:
    folder = study.root / PLAN_FOLDER
    sums = frozen["sha256"]
    allocation = read_frozen_table(folder / OPEN_ALLOCATION, sums[OPEN_ALLOCATION], ("rider", "sequence"))
    scheduled = ("rider", "period", "ride", "intensity")
    schedule = read_frozen_table(folder / OPEN_SCHEDULE, sums[OPEN_SCHEDULE], scheduled)
    if allocation is not None:
        yield from _changed_seed(study, allocation)
        yield from _changed_riders(study, dict(zip(allocation["rider"], allocation["sequence"], strict=True)))
    plan = frozen["promised"]["plan"]
    if schedule is not None:
        yield from _changed_orders(study, schedule[schedule["ride"] == TRIAL])
    yield from _other_exclusions(study, plan["exclusions"])
    yield from _short_rests(study, plan["washout_hours"])


def _changed_seed(study: Study, allocation: pd.DataFrame) -> Iterator[Deviation]:
    if study.settings.plan is None:
        return
    try:
        again = list(draw_allocation(study.settings, list(allocation["rider"]))["sequence"])
    except Refusal:
        again = []
    if again != list(allocation["sequence"]):
        planned, found = "the list that was frozen", "another list when drawn again from study.toml"
        yield Deviation("plan.allocation_seed", planned, found)


def _changed_riders(study: Study, allocated: dict[str, str]) -> Iterator[Deviation]:
    enrolled = dict(zip(study.riders["rider"], study.riders["sequence"], strict=True))
    for rider, sequence in enrolled.items():
        if rider not in allocated:
            yield Deviation(
                f"rider {rider}", "not on the allocation list", f"enrolled in {sequence or NOTHING}"
            )
        elif sequence != allocated[rider]:
            yield Deviation(
                f"rider {rider}", f"sequence {allocated[rider]}", f"sequence {sequence or NOTHING}"
            )
    absent = [rider for rider in allocated if rider not in enrolled]
    if absent:
        found = f"{listed(absent)} not in riders.csv"
        yield Deviation("riders", f"{len(allocated)} enrolled", found, is_open=True)


def _short_rests(study: Study, washout_hours: float) -> Iterator[Deviation]:
    """Rests as the schedule plans them, from the first ride of one period to the first of the next; one line a rider."""
    ridden = study.trials[study.trials["started_at"].notna()]
    starts = ridden.groupby(["rider", "period"])["started_at"].min()
    for rider, firsts in starts.groupby(level="rider"):
        rests_h = firsts.diff().dt.total_seconds() / 3600
        short = rests_h[rests_h < washout_hours]
        if short.empty:
            continue
        what = f"rider {rider}, rest before {_periods(list(short.index.get_level_values('period')))}"
        found = f"{'as little as ' if len(short) > 1 else ''}{short.min():.3g} h"
        yield Deviation(what, f"at least {washout_hours:g} h {REST_RULE}", found)


def _periods(numbers: list[int]) -> str:
    """Name periods in words.

    >>> _periods([3]), _periods([1, 2]), _periods([1, 2, 4]), _periods([2, 3, 4])
    ('period 3', 'periods 1 and 2', 'periods 1, 2 and 4', 'periods 2 to 4')
    """
    if len(numbers) == 1:
        return f"period {numbers[0]}"
    if len(numbers) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"periods {numbers[0]} to {numbers[-1]}"
    return f"periods {listed(numbers[:-1])} and {numbers[-1]}"


def _changed_orders(study: Study, schedule: pd.DataFrame) -> Iterator[Deviation]:
    """Intensities ridden in another order than planned, among those planned and ridden; one line a rider and order."""
    known = study.trials["started_at"].notna() & study.trials["intensity"].notna()
    # Trials that begin at one time, by a clock of days or hours, stay as the table lists them.
    ridden = study.trials[known].sort_values("started_at", kind="stable").astype({"intensity": str})
    planned = _orders(schedule)
    periods: dict[tuple[str, str, str], list[int]] = {}
    for (rider, period), names in _orders(ridden).items():
        drawn = planned.get((rider, period), [])
        wanted, found = [name for name in drawn if name in names], [name for name in names if name in drawn]
        if found != wanted:
            key = (rider, _called(study, wanted), _called(study, found))
            periods.setdefault(key, []).append(period)
    for (rider, wanted_order, order), where in periods.items():
        what = f"rider {rider}, {_periods(where)}, order of intensities"
        yield Deviation(what, wanted_order, order)


def _called(study: Study, intensities: list[str]) -> str:
    return listed(map(study.settings.intensity_label, intensities))


def _orders(rides: pd.DataFrame) -> dict[tuple[str, int], list[str]]:
    """Gather the intensities of each rider and period, in the order of the rows."""
    orders: dict[tuple[str, int], list[str]] = {}
    for rider, period, intensity in zip(rides["rider"], rides["period"], rides["intensity"], strict=True):
        orders.setdefault((str(rider), int(period)), []).append(str(intensity))
    return dict(sorted(orders.items()))


def _other_exclusions(study: Study, rules: list[str]) -> Iterator[Deviation]:
    known = {rule.casefold() for rule in rules}
    excluded = study.trials[study.trials["exclude"]]
    for trial, reason in zip(excluded["trial"], excluded["exclude_reason"], strict=True):
        if reason.casefold() not in known:
            yield Deviation(
                f"trial {trial}", "exclusion by a rule of the protocol", f"excluded: {reason or NOTHING}"
            )
