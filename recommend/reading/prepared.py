"""What was read and checked, kept as plain data, so that the next start need not read it again.

A prepared file is JSON: a table of values, each once, and of the objects made of them, children
before parents. Objects are built again by name from the classes that the reader names, without
running what checked them, so a file is taken only for the very texts, and the very program, that
made it. What is missing, stale or damaged is made again in silence: nothing rests on it.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from copy import copy
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from pydantic import BaseModel

Classes: TypeAlias = Mapping[str, type]
Table: TypeAlias = list[Any]  # [atoms, nodes]; a node is [what it is, places of its parts]
Made = TypeVar("Made")

MOST = 12  # files kept; a start reads two
_SUFFIX = ".json"


def prepared(
    name: str, key: Iterable[str], classes: Callable[[], Classes], make: Callable[[], Made]
) -> Made:
    """What `make` makes, or the same as it was kept under `key`.

    Parameters
    ----------
    name : begins the name of the file.
    key : all that the result depends on, apart from the program.
    classes : by name, what it may be made of beside plain values, once all of them are defined.
    """
    file = _file(name, key)
    kept = None if file is None else _read(file)
    if kept is not None:
        try:
            built: Made = restored(kept, classes())
            return built
        except (KeyError, IndexError, TypeError, ValueError):
            pass  # another program wrote it; it is written again below
    made = make()
    if file is not None:
        _write(file, flattened(made, classes()))
    return made


def classes_of(*roots: type) -> dict[str, type]:
    """Classes by name, those below a model among them."""
    found: dict[str, type] = {}
    for root in roots:
        found[f"{root.__module__}.{root.__qualname__}"] = root
        if issubclass(root, BaseModel):
            found |= classes_of(*root.__subclasses__())
    return found


# ---------------------------------------------------------------- a table of values, and back


def flattened(value: Any, classes: Classes) -> Table:
    """`value` as a table that JSON can hold.

    Raises
    ------
    TypeError
        If something in it is of no class that is named.
    """
    return _Flattening({kind: name for name, kind in classes.items()}).table(value)


def restored(table: Table, classes: Classes) -> Any:
    """What a table was made of."""
    atoms, nodes = table
    values: list[Any] = list(atoms)
    makers: dict[str, Callable[[list[Any]], Any]] = dict(_PLAIN)
    for what, places in nodes:
        maker = makers.get(what)
        if maker is None:
            name, _, keys = what.partition(" ")
            maker = makers[what] = _maker(classes[name], keys.split())
        values.append(maker(list(map(values.__getitem__, places))))
    return values[-1]


def _pairs(parts: list[Any]) -> dict[Any, Any]:
    return dict(zip(parts[::2], parts[1::2], strict=True))


_PLAIN: dict[str, Callable[[list[Any]], Any]] = {
    "tuple": tuple,
    "list": list,
    "set": frozenset,
    "dict": _pairs,
}


class _Flattening:
    """Gives every value a place; what cannot change and is the same has one place."""

    def __init__(self, names: Mapping[type, str]) -> None:
        self._names = names
        self._atoms: dict[tuple[type, Any], int] = {}
        self._nodes: list[tuple[str, tuple[Any, ...]]] = []
        self._same: dict[tuple[str, tuple[Any, ...]], int] = {}

    def table(self, value: Any) -> Table:
        self._place(value)
        count = len(self._atoms)
        atoms = [atom for _, atom in self._atoms]
        nodes = [[what, [_flat(p, count) for p in parts]] for what, parts in self._nodes]
        return [atoms, nodes]

    def _place(self, value: Any) -> int:
        """The place of an atom, from 0 up; of a node, from -1 down."""
        if value is None or isinstance(value, (str, int, float)):
            return self._atoms.setdefault((type(value), value), len(self._atoms))
        if isinstance(value, dict):
            parts = [part for pair in value.items() for part in pair]
            return self._node("dict", parts, shared=False)
        if isinstance(value, list):
            return self._node("list", value, shared=False)
        if type(value) is tuple:  # a named one is an object
            return self._node("tuple", value)
        if isinstance(value, frozenset):
            return self._node("set", sorted(value))
        return self._object(value)

    def _object(self, value: Any) -> int:
        name = self._names.get(type(value))
        if name is None:
            raise TypeError(f"{type(value)} is not among what may be kept")
        stated = _stated(value)
        return self._node(" ".join([name, *stated]), stated.values())

    def _node(self, what: str, parts: Iterable[Any], *, shared: bool = True) -> int:
        node = (what, tuple(self._place(part) for part in parts))
        if shared and node in self._same:
            return self._same[node]
        self._nodes.append(node)
        self._same[node] = -len(self._nodes)
        return -len(self._nodes)


def _flat(place: int, atoms: int) -> int:
    return place if place >= 0 else atoms - place - 1


def _stated(value: Any) -> dict[str, Any]:
    """The fields of an object; of a model those alone that were stated."""
    if isinstance(value, BaseModel):
        known, stated = type(value).model_fields, value.model_fields_set
        return {name: getattr(value, name) for name in known if name in stated}
    return {name: getattr(value, name) for name in _given(value)}


def _given(kind: Any) -> list[str]:
    """What a dataclass, or a named tuple, is made of."""
    return list(getattr(kind, "_fields", ())) or [one.name for one in fields(kind) if one.init]


def _maker(kind: Any, names: list[str]) -> Callable[[list[Any]], Any]:
    """What builds an object of a class from the values of these fields."""
    if issubclass(kind, BaseModel):
        return _model_maker(kind, names)
    if names != _given(kind):
        raise ValueError(f"{kind} has other fields")
    return lambda parts: kind(*parts)


def _model_maker(kind: type[BaseModel], names: list[str]) -> Callable[[list[Any]], Any]:
    """Likewise of a model, without checking again what was checked before it was kept."""
    known = kind.model_fields
    if not known.keys() >= set(names):
        raise ValueError(f"{kind} has other fields")
    unstated = {name: one.default for name, one in known.items() if name not in names}
    empty = [name for name, default in unstated.items() if isinstance(default, (list, dict))]
    order = dict.fromkeys(known) | unstated
    stated, put = set(names), object.__setattr__

    def build(parts: list[Any]) -> Any:
        data = order.copy()
        data.update(zip(names, parts, strict=True))
        for name in empty:
            data[name] = copy(data[name])
        made = kind.__new__(kind)
        put(made, "__dict__", data)
        put(made, "__pydantic_fields_set__", stated.copy())
        put(made, "__pydantic_extra__", None)
        put(made, "__pydantic_private__", None)
        return made

    return build


# ---------------------------------------------------------------- files


def _file(name: str, key: Iterable[str]) -> Path | None:
    """Where it is kept; None where this platform has no such folder."""
    from platformdirs import user_cache_path  # only here: it costs a few milliseconds

    try:
        running = hashlib.sha256(_program().encode())
        folder = user_cache_path("recommend", appauthor=False) / "prepared"
    except (OSError, RuntimeError):
        return None
    for part in key:
        running.update(f"{len(part)}\n{part}".encode("utf-8", "surrogateescape"))
    return folder / f"{name}-{running.hexdigest()}{_SUFFIX}"


@cache
def _program() -> str:
    """Tells one state of the program from another: its files by size and time, and Python."""
    root = Path(__file__).parents[1]
    seen = [sys.version]
    for folder in ("", "reading", "visit", "measure", "rulebook", "catalogue"):
        with os.scandir(root / folder) as found:
            for one in sorted(found, key=lambda one: one.name):
                if one.name.endswith(".py"):
                    seen.append(f"{one.path} {one.stat().st_size} {one.stat().st_mtime_ns}")
    return "\n".join(seen)


def _read(file: Path) -> Table | None:
    """The table in a file: None where there is none, or it is not as it was written."""
    try:
        raw = file.read_bytes()
    except OSError:
        return None
    head, _, body = raw.partition(b"\n")
    if head != hashlib.sha256(body).hexdigest().encode():
        return None
    try:
        table: Table = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return table


def _write(file: Path, table: Table) -> None:
    """Keep a table; where that cannot be done nothing is lost, so nothing is said."""
    text = json.dumps(table, separators=(",", ":"), ensure_ascii=False)
    body = text.encode("utf-8", "surrogatepass")  # names of folders may hold bytes of no text
    half = file.with_suffix(f".{os.getpid()}.part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        half.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
        half.replace(file)
        older = sorted(file.parent.glob(f"*{_SUFFIX}"), key=lambda one: -one.stat().st_mtime_ns)
        for one in older[MOST:]:
            one.unlink(missing_ok=True)
    except OSError:
        with suppress(OSError):
            half.unlink(missing_ok=True)
