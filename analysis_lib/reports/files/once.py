"""Results that a page asks for again and again are computed once."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

Asked = ParamSpec("Asked")
Result = TypeVar("Result")


def once(method: Callable[Concatenate[Any, Asked], Result]) -> Callable[Concatenate[Any, Asked], Result]:
    """Let a method, or a function of a frozen object, compute once for the same arguments; a refusal is not kept.

    `functools.cache` would keep the object alive and needs it hashable; here the results live and die with it.
    """

    @wraps(method)
    def kept(self: Any, *arguments: Asked.args, **named: Asked.kwargs) -> Result:
        results = self.__dict__.setdefault("_once", {})
        asked = (method.__name__, arguments, tuple(sorted(named.items())))
        if asked not in results:
            results[asked] = method(self, *arguments, **named)
        return results[asked]

    return kept
