"""Whether a study folder holds what its derived outcomes are made of."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis_lib.study.declared.problems import Problem, listed, suggest
from analysis_lib.study.tables.contents import Contents, about_study
from analysis_lib.study.tables.derived_outcomes import DERIVED_UNITS, GASES, MINUTES, is_across


def check_derived_outcomes(contents: Contents) -> Iterator[Problem]:
    """Every outcome declared as derived is one that can be derived, in its own unit, from columns that are there."""
    derived = [outcome for outcome in contents.settings.outcomes if outcome.source == "derived"]
    for outcome in derived:
        place = f"study.toml, outcome {outcome.name}"
        if outcome.name not in DERIVED_UNITS:
            remedy = suggest(outcome.name, DERIVED_UNITS, 'declare source = "signals" or "trials"')
            got = "an outcome that cannot be derived"
            yield about_study(place, got, f"one of {listed(DERIVED_UNITS)}", remedy)
        elif outcome.unit != DERIVED_UNITS[outcome.name]:
            wanted = f"{DERIVED_UNITS[outcome.name]!r}, the unit in which it is derived"
            yield about_study(
                place, f"unit {outcome.unit!r}", wanted, "write that unit, and the effect in it"
            )
        if is_across(outcome) and len(contents.settings.intensities_of(outcome)) < 2:
            got, wanted = "one intensity", "two at least: it is the slope of power between them"
            yield about_study(place, got, wanted, "declare gross_efficiency_pct instead")
    if derived:
        yield from _check_columns(contents)


def _check_columns(contents: Contents) -> Iterator[Problem]:
    absent = [name for name in GASES if name not in contents.trials]
    if absent:
        got, wanted = f"no column {listed(absent)}", f"the columns {listed(GASES)} for derived outcomes"
        yield about_study("trials.csv, row 1", got, wanted, "add them, in litres a minute at STPD")
    if not set(MINUTES) <= set(contents.trials):
        remedy = "add them, or say in the report that nobody looked whether the state was steady"
        got, wanted = (
            f"no columns {listed(MINUTES)}",
            "the oxygen uptake of two minutes, to check the steady state",
        )
        yield about_study("trials.csv, row 1", got, wanted, remedy, "note")


CHECKS: tuple[Callable[[Contents], Iterator[Problem]], ...] = (check_derived_outcomes,)
