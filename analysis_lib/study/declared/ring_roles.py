"""The part that each ring plays in the comparison, and the orders in which rings are ridden."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import williams_design
from analysis_lib.study.declared.equipment import RingSettings
from analysis_lib.study.declared.problems import listed, or_refuse, repeated, suggest
from analysis_lib.study.declared.schema import ID_PATTERN

WILLIAMS = "williams"
MOST_RINGS = 12
"""A Williams design of more rings than that is no study that anybody rides."""


def check_roles(rings: dict[str, RingSettings]) -> dict[str, RingSettings]:
    """Accept one round-role ring, the reference, and one or more oval-role rings.

    Raises
    ------
    Refusal
        For other roles; where there are several ovals, for names that cannot stand in file names.
    """
    roles = Counter(ring.role for ring in rings.values())
    if roles["round"] != 1 or not roles["oval"]:
        got = listed(f"{name}: {ring.role}" for name, ring in rings.items())
        remedy = "describe the round ring that the others are compared with, and each of the others"
        raise Refusal("", got, "one ring in the role round and one or more in the role oval", remedy)
    if roles["oval"] > 1:
        _check_names_of_several(rings)
    return rings


def _check_names_of_several(rings: dict[str, RingSettings]) -> None:
    """Names of several oval rings stand in tables and in file names, where capitals may not be told apart."""
    faults = [
        Refusal(name, repr(name), "letters, digits, _ or -, 32 at most, a letter first", "rename the ring")
        for name in rings
        if not re.match(ID_PATTERN, name)
    ]
    faults += repeated("name", [name.casefold() for name in rings])
    if "round" in rings and rings["round"].role != "round":
        faults.append(Refusal("round", "an oval ring of that name", "another name", "rename the ring"))
    or_refuse(rings, faults)


def spell_williams(given: Any) -> Any:
    """Replace ``sequences = "williams"`` by the orders of a Williams design of all rings; leave all else.

    Orders are named by letters: A is the first ring of study.toml, B the second.

    Examples
    --------
    >>> given = {"rings": {"round": {}, "mild": {}}, "design": {"sequences": "williams"}}
    >>> spell_williams(given)["design"]["sequences"]
    {'AB': ['round', 'mild'], 'BA': ['mild', 'round']}
    """
    rings, design = (given.get(key) if isinstance(given, dict) else None for key in ("rings", "design"))
    if not (isinstance(design, dict) and isinstance(rings, dict) and design.get("sequences") == WILLIAMS):
        return given
    if not 2 <= len(rings) <= MOST_RINGS:
        return given
    orders = {name: list(order) for name, order in williams_design(list(rings)).items()}
    return {**given, "design": {**design, "sequences": orders}}


def unknown_rings(sequences: dict[str, list[str]], rings: Iterable[str]) -> list[Refusal]:
    """Name every place of a sequence at which a ring stands that study.toml does not describe."""
    known = list(rings)
    return [
        Refusal(
            f"design.sequences.{name} entry {place + 1}",
            repr(ring),
            f"one of {listed(known)}",
            suggest(ring, known, "use a ring of study.toml"),
        )
        for name, order in sequences.items()
        for place, ring in enumerate(order)
        if ring not in known
    ]
