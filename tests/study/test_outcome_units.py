"""A unit as people write it, and none for what has no dimension."""

import pytest

from analysis_lib.reports.study.effect_exhibits import explain_once, name_with_unit
from analysis_lib.statistics.equivalence import judge
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.protocol import Outcome, in_brackets
from analysis_lib.study.planning.protocol_text import unit_after


def declared_in(unit: str) -> Outcome:
    return Outcome(
        name="rpe", label="Exertion", unit=unit, source="trials", better="lower", smallest_effect=1.0
    )


# The unit one of the SI is not written after a number (The International System of Units, 9th ed. 2019, 5.4.7).
@pytest.mark.parametrize("unit", ["", "1"])
def test_what_has_no_dimension_is_written_without_a_unit(unit):
    outcome = declared_in(unit)
    assert name_with_unit(outcome) == "Exertion" and in_brackets(outcome.unit_shown) == ""
    assert unit_after(outcome) == "" and outcome.difference_unit == ""
    assert "against ±1" in explain_once(outcome, "", "") and "±1 1" not in explain_once(outcome, "", "")
    estimate = Estimate("Exertion, oval − round", 0.25, 0.5, 10, outcome.difference_unit, 12, "crossover")
    said = judge(estimate, outcome.smallest_effect).sentence()
    assert "+0.25 (95 % interval" in said and "as large as 1 (p" in said


@pytest.mark.parametrize(
    ("unit", "shown", "of_difference"),
    [("W", "W", "W"), ("N m", "N·m", "N·m"), ("%", "%", "percentage points"), ("1/min", "1/min", "1/min")],
)
def test_every_other_unit_is_written(unit, shown, of_difference):
    outcome = declared_in(unit)
    assert name_with_unit(outcome) == f"Exertion ({shown})"
    assert unit_after(outcome) == f" {of_difference}"


@pytest.mark.parametrize("unit", ["", "1"])
def test_a_measured_quantity_without_a_unit_may_be_declared_either_way(tiny, unit):
    tiny.replace(
        "study.toml",
        'name = "power_W"\nlabel = "Power"\nunit = "W"',
        f'name = "evenness"\nlabel = "Evenness"\nunit = "{unit}"',
    )
    assert not [problem for problem in open_study(tiny.root).errors if "unit" in problem.got]


def test_a_measured_quantity_with_a_unit_may_not(tiny):
    tiny.replace("study.toml", 'label = "Power"\nunit = "W"', 'label = "Power"\nunit = "1"')
    assert [problem for problem in open_study(tiny.root).errors if problem.got == "unit '1'"]
