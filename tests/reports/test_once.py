"""Results are computed once for the same arguments; a refusal is told each time."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.once import once


@dataclass(frozen=True)
class Scale:
    """Counts how often it weighed."""

    weighed: list[str] = field(default_factory=list)

    @once
    def weight(self, thing: str, unit: str = "kg") -> tuple[str, str]:
        self.weighed.append(thing)
        if thing == "air":
            raise Refusal("weight", "air", "a solid", "put something on the scale")
        return thing, unit


def test_the_same_arguments_give_the_same_object_without_another_look():
    scale = Scale()
    assert scale.weight("iron") is scale.weight("iron")
    assert scale.weighed == ["iron"]


def test_other_arguments_and_other_objects_have_results_of_their_own():
    one, two = Scale(), Scale()
    assert one.weight("iron") != one.weight("iron", unit="lb")
    assert two.weight("lead") == ("lead", "kg") and one.weighed == ["iron", "iron"]


def test_a_refusal_is_told_again():
    scale = Scale()
    for _ in range(2):
        with pytest.raises(Refusal, match="air"):
            scale.weight("air")
    assert scale.weighed == ["air", "air"]
