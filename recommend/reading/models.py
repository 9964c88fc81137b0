"""From plain data to checked models, with errors that name file, line and column."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from recommend.errors import InputError, nearest
from recommend.reading.document import Document, Loc

# A name that rules may use; its plain letters and hyphens mean the same to every engine.
Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]


def kebab(name: str) -> str:
    """The spelling of a field in a file: words joined by hyphens."""
    return name.replace("_", "-")


class Strict(BaseModel):
    """Base of every model read from a file: frozen, no unknown keys, keys with hyphens."""

    model_config = ConfigDict(
        alias_generator=kebab,
        allow_inf_nan=False,
        defer_build=True,  # a nested model is built as part of the one that is read
        extra="forbid",
        frozen=True,
        populate_by_name=True,
        str_strip_whitespace=True,
    )


Model = TypeVar("Model", bound=BaseModel)


def validate(model: type[Model], document: Document, loc: Loc = ()) -> Model:
    """Check the part of `document` at `loc` against `model`.

    Raises
    ------
    InputError
        For the first thing that does not fit, with its place and the nearest known spelling.
    """
    checked, problems = problems_in(model, document, loc)
    if checked is None:
        raise problems[0]
    return checked


def problems_in(
    model: type[Model], document: Document, loc: Loc = ()
) -> tuple[Model | None, list[InputError]]:
    """The checked model, or everything that does not fit, each with its place."""
    data = document.data
    for step in loc:
        data = data[step]
    try:
        return model.model_validate(data), []
    except ValidationError as error:
        worth = _worth_saying(error.errors(), document, loc)
        return None, [_as_input_error(one, document, loc, model) for one in worth]


def _worth_saying(errors: list[ErrorDetails], document: Document, base: Loc) -> list[ErrorDetails]:
    """Unknown keys first, one thing about each place, and of alternatives only the nearest."""
    branches: dict[Loc, dict[Any, list[ErrorDetails]]] = {}
    for error in errors:
        at = _alternative(error["loc"], _file_loc(error, document, base))
        before, branch = ((), None) if at is None else (error["loc"][:at], error["loc"][at])
        branches.setdefault(before, {}).setdefault(branch, []).append(error)
    near = [e for b in branches.values() for e in _nearest_branch(b)]
    # An unknown key explains a missing one beside it, so it is said and the other is not.
    near.sort(key=lambda e: e["type"] != "extra_forbidden")
    unknown_in = {e["loc"][:-1] for e in near if e["type"] == "extra_forbidden"}
    said: dict[Loc, ErrorDetails] = {}
    for error in near:
        if error["type"] != "missing" or error["loc"][:-1] not in unknown_in:
            said.setdefault(error["loc"], error)
    return list(said.values())


def _alternative(loc: Loc, kept: Loc) -> int | None:
    """Where in `loc` the name of an alternative stands, which is no key of the file."""
    for index, part in enumerate(loc[:-1]):
        if kept[index : index + 1] != (part,):
            return index
    return None


def _nearest_branch(branches: dict[Any, list[ErrorDetails]]) -> list[ErrorDetails]:
    """Errors outside alternatives, and those of the alternative with the fewest of them."""
    plain = branches.pop(None, [])
    return plain + (min(branches.values(), key=len) if branches else [])


def _as_input_error(
    first: ErrorDetails, document: Document, base: Loc, model: type[BaseModel]
) -> InputError:
    loc = (*base, *_file_loc(first, document, base))
    name = _dotted(loc) or "the file"
    if first["loc"][-1:] == ("[key]",):
        return InputError(
            document.place(loc, key=True), f"the key `{name}` stands here", _allowed(first)
        )
    if first["type"] == "extra_forbidden":
        return _unknown_key(first, document, loc, model)
    if first["type"] == "missing":
        return InputError(document.place(loc), f"`{name}` is missing", mend=f"add `{loc[-1]}` here")
    return InputError(document.place(loc), f"`{name}` is {_shown(first)}", _allowed(first))


def _unknown_key(
    error: ErrorDetails, document: Document, loc: Loc, model: type[BaseModel]
) -> InputError:
    known = _fields_at(model, error["loc"][:-1])
    hint = nearest(str(loc[-1]), known)
    return InputError(
        document.place(loc, key=True),
        f"`{_dotted(loc)}` is not a known key",
        ", ".join(sorted(known)) if known else "",
        hint or "remove it or correct its spelling",
    )


def _file_loc(error: ErrorDetails, document: Document, base: Loc) -> Loc:
    """Drop the parts of a pydantic location that name a union branch, not a key of the file."""
    loc, error_type = error["loc"], error["type"]
    kept: list[str | int] = []
    for part in loc:
        candidate = (*base, *kept, part)
        if candidate in document.places or candidate in document.key_places:
            kept.append(part)
    named = [part for part in loc if isinstance(part, str)]
    if named and (not kept or (error_type == "missing" and kept[-1] != loc[-1])):
        kept.append(named[-1])
    return tuple(kept)


def _fields_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> set[str]:
    """Keys that the model nested at `loc` would accept; empty when it cannot be told."""
    current: Any = model
    for part in loc:
        candidates = _models_in(current)
        step = None
        for candidate in candidates:
            for name, field in candidate.model_fields.items():
                if part in (name, field.alias):
                    step = field.annotation
            if part == candidate.__name__:
                step = candidate
        if step is not None:
            current = step
    return {f.alias or n for m in _models_in(current) for n, f in m.model_fields.items()}


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    found: list[type[BaseModel]] = []
    for part in getattr(annotation, "__args__", ()):
        found += _models_in(part)
    return found


def _dotted(loc: Loc) -> str:
    text = ""
    for part in loc:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _shown(error: ErrorDetails) -> str:
    value = error["input"]
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "empty"
    text = str(value)
    return f"`{text[:40]}{'...' if len(text) > 40 else ''}`"


def _allowed(error: ErrorDetails) -> str:
    message = error["msg"]
    for prefix in ("Value error, ", "Input should be ", "Assertion failed, "):
        message = message.removeprefix(prefix)
    return message
