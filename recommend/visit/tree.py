"""Getting and setting one value inside the plain data of a visit file.

A path is a tuple of keys. Three of its parts are not keys: ``Both()`` stands for each of the two
feet, ``Angles(moving)`` for the entry of the rearfoot list that readings are typed into, and
``Listed(key, values)`` for the entry of a list that has these values.
"""

from __future__ import annotations

from typing import Any

from recommend.dataclass import dataclass

SIDES = ("left", "right")
Tree = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Both:
    """Each of the two feet: what is set is set for both."""


@dataclass(frozen=True, slots=True)
class Angles:
    """The first rearfoot entry that is `moving` (walking or running) or standing.

    `zero` is the reference a new entry is made with.
    """

    moving: bool
    zero: str


@dataclass(frozen=True, slots=True)
class Listed:
    """The entry of the list under `key` that has just these `values`; None is not there."""

    key: str
    values: tuple[tuple[str, str | None], ...]

    def among(self, holder: Any) -> Tree | None:
        """That entry of `holder`, or None."""
        entries: list[Tree] = (holder or {}).get(self.key) or []
        return next((e for e in entries if all(e.get(k) == v for k, v in self.values)), None)


Part = str | Both | Angles | Listed
Path = tuple[Part, ...]


def get(tree: Tree, path: Path) -> Any:
    """The value at `path`, or None; of both feet, the first that is there."""
    if Both() in path:
        found = (get(tree, one) for one in each_foot(path))
        return next((value for value in found if value is not None), None)
    here: Any = tree
    for part in path:
        if isinstance(part, Listed):
            here = part.among(here)
        else:
            here = _entry(here, part) if isinstance(part, Angles) else (here or {}).get(part)
        if here is None:
            return None
    return here


def put(tree: Tree, path: Path, value: Any) -> None:
    """Set the value at `path`, making what is missing on the way."""
    for one in each_foot(path):
        here: Any = tree
        for part in one[:-1]:
            here = _inside(tree, here, part)
        here[one[-1]] = value


def drop(tree: Tree, path: Path) -> None:
    """Remove the value at `path`, if it is there."""
    for one in each_foot(path):
        holder = get(tree, one[:-1]) if len(one) > 1 else tree
        if isinstance(holder, dict) and isinstance(one[-1], str):
            holder.pop(one[-1], None)


def each_foot(path: Path) -> tuple[Path, ...]:
    """`path` for each foot when it stands for both, else itself."""
    if Both() not in path:
        return (path,)
    return tuple(tuple(side if part == Both() else part for part in path) for side in SIDES)


def tidied(tree: Tree) -> Tree:
    """The data without what nothing was typed into: a visit file holds what was observed."""
    kept = {key: _tidy(value) for key, value in tree.items()}
    return {key: value for key, value in kept.items() if value not in (None, {})}


def _tidy(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    inner = {key: _tidy(one) for key, one in value.items() if key != "rearfoot"}
    if "arch-index" in inner and "value" not in inner["arch-index"]:
        del inner["arch-index"]
    if "rearfoot" in value:
        taken = [entry for entry in value["rearfoot"] if set(entry) - {"gait", "reference"}]
        inner |= {"rearfoot": taken} if taken else {}
    return {key: one for key, one in inner.items() if one not in (None, {})}


def _entry(foot: Any, part: Angles) -> Tree | None:
    entries: list[Tree] = (foot or {}).get("rearfoot", [])
    return next((e for e in entries if (e.get("gait") != "standing") == part.moving), None)


def _inside(tree: Tree, here: Any, part: Part) -> Any:
    """The container under `part`, made when it is missing."""
    if isinstance(part, Angles):
        found = _entry(here, part)
        if found is None:
            running = tree.get("purpose") == "running"
            gait = ("running" if running else "walking") if part.moving else "standing"
            found = {"gait": gait, "reference": part.zero}
            here.setdefault("rearfoot", []).append(found)
        return found
    if isinstance(part, Listed):
        found = part.among(here)
        if found is None:
            found = {key: value for key, value in part.values if value is not None}
            here.setdefault(part.key, []).append(found)
        return found
    assert isinstance(part, str)
    return here.setdefault(part, {})
