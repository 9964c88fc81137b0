"""Nothing in a rulebook changes unseen, and what means nothing is not told."""

import copy
import random
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from recommend.extras import shipped_folder
from recommend.reading import read_document
from recommend.rulebook.contents import bearing_of, contents_of, contents_of_files, edits_between
from tests.check.conftest import Changed

RULES = shipped_folder("rules")
FILES = {p.relative_to(RULES).as_posix(): read_document(p).data for p in RULES.rglob("*.yaml")}
ORDERED = ("scale", "questions", "rows", "given", "expect")  # order means something here
Steps = tuple[str | int, ...]


def leaves(data: Any, above: Steps = ()) -> Iterator[tuple[Steps, Any]]:
    """Every single value of a file, with the way to it."""
    if isinstance(data, dict):
        for key, part in data.items():
            yield from leaves(part, (*above, key))
    elif isinstance(data, list):
        for n, part in enumerate(data):
            yield from leaves(part, (*above, n))
    else:
        yield above, data


def kind_of(name: str, steps: Steps) -> tuple[str, ...]:
    """What kind of value it is: its file's folder or name, and the way to it without ids."""
    folder = name.rpartition("/")[0] or name
    keep = {str(s) for s in steps[-2:] if not isinstance(s, int)}
    return (folder, str(len(steps)), *sorted(keep if len(steps) > 2 else map(str, steps[:1])))


def one_of_each() -> list[tuple[str, Steps]]:
    """One value of every kind in every kind of file."""
    found: dict[tuple[str, ...], tuple[str, Steps]] = {}
    for name, data in sorted(FILES.items()):
        for steps, _ in leaves(data):
            found.setdefault(kind_of(name, steps), (name, steps))
    return list(found.values())


def changed_data(name: str, steps: Steps, how: str) -> dict[str, Any]:
    """The file, with one value changed or taken out."""
    data = copy.deepcopy(FILES[name])
    part = data
    for step in steps[:-1]:
        part = part[step]
    was = part[steps[-1]]
    if how == "removed":
        del part[steps[-1]]
    elif isinstance(was, bool):
        part[steps[-1]] = not was
    elif isinstance(was, (int, float)):
        part[steps[-1]] = was + 1
    else:
        part[steps[-1]] = f"{was} other"
    return {name: data}


@pytest.mark.parametrize("how", ["changed", "removed"])
def test_every_kind_of_value_of_every_kind_of_file_is_told(how: str) -> None:
    """Changed or taken out, each gives an edit, whatever it is and wherever it stands."""
    before = {name: contents_of_files({name: data}) for name, data in FILES.items()}
    places = one_of_each()
    assert len(places) > 200
    unseen = [
        (name, steps)
        for name, steps in places
        if not edits_between(before[name], contents_of_files(changed_data(name, steps, how)))
    ]
    assert unseen == []


@pytest.mark.parametrize("name", FILES)
def test_a_whole_file_come_or_gone_is_told(name: str) -> None:
    """Also one of a kind that nobody thought of."""
    one = contents_of_files({name: FILES[name]})
    assert edits_between({}, one)
    assert edits_between(one, {})


def test_a_file_of_a_new_kind_is_told() -> None:
    """What a later version adds to a rulebook decides, until it is known to be words."""
    edits = edits_between({}, contents_of_files({"later.yaml": {"added": {"some": 1}}}))
    assert [(e.thing, e.now, e.bearing) for e in edits] == [("later", "1", "decides")]


UNORDERED = ("rules", "types", "is", "sources", "all", "any", "promises", "needs", "values", "norm")


def shuffled(data: Any, rng: random.Random, key: str = "") -> Any:
    """The same with mappings, rules and sets of words in another order."""
    if isinstance(data, dict):
        names = list(data)
        if key not in ORDERED:
            rng.shuffle(names)
        return {name: shuffled(data[name], rng, str(name)) for name in names}
    if isinstance(data, list):
        parts = [shuffled(part, rng, key if key in ORDERED else "") for part in data]
        if key in UNORDERED and not (key == "values" and isinstance(parts[0], str)):
            rng.shuffle(parts)
        return parts
    return data


def test_words_with_a_comma_are_not_two_words() -> None:
    """A list of two words is another list than one of both in one text."""
    one, two = ({"wording.yaml": {"never": words}} for words in (["a, b"], ["a", "b"]))
    assert edits_between(contents_of_files(one), contents_of_files(two))


@pytest.mark.parametrize("seed", range(3))
def test_another_order_is_not_told(seed: int) -> None:
    """Order of keys, of rules, types, needs and values, of words of which one suffices."""
    rng = random.Random(seed)
    after = {name: shuffled(data, rng) for name, data in FILES.items()}
    assert edits_between(contents_of_files(FILES), contents_of_files(after)) == ()


HARMLESS = {
    "a comment above": lambda text: "# A comment.\n" + text,
    "a comment below": lambda text: text.rstrip("\n") + "\n# A comment.\n",
    "comments at line ends": lambda text: re.sub(r"(?m)^(title: .*)$", r"\1  # so", text, count=1),
    "empty lines": lambda text: re.sub(r"(?m)^(  - id)", r"\n\1", text),
    "carriage returns": lambda text: text.replace("\n", "\r\n"),
    "no line at the end": lambda text: text.rstrip("\n"),
    "comments taken out": lambda text: re.sub(r"(?m)^#.*\n", "", text),
}


@pytest.mark.parametrize("how", HARMLESS)
def test_comments_and_line_breaks_are_not_told(changed: Changed, how: str) -> None:
    """Made in every file of the folder at once."""
    folder = changed()
    for file in folder.rglob("*.yaml"):
        file.write_bytes(HARMLESS[how](file.read_text("utf-8")).encode())
    assert edits_between(contents_of(RULES), contents_of(folder)) == ()


def test_a_text_broken_elsewhere_is_the_same_text(changed: Changed) -> None:
    """Folded over two lines, or quoted, a caution is what it was."""
    folder = changed(
        ("rulebook.yaml", "new, grows or stays after two weeks, or if there\n    is",
         "new, grows or\n    stays after two weeks, or if there is"),
        ("types.yaml", "title: upright foot, usual motion",
         "title: 'upright foot, usual motion'"),
    )  # fmt: skip
    assert edits_between(contents_of(RULES), contents_of(folder)) == ()


def test_a_rule_moved_to_another_file_is_the_same_rule(changed: Changed) -> None:
    """Of its stage; only the title of the new file is told, and that is no reason to stop."""
    folder = changed()
    care = (folder / "need/care.yaml").read_text("utf-8")
    (folder / "need/care.yaml").unlink()
    (folder / "need/moved.yaml").write_text(care)
    edits = edits_between(contents_of(RULES), contents_of(folder))
    assert {edit.thing for edit in edits} == {"titles"}
    assert {edit.bearing for edit in edits} == {"guards"}


@pytest.mark.parametrize(
    ("thing", "field", "bearing"),
    [
        ("rule", "then.note", "decides"),
        ("rule", "then.say", "words"),
        ("rule", "when", "decides"),
        ("rule", "basis.kind", "words"),
        ("measure", "qualifiers.kind", "decides"),
        ("measure", "error.single", "decides"),
        ("attribute", "scale", "decides"),
        ("attribute", "gentler", "decides"),
        ("question", "ask", "words"),
        ("parameter", "value", "decides"),
        ("limit", "values[running].where.gait", "decides"),
        ("source", "cite", "words"),
        ("translation", "rules.x.say.translation", "words"),
    ],
)
def test_what_a_value_bears_on(thing: str, field: str, bearing: str) -> None:
    """What decides is told apart from what is read; what is not known is taken to decide."""
    from recommend.rulebook.contents import Leaf

    assert bearing_of(Leaf(thing, "any", field)) == bearing


def test_a_scale_turned_round_is_told_as_deciding(changed: Changed) -> None:
    """The words are the same and stand in another order; that decides what is more and less."""
    folder = changed(
        ("attributes.yaml", "      none: leaves the foot alone\n      mild: holds a little\n",
         "      mild: holds a little\n      none: leaves the foot alone\n"),
    )  # fmt: skip
    edits = edits_between(contents_of(RULES), contents_of(folder))
    assert [(e.thing, e.field, e.bearing) for e in edits] == [("attribute", "scale", "decides")]


def test_folder_is_read_as_its_files_are() -> None:
    """Reading from disk and from what was read give the same."""
    assert contents_of(Path(RULES)) == contents_of_files(FILES)
