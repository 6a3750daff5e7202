"""TOML text of a study's settings; Python reads TOML and does not write it."""

from __future__ import annotations

import json
from typing import Any


def write_toml(settings: dict[str, Any]) -> str:
    """Write nested settings as TOML, leaving out what is None.

    Parameters
    ----------
    settings : dict
        Of text, numbers, truth values, lists, and dicts of the same. A list of dicts becomes an array of
        tables; dicts at the third level and below are written in one line.

    Examples
    --------
    >>> print(write_toml({"rings": {"round": {"teeth": 46}}}))
    [rings.round]
    teeth = 46
    """
    parts: list[str] = []
    for name, value in settings.items():
        parts += _tables(_key(name), value) if value is not None else []
    return "\n".join(parts).strip("\n")


def _tables(path: str, value: Any) -> list[str]:
    if isinstance(value, list):
        return [line for entry in value for line in [f"\n[[{path}]]", *_assignments(entry)]]
    inner = {name: part for name, part in value.items() if isinstance(part, dict) and path.count(".") < 1}
    plain = {name: part for name, part in value.items() if name not in inner}
    lines = [f"\n[{path}]", *_assignments(plain)] if plain else []
    for name, part in inner.items():
        lines += _tables(f"{path}.{_key(name)}", part)
    return lines


def _assignments(values: dict[str, Any], prefix: str = "") -> list[str]:
    lines = []
    for name, value in values.items():
        if isinstance(value, dict) and any(isinstance(part, dict) for part in value.values()):
            lines += _assignments(value, f"{prefix}{_key(name)}.")
        elif value is not None:
            lines.append(f"{prefix}{_key(name)} = {_value(value)}")
    return lines


def _value(value: Any) -> str:
    if isinstance(value, dict):
        inside = (f"{_key(name)} = {_value(part)}" for name, part in value.items() if part is not None)
        return "{ " + ", ".join(inside) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    # JSON writes text, numbers and truth values as TOML does.
    return json.dumps(value, ensure_ascii=False)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else json.dumps(name)
