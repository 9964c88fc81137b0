"""What a model allows at a place, in words: read off the annotations, never typed twice."""

from __future__ import annotations

from collections.abc import Iterable
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, Tag
from pydantic.fields import FieldInfo

from recommend.dataclass import dataclass

_UNITS = {"mm": "mm", "kg": "kg", "percent": "percent", "weeks": "weeks"}


@dataclass(frozen=True, slots=True)
class Spot:
    """What stands at a place: annotation, bounds, words, key, and whether it may be left out."""

    annotation: Any
    metadata: tuple[Any, ...] = ()
    description: str = ""
    key: str = ""
    optional: bool = False

    @property
    def text(self) -> bool:
        """Whether text may stand there."""
        return any(_plain(Spot(option)).annotation is str for option in _options(self))


def spot_at(model: type[BaseModel], loc: Iterable[int | str]) -> Spot:
    """The spot in `model` at a pydantic location; names of union branches are passed over.

    For a key that is not known it is the spot that holds the key.
    """
    spot = Spot(model)
    parts = tuple(loc)
    if parts[-1:] == ("[key]",):
        parts = (*parts[:-2], "[key]")
    for part in parts:
        spot = _into(spot, part) or spot
    return spot


def described(spot: Spot) -> str:
    """What is allowed there, as a clause; '' when it cannot be said shortly."""
    options = [_plain(Spot(o, spot.metadata, spot.description, spot.key)) for o in _options(spot)]
    said = [text for text in (_described_one(option) for option in options) if text]
    return " or ".join(dict.fromkeys(said))


def words_of(spot: Spot) -> list[str]:
    """The words allowed there, when it is a choice of words."""
    found = (_plain(Spot(option)).annotation for option in _options(spot))
    return [str(w) for one in found if get_origin(one) is Literal for w in get_args(one)]


def keys_of(spot: Spot) -> list[str]:
    """The keys allowed there."""
    found: list[str] = []
    for option in _options(spot):
        annotation = _plain(Spot(option)).annotation
        if _is_model(annotation):
            found += [field.alias or name for name, field in _fields(annotation).items()]
    return list(dict.fromkeys(found))


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    model.model_rebuild()  # names in annotations of a nested model may still be text
    return model.model_fields


def _options(spot: Spot) -> list[Any]:
    """The branches of a union, without None."""
    annotation = _plain(spot).annotation
    if get_origin(annotation) in (Union, UnionType):
        branches = [b for b in get_args(annotation) if b is not NoneType]
        return [one for branch in branches for one in _options(Spot(branch))] or branches
    return [spot.annotation]


def _plain(spot: Spot) -> Spot:
    """The spot with `Annotated` taken apart."""
    while get_origin(spot.annotation) is Annotated:
        inner, *more = get_args(spot.annotation)
        metadata, description = list(spot.metadata), spot.description
        for one in more:
            if isinstance(one, FieldInfo):
                metadata += one.metadata
                description = description or one.description or ""
            else:
                metadata.append(one)
        spot = Spot(inner, tuple(metadata), description, spot.key)
    return spot


def _into(spot: Spot, part: int | str) -> Spot | None:
    """The spot that `part` leads to: a field, an entry, a key, a branch; None when none does."""
    for option in _options(spot):
        inner = _plain(Spot(option))
        if any(isinstance(one, Tag) and one.tag == part for one in inner.metadata):
            return Spot(inner.annotation)
    for option in _options(spot):
        annotation = _plain(Spot(option)).annotation
        if _is_model(annotation):
            if part == annotation.__name__:
                return Spot(annotation)
            for name, field in _fields(annotation).items():
                if part == (field.alias or name):
                    return Spot(
                        field.annotation,
                        tuple(field.metadata),
                        field.description or "",
                        str(part),
                        optional=not field.is_required(),
                    )
        elif get_origin(annotation) is list and isinstance(part, int):
            return Spot(get_args(annotation)[0])
        elif get_origin(annotation) is dict and isinstance(part, str):
            return Spot(get_args(annotation)[part != "[key]"], key=part)
    return None


def _described_one(spot: Spot) -> str:
    annotation = spot.annotation
    if spot.description:
        return spot.description
    if get_origin(annotation) is Literal:
        return ", ".join(str(word) for word in get_args(annotation))
    if annotation in (int, float):
        return _number_words("a whole number" if annotation is int else "a number", spot)
    if annotation is str:
        return f"text{_size_words(spot.metadata, 'characters')}"
    if annotation is bool:
        return "true or false"
    if get_origin(annotation) is list:
        entry = described(Spot(get_args(annotation)[0]))
        each = f", each {entry}" if entry and len(entry) < 80 else ""
        return f"a list{_size_words(spot.metadata, 'entries')}{each}"
    if _is_model(annotation):
        return "a group with the keys " + ", ".join(keys_of(Spot(annotation)))
    if get_origin(annotation) is dict:
        return f"a group of `key: value` lines{_size_words(spot.metadata, 'entries')}"
    return ""


def _bounds(metadata: tuple[Any, ...]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for one in metadata:
        for name in ("ge", "gt", "le", "lt", "min_length", "max_length"):
            if getattr(one, name, None) is not None:
                found[name] = getattr(one, name)
    return found


def _number_words(what: str, spot: Spot) -> str:
    bounds = _bounds(spot.metadata)
    unit = _UNITS.get(spot.key.rpartition("-")[2], "")
    low = f"{bounds['ge']:.12g}" if "ge" in bounds else ""
    high = f"{bounds['le']:.12g}" if "le" in bounds else ""
    words = f" from {low} to {high}" if low and high else f" of at least {low}" if low else ""
    above = f" above {bounds['gt']:g}" if "gt" in bounds else ""
    below = f" below {bounds['lt']:g}" if "lt" in bounds else ""
    words += " and".join(filter(None, (above, below)))
    return f"{what}{words} {unit}".rstrip()


def _size_words(metadata: tuple[Any, ...], unit: str) -> str:
    bounds = _bounds(metadata)
    low, high = bounds.get("min_length"), bounds.get("max_length")
    if low is not None and low == high:
        return f" of {low} {unit}"
    if low is not None and high is not None:
        return f" of {low} to {high} {unit}"
    if high is not None:
        return f" of up to {high} {unit}"
    one = {"entries": "entry", "characters": "character"}[unit]
    return f" of at least {low} {one if low == 1 else unit}" if low is not None else ""
