"""Everything a rulebook says, part by part, so that nothing in it can change unseen.

Every YAML file of the folder is taken apart into *leaves*: one fact each, under the kind of thing,
its id and the field. Comments, line breaks, the order of keys and of rules, and the file in which a
rule stands leave no trace; where order means something (a scale, the order of asking) it is a
leaf of its own.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NamedTuple, TypeAlias

from recommend.reading.texts import Texts

# What a leaf bears on. `words` are read by customers or fitters, marks and sources among them;
# `holds` (promises, claims, guarded words) is what holds the rest in place, and `guards` are the
# examples and the log that stand beside it.
Bearing = Literal["decides", "words", "holds", "guards"]
BEARINGS: tuple[Bearing, ...] = ("decides", "words", "holds", "guards")


class Leaf(NamedTuple):
    """Where a leaf stands: the kind of thing, its id, and the field within it."""

    thing: str
    id: str
    field: str


Contents: TypeAlias = Mapping[Leaf, str]

_STAGES = ("screen", "classify", "need")
# Files whose things stand in one mapping, or in a list by id: file: (kind of thing, key).
_THINGS = {
    "limits.yaml": ("limit", "limits"),
    "axes.yaml": ("axis", "axes"),
    "measures.yaml": ("measure", "measures"),
    "questions.yaml": ("question", "questions"),
    "purposes.yaml": ("purpose", "purposes"),
    "sources.yaml": ("source", "sources"),
    "types.yaml": ("type", "types"),
}
_FOLDERS = {
    "parameters": ("parameter", "values"),
    "translations": ("translation", ""),
    "promises": ("promise", "promises"),
    "examples": ("example", ""),
    "released": ("released", ""),
}
_OTHERS = ("rulebook", "attributes", "population", "serving", "claims", "wording", "changes")
FOLDERS = (*_STAGES, *_FOLDERS)  # of each, the YAML files directly in it are read
FILES = (*_THINGS, *(f"{name}.yaml" for name in (*_OTHERS, "survivors")))
_GUARDS = frozenset(
    {
        "example",
        "changes",
        "released",
        "titles",
        "questions",
    }
)  # fmt: skip
_HOLDS = frozenset({"promise", "claims", "survivors", "wording"})
# Fields that people read: on the screen, on the customer's page, or on the rulebook's own page.
_WORDS = frozenset(
    {
        "title", "say", "because", "sentence", "ask", "why", "short", "plain", "how", "cite",
        "says", "population", "about", "brief", "conflict", "translation", "original", "name",
        "cautions", "note", "kind", "source", "sources", "seen", "defines",
    }
)  # fmt: skip
_MEANT = frozenset({"where", "qualifiers", "beside", "then"})  # below these, such a word decides
_LISTED = frozenset({"cautions", "says"})  # sentences one after the other
# Lists whose order means nothing: words of which one suffices, parts that all hold.
_SETS = frozenset(
    {
        "is",
        "is-not",
        "sources",
        "defines",
        "all",
        "any",
        "none",
        "sum-of",
        "keeps",
        "rules",
        "wishes",
    }
)
_ORDERED = frozenset({"scale"})  # mappings whose order means something
_OF_LIMIT = re.compile(r"^values\[(.*)\]\.value$")  # said by what the value is meant for
_IDS = ("id", "name", "rule", "change", "version", "attribute", "between")


@dataclass(frozen=True, slots=True)
class Edit:
    """One difference between two rulebooks; `field` is empty of a whole thing come or gone."""

    thing: str
    id: str
    field: str
    was: str | None
    now: str | None
    bearing: Bearing

    @property
    def words(self) -> str:
        """The difference in a line."""
        what = " ".join(part for part in (self.thing, self.id) if part)
        if not self.field and self.was is None:
            return f"{what} added: {self.now}"
        if not self.field and self.now is None:
            return f"{what} removed (was {self.was})"
        named = _OF_LIMIT.sub(r"\1", self.field)
        field = f", {named}" if named not in ("", "value") else ""
        if self.was is None:
            return f"{what}{field} added: {self.now}"
        if self.now is None:
            return f"{what}{field} removed (was {self.was})"
        return f"{what}{field}: {self.was} becomes {self.now}"


def contents_of(folder: Path | str | Texts) -> dict[Leaf, str]:
    """Everything the YAML files below `folder` say, leaf by leaf.

    Raises
    ------
    InputError
        If a file is not YAML.
    """
    texts = folder if isinstance(folder, Texts) else Texts.of_folder(folder)
    names = (*texts, *texts.unread)
    return contents_of_files({name: texts.document(name).data for name in names})


def is_read(name: str) -> bool:
    """Whether a file of a rulebook, by its name within the folder, is one that something reads."""
    folder, _, file = name.rpartition("/")
    return name in FILES or (folder in FOLDERS and file.endswith(".yaml"))


def contents_of_files(files: Mapping[str, Any]) -> dict[Leaf, str]:
    """The same of files that were read already: plain data by name within the folder."""
    leaves: dict[Leaf, str] = {}
    for name, data in files.items():
        if isinstance(data, dict):
            leaves |= {path: text for path, text in _of_file(name, data) if text != ""}
    return leaves


def edits_between(old: Contents, new: Contents) -> tuple[Edit, ...]:
    """Every difference, what decides first; a thing that came or went is one of them."""
    had, has = ({path[:2] for path in one} for one in (old, new))
    found: dict[tuple[str, str, str], Edit] = {}
    for path in sorted(old.keys() | new.keys()):
        was, now = old.get(path), new.get(path)
        if was == now:
            continue
        whole = path[:2] not in had or path[:2] not in has
        edit = _whole(path, was, now, old, new) if whole else _edit(path, was, now)
        key = (edit.thing, edit.id, edit.field)
        if key not in found or BEARINGS.index(edit.bearing) < BEARINGS.index(found[key].bearing):
            found[key] = edit
    return tuple(sorted(found.values(), key=lambda one: BEARINGS.index(one.bearing)))


def _edit(path: Leaf, was: str | None, now: str | None) -> Edit:
    return Edit(path.thing, path.id, path.field, was, now, bearing_of(path))


def _whole(path: Leaf, was: str | None, now: str | None, old: Contents, new: Contents) -> Edit:
    """A thing that came or went, by its title where it has one."""
    leaves = old if was is not None else new
    title = leaves.get(Leaf(path.thing, path.id, "title"), leaves[path])
    gone, come = (title, None) if was is not None else (None, title)
    return Edit(path.thing, path.id, "", gone, come, bearing_of(path))


def bearing_of(path: Leaf) -> Bearing:
    """What a leaf bears on; whatever is not known to be words or a guard decides."""
    if path.thing in _GUARDS or (path.thing == "rulebook" and path.field in ("version", "date")):
        return "guards"
    if path.thing in _HOLDS:
        return "holds"
    if path.thing in ("source", "translation"):
        return "words"
    above, _, last = path.field.rpartition(".")
    over, last = above.rpartition(".")[2].partition("[")[0], last.partition("[")[0]
    if (path.thing, over) in (("axis", "values"), ("attribute", "scale")):
        return "words"
    if last == "say":
        return "words"
    return "words" if last in _WORDS and over not in _MEANT else "decides"


def hashes_of(contents: Contents) -> dict[Bearing, str]:
    """The beginning of a SHA-256 over all leaves of each bearing; comments are no part of it."""
    return {bearing: _hash(contents, bearing) for bearing in BEARINGS}


_FIRST = 4  # words that tell one sentence of a list from another
_SHORT = 16  # hexadecimal digits; long enough that two rulebooks never share them by chance


def _hash(contents: Contents, bearing: Bearing) -> str:
    lines = [
        [*path, text] for path, text in sorted(contents.items()) if bearing_of(path) == bearing
    ]
    return hashlib.sha256(json.dumps(lines).encode()).hexdigest()[:_SHORT]


def _of_file(name: str, data: dict[str, Any]) -> Iterator[tuple[Leaf, str]]:
    folder, _, file = name.rpartition("/")
    if "title" in data:
        yield Leaf("titles", name, "title"), _leaf(data["title"], "")
    if folder in _STAGES:
        yield from _listed("rule", data.get("rules"), {"stage": folder})
    elif name in _THINGS:
        thing, key = _THINGS[name]
        yield from _listed(thing, data.get(key), {})
        if thing == "question":
            yield Leaf("questions", "", "order"), ", ".join(data.get(key) or ())
    elif name == "attributes.yaml":
        for group in ("shoe", "insole", "pair"):
            yield from _listed("attribute", data.get(group), {}, f"{group}.")
    elif folder in _FOLDERS and not _FOLDERS[folder][1]:
        yield from _fields(_FOLDERS[folder][0], file.removesuffix(".yaml"), data, ())
    elif folder in _FOLDERS:
        thing, key = _FOLDERS[folder]
        before = f"{file.removesuffix('.yaml')}." if thing == "parameter" else ""
        yield from _listed(thing, data.get(key), {}, before)
    else:
        yield from _fields(name.removesuffix(".yaml"), "", data, ())


def _listed(
    thing: str, things: Any, more: Mapping[str, str], before: str = ""
) -> Iterator[tuple[Leaf, str]]:
    """Things of one file: in a mapping by id, or in a list each with its id."""
    pairs: Iterable[tuple[Any, Any]] = ()
    if isinstance(things, dict):
        pairs = things.items()
    elif isinstance(things, list):
        pairs = ((one.get("id", n) if isinstance(one, dict) else n, one)
                 for n, one in enumerate(things))  # fmt: skip
    for name, one in pairs:
        yield from ((Leaf(thing, f"{before}{name}", key), text) for key, text in more.items())
        yield from _fields(thing, f"{before}{name}", one, ())


def _fields(thing: str, name: str, data: Any, above: tuple[str, ...]) -> Iterator[tuple[Leaf, str]]:
    here = Leaf(thing, name, ".".join(above))
    if isinstance(data, dict) and above[-1:] != ("when",):
        if above[-1:] and above[-1] in _ORDERED:
            yield here, " < ".join(map(str, data))
        for key, part in data.items():
            yield from _fields(thing, name, part, (*above, str(key)))
    elif above and above[-1] in _LISTED and isinstance(data, list):
        for text in data:
            first = " ".join(str(text).split()[:_FIRST])
            yield Leaf(thing, name, f"{'.'.join(above)}[{first}]"), _leaf(text, "")
    elif isinstance(data, list) and any(isinstance(part, (dict, list)) for part in data):
        for key, part in zip(_keys(data), data, strict=True):
            yield from _fields(thing, name, part, (*above[:-1], f"{above[-1]}[{key}]"))
    else:
        yield here, _leaf(data, above[-1] if above else "")


def _keys(parts: list[Any]) -> list[str]:
    """What tells the parts of a list apart: an id, the qualifiers meant, else the place."""
    names = []
    for part in parts:
        part = part if isinstance(part, dict) else {}
        own = next((str(part[key]) for key in _IDS if key in part), "")
        where = part.get("where")
        words = [str(word) for _, word in sorted(where.items())] if isinstance(where, dict) else []
        names.append(
            " ".join([own, *words, *([part["system"]] if "system" in part else [])]).strip()
        )
    seen: dict[str, int] = {}
    alike = sorted(range(len(parts)), key=lambda n: _leaf(parts[n], ""))  # not as they stand
    for n in alike:
        name = names[n]
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1:
            names[n] = f"{name} {seen[name]}".strip()
    return names if len(parts) > 1 or names[0] else [""]


def _leaf(data: Any, key: str) -> str:
    """Plain data as text, alike for all ways of writing it."""
    if isinstance(data, bool):
        return "true" if data else "false"
    if isinstance(data, (int, float)):
        return f"{data:.12g}"
    if isinstance(data, str):
        return " ".join(data.split())
    if isinstance(data, list):
        parts = [_part(part) for part in data]
        return ", ".join(sorted(parts) if key in _SETS else parts)
    if isinstance(data, dict):
        parts = [f"{name}: {_leaf(part, str(name))}" for name, part in sorted(data.items())]
        return "{" + ", ".join(parts) + "}"
    return ""


def _part(data: Any) -> str:
    """One of a list; a text with commas in it is no list of several."""
    text = _leaf(data, "")
    return f'"{text}"' if isinstance(data, str) and "," in text else text
