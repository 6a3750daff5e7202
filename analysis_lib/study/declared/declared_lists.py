"""Whether the intensities and outcomes that study.toml lists can stand beside one another."""

from __future__ import annotations

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import listed, or_refuse, repeated
from analysis_lib.study.declared.protocol import Intensity, Outcome

RESERVED = {"overall", "all"}
"""Words that tables and pages use for all intensities together."""


def check_intensities(intensities: list[Intensity]) -> list[Intensity]:
    """Return the intensities in their order; refuse a name, label or order that stands twice, and reserved words."""
    faults = repeated("name", [part.name for part in intensities])
    faults += repeated("label", [part.label for part in intensities])
    faults += [
        Refusal(
            "intensity",
            repr(word),
            "another word",
            "choose one: pages use this word for all intensities together",
        )
        for part in intensities
        for word in (part.name, part.label)
        if word.casefold() in RESERVED
    ]
    faults += repeated("order", [part.order for part in intensities])
    return or_refuse(sorted(intensities, key=lambda part: part.order), faults)


def check_outcomes(outcomes: list[Outcome]) -> list[Outcome]:
    """Return the outcomes; refuse a name that stands twice, and any number of primary ones but one."""
    faults = repeated("name", [part.name for part in outcomes])
    primary = [part.name for part in outcomes if part.primary]
    if len(primary) != 1:
        remedy = "set primary = true on the one outcome that the study was planned for"
        faults.append(Refusal("primary", listed(primary), "exactly one primary outcome", remedy))
    return or_refuse(outcomes, faults)
