"""`dataclass` for what every start imports: as Python's, its methods made when they are worth it.

Python's own compiles up to six methods of a class when the class is made, two thirds of a
millisecond each; most classes of a run need one of them, a few times, or none. Fields, `replace`,
`fields` and `asdict` are those of `dataclasses`.
"""

from __future__ import annotations

import dataclasses
import operator
from collections.abc import Callable
from dataclasses import MISSING, Field, FrozenInstanceError
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any

_SELDOM = 12  # objects of a class until an `__init__` is written for it

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass  # to a checker it is no other
else:

    def dataclass(
        made: type | None = None,
        /,
        *,
        frozen: bool = False,
        slots: bool = False,
        eq: bool = True,
        order: bool = False,
    ) -> Any:
        """As `dataclasses.dataclass`; what is not taken here has no need of a light start."""
        if made is None:
            return lambda made: dataclass(made, frozen=frozen, slots=slots, eq=eq, order=order)
        given = set(vars(made))
        made.__doc__ = made.__doc__ or made.__name__  # else Python's looks for its signature
        light = dataclasses.dataclass(made, init=False, repr=False, eq=False, slots=slots)
        added = {"__init__": _init_at_first(light, frozen), "__repr__": _repr}
        if eq:
            added |= _comparing(light, frozen=frozen, order=order)
        if frozen:
            added |= _FROZEN | (_STATE if slots else {})
        for name, method in added.items():
            if name not in given:
                setattr(light, name, method)
        return light


def _init_at_first(made: type, frozen: bool) -> Callable[..., None]:
    """An ``__init__`` that goes through the fields one by one, until one is worth writing."""
    put, calls = object.__setattr__ if frozen else setattr, 0

    def init(self: Any, /, *values: Any, **named: Any) -> None:
        nonlocal calls
        calls += 1
        found = _found(made, values, named) if calls <= _SELDOM else None
        if found is None:
            written = _init_of(made, frozen)
            if vars(made)["__init__"] is init:
                made.__init__ = written  # type: ignore[misc]
            written(self, *values, **named)
            return
        for name, value in found.items():
            put(self, name, value)
        if hasattr(made, "__post_init__"):
            self.__post_init__()

    return init


def _found(made: Any, values: tuple[Any, ...], named: dict[str, Any]) -> dict[str, Any] | None:
    """What each field gets; None of a call that does not fit, which a written one refuses."""
    fields = dataclasses.fields(made)
    names = [one.name for one in fields if one.init]
    given = dict(zip(names, values, strict=False))
    if len(values) > len(names) or given.keys() & named or not named.keys() <= set(names):
        return None
    given |= named
    found = {}
    for one in fields:
        if one.name in given:
            found[one.name] = given[one.name]
        elif one.default_factory is not MISSING:
            found[one.name] = one.default_factory()
        elif one.default is not MISSING:
            found[one.name] = one.default
        elif one.init:
            return None
    return found


def _init_of(made: type, frozen: bool) -> Callable[..., None]:
    told: dict[str, Any] = {"_put": object.__setattr__, "_unset": MISSING}
    head, body = ["self"], list[str]()
    for one in dataclasses.fields(made):
        name, value = one.name, one.name
        if one.default_factory is not MISSING:
            told[f"_make_{name}"] = one.default_factory
            fresh = f"_make_{name}()"
            value = f"{fresh} if {name} is _unset else {name}" if one.init else fresh
        elif not one.init:
            if one.default is MISSING:
                continue  # `__post_init__` gives it
            told[f"_default_{name}"], value = one.default, f"_default_{name}"
        if one.init:
            head.append(_argument(one, told))
        body.append(f"_put(self, {name!r}, {value})" if frozen else f"self.{name} = {value}")
    if hasattr(made, "__post_init__"):
        body.append("self.__post_init__()")
    lines = "\n    ".join(body or ["pass"])
    exec(f"def __init__({', '.join(head)}):\n    {lines}", told)
    written: Callable[..., None] = told["__init__"]
    written.__qualname__ = f"{made.__qualname__}.__init__"
    return written


def _argument(one: Field[Any], told: dict[str, Any]) -> str:
    if one.default_factory is not MISSING:
        return f"{one.name}=_unset"
    if one.default is MISSING:
        return one.name
    told[f"_default_{one.name}"] = one.default
    return f"{one.name}=_default_{one.name}"


@recursive_repr()
def _repr(self: Any) -> str:
    told = [f"{f.name}={getattr(self, f.name)!r}" for f in dataclasses.fields(self) if f.repr]
    return f"{type(self).__qualname__}({', '.join(told)})"


def _comparing(made: Any, *, frozen: bool, order: bool) -> dict[str, Any]:
    names = [one.name for one in dataclasses.fields(made) if one.compare]
    values = operator.attrgetter(*names) if names else lambda _: ()

    def by(holds: Callable[[Any, Any], bool]) -> Callable[[Any, object], bool]:
        def compared(self: Any, other: object) -> bool:
            alike = type(other) is type(self)
            return holds(values(self), values(other)) if alike else NotImplemented

        return compared

    def hashed(self: Any) -> int:
        return hash(values(self))

    ordering = (operator.lt, operator.le, operator.gt, operator.ge) if order else ()
    compared = {f"__{one.__name__}__": by(one) for one in (operator.eq, *ordering)}
    return {**compared, "__hash__": hashed if frozen else None}


def _refuse_set(_self: Any, name: str, _value: Any) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_delete(_self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, one.name) for one in dataclasses.fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for one, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, one.name, value)


_FROZEN = {"__setattr__": _refuse_set, "__delattr__": _refuse_delete}
_STATE = {"__getstate__": _state, "__setstate__": _set_state}
