"""Schema faults, said again in the words of the lab.

The settings and the tables are checked by one schema library, pydantic. This module turns what it found into
refusals: which key or cell, what stood there, what is wanted, what to do.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator
from datetime import date, time
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.declared.problems import listed, suggest

Place = tuple[int | str, ...]

#: What is wanted and what to do, for each kind of fault that pydantic can find in these schemas.
_ADVICE = {
    "missing": ("a value", "add it"),
    "float_parsing": ("a number", "write digits and a decimal point alone; leave the cell empty if unknown"),
    "float_type": ("a number", "write a number without quotation marks"),
    "finite_number": ("a finite number", "write a number, or leave it out if unknown"),
    "int_parsing": ("a whole number", "write digits alone"),
    "int_type": ("a whole number", "write a whole number without quotation marks or decimals"),
    "int_from_float": ("a whole number", "write it without decimals"),
    "bool_type": ("true or false", "write true or false without quotation marks"),
    "string_type": ("words", "put the value in quotation marks"),
    "string_too_short": ("words", "fill it in"),
    "string_pattern_mismatch": ("text of the pattern {pattern}", "write it so"),
    "literal_error": ("{expected}", "choose one of these"),
    "greater_than": ("a number above {gt}", "check the value and its unit"),
    "greater_than_equal": ("a number of at least {ge}", "check the value and its unit"),
    "less_than": ("a number below {lt}", "check the value and its unit"),
    "less_than_equal": ("a number of at most {le}", "check the value and its unit"),
    "too_short": ("at least {min_length} entries", "add what is missing"),
    "list_type": ("a list in square brackets", "write it as a list"),
    "tuple_type": ("a list in square brackets", "write it as a list"),
    "dict_type": ("a table of keys and values", "write it as a table"),
    "model_type": ("a table of keys and values", "write it as a table"),
}


def refusals_from(
    error: ValidationError, model: type[BaseModel], name_place: Callable[[Place], str]
) -> list[Refusal]:
    """Turn everything that pydantic found into refusals, in the order found.

    Parameters
    ----------
    error : ValidationError
        What ``model.model_validate`` raised.
    model : type of BaseModel
        The model that was asked; its field descriptions say what is wanted.
    name_place : callable
        Turns the path of a fault, such as ``("rings", "oval", "teeth")``, into words for the reader.
    """
    return [refusal for fault in error.errors() for refusal in _say(dict(fault), model, name_place)]


def _say(
    fault: dict[str, Any], model: type[BaseModel], name_place: Callable[[Place], str]
) -> Iterator[Refusal]:
    place = fault["loc"]
    raised = fault.get("ctx", {}).get("error")
    if isinstance(raised, Refusals):
        yield from (placed(refusal, name_place(place)) for refusal in raised.refusals)
    elif isinstance(raised, Refusal):
        yield placed(raised, name_place(place))
    elif fault["type"] == "extra_forbidden":
        yield _unknown_key(place, model, name_place)
    else:
        yield _plain(fault, model, name_place)


def placed(refusal: Refusal, place: str) -> Refusal:
    """Put a refusal raised inside a validator at its place in the file."""
    what = ", ".join(part for part in (place, refusal.what) if part)
    return Refusal(what, refusal.got, refusal.wanted, refusal.remedy)


def _unknown_key(place: Place, model: type[BaseModel], name_place: Callable[[Place], str]) -> Refusal:
    _, owner = _find(model, place[:-1])
    known = list(owner.model_fields) if owner else []
    advice = suggest(str(place[-1]), known, "remove it, or look up the right name")
    return Refusal(name_place(place), "a key that is not known", f"one of {listed(known)}", advice)


def _plain(fault: dict[str, Any], model: type[BaseModel], name_place: Callable[[Place], str]) -> Refusal:
    wanted, remedy = _ADVICE.get(fault["type"], (fault["msg"], "write it as wanted"))
    wanted = wanted.format(**fault.get("ctx", {}))
    field, _ = _find(model, fault["loc"])
    if field is not None and field.description:
        wanted = f"{wanted}: {field.description}" if fault["type"] != "missing" else field.description
    got = "nothing" if fault["type"] == "missing" else shorten(fault["input"])
    return Refusal(name_place(fault["loc"]), got, wanted, remedy)


def shorten(value: object) -> str:
    """Show a value as it stands in the file, cut to one short line.

    >>> shorten("12,5")
    "'12,5'"
    >>> shorten(date(2026, 11, 30))
    '2026-11-30'
    """
    if isinstance(value, date | time):
        return str(value)
    shown = "an empty cell" if value is None or value == "" else repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def _find(model: type[BaseModel], place: Place) -> tuple[FieldInfo | None, type[BaseModel] | None]:
    """Follow a path through nested models to the field it names and the model that lives there."""
    field: FieldInfo | None = None
    here: Any = model
    for part in place:
        owner = _model_in(here)
        if owner is not None and part in owner.model_fields:
            field = owner.model_fields[str(part)]
            here = field.annotation
        else:
            field = None
            here = get_args(_without_none(here))[-1] if get_args(_without_none(here)) else None
    return field, _model_in(here)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    annotation = _without_none(annotation)
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None


def _without_none(annotation: Any) -> Any:
    """Read `X | None` as X."""
    if get_origin(annotation) in (Union, types.UnionType):
        kept = [choice for choice in get_args(annotation) if choice is not type(None)]
        return kept[0] if len(kept) == 1 else annotation
    return annotation
