"""A new rule to start from, with an example that makes it fire: both valid as they are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from recommend.atomic import write_atomically
from recommend.check.example_tables import HOLDS, LEFT_OUT
from recommend.errors import InputError, Place
from recommend.reading import Id, read_document
from recommend.rulebook.book import Rulebook, Stage
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import OfMeasure

_BEYOND, _WITHIN = "beyond", "within"  # values of an axis that was just begun
_ANOTHER = "name another id"

# What a rule that was just begun says; `check` tells where it still does.
SAY, TITLE = "What the fitter should say here.", "What this rule is, in one line"
BECAUSE, NOTE = "a reason that the customer understands", "say what it stands on"
UNFINISHED = frozenset({SAY, TITLE, BECAUSE, NOTE})

_THEN = {
    "screen": '    then: {{note: caution, say: "' + SAY + '"}}\n',
    "need": "    then:\n      needs:\n"
    "        - {{attribute: {attribute}, is: at-least, level: {level}, strength: prefer, "
    "weight: slight}}\n",
}


@dataclass(frozen=True, slots=True)
class Scaffold:
    """Two new files and their texts; of `classify` also axes.yaml, with an axis more."""

    rule_file: Path
    rule_text: str
    example_file: Path
    example_text: str
    axes_file: Path | None = None
    axes_text: str = ""

    def write(self) -> None:
        """Write the files.

        Raises
        ------
        InputError
            If one of the new ones is there already.
        """
        for file in (self.rule_file, self.example_file):
            if file.exists():
                raise InputError(Place(str(file)), "the file is there already", mend=_ANOTHER)
        for file, text in (
            (self.rule_file, self.rule_text),
            (self.example_file, self.example_text),
        ):
            write_atomically(file, text)
        if self.axes_file is not None:
            write_atomically(self.axes_file, self.axes_text)


def scaffold(book: Rulebook, stage: Stage, rule_id: str) -> Scaffold:
    """A rule called `rule_id` that fires on the first limit that others use, and its example.

    Of `classify` it is an axis of that name with two rules, beyond the limit and within it.

    Raises
    ------
    InputError
        If a rule is called so already, or the id is not words joined by hyphens.
    """
    try:
        TypeAdapter(Id).validate_python(rule_id)
    except ValidationError:
        raise InputError(
            Place(book.folder),
            f"`{rule_id}` is no id",
            "small words joined by hyphens",
        ) from None
    if stage == "classify":
        return _axis(book, rule_id)
    if rule_id in book.by_id:
        raise InputError(
            book.by_id[rule_id].place,
            f"a rule is called `{rule_id}` already",
            mend=_ANOTHER,
        )
    leaf = _first_above(book)
    limit = book.limits[str(leaf.limit)].values[0]
    step = 10.0 ** -book.measures[leaf.measure].decimals
    beyond = round(limit.value + step, 4)
    where = ", ".join(f"{q}: {w}" for q, w in limit.where.items())
    holds = "caution" if stage == "screen" else HOLDS
    folder = Path(book.folder)
    return Scaffold(
        rule_file=folder / stage / f"{rule_id}.yaml",
        rule_text=_rule_text(book, stage, rule_id, leaf),
        example_file=folder / "examples" / f"{rule_id}.yaml",
        example_text=f"title: Examples of {rule_id}\ntables:\n"
        f"  - title: {rule_id}, just beyond its limit and at it\n"
        f"    given: [{leaf.measure}]\n"
        f"    expect: [{rule_id}]\n"
        "    rows:\n"
        f"      - [{_reading(beyond, where)}, {holds}]\n"
        f"      - [{_reading(limit.value, where)}, {LEFT_OUT}]\n",
    )


def _axis(book: Rulebook, name: str) -> Scaffold:
    """A new axis, its two rules, and an example of each."""
    folder = Path(book.folder)
    axes = folder / "axes.yaml"
    if name in book.axes:
        place = read_document(axes).place(("axes", name), key=True)
        raise InputError(place, f"an axis is called `{name}` already", mend=_ANOTHER)
    leaf = _first_above(book)
    limit = book.limits[str(leaf.limit)].values[0]
    step = 10.0 ** -book.measures[leaf.measure].decimals
    where = ", ".join(f"{q}: {w}" for q, w in limit.where.items())
    readings = {_BEYOND: round(limit.value + step, 4), _WITHIN: limit.value}
    ways = {_BEYOND: "above", _WITHIN: "at-most"}
    rules = "".join(
        f"  - id: {name}-{value}\n    title: {TITLE}\n"
        f"    when: {{measure: {leaf.measure}, is: {way}, limit: {leaf.limit}}}\n"
        f"    then: {{axis: {name}, value: {value}}}\n"
        f"    because: {BECAUSE}\n"
        f"    basis: {{kind: assumption, note: {NOTE}}}\n"
        for value, way in ways.items()
    )
    examples = "".join(
        f'  - name: "{name}, {value}"\n'
        f"    given: {{{leaf.measure}: {_reading(reading, where)}}}\n"
        f"    expect: {{axes: {{{name}: {value}}}}}\n"
        for value, reading in readings.items()
    )
    added = f"  {name}:\n    title: {TITLE}\n    values:\n" + "".join(
        f"      {value}: {value}\n" for value in readings
    )
    return Scaffold(
        rule_file=folder / "classify" / f"{name}.yaml",
        rule_text=f"title: {name}\nrules:\n{rules}",
        example_file=folder / "examples" / f"{name}.yaml",
        example_text=f"title: Examples of {name}\nexamples:\n{examples}",
        axes_file=axes,
        axes_text=_with_axis(axes, added),
    )


def _with_axis(file: Path, added: str) -> str:
    """The text of axes.yaml with an axis more, all else as it stands."""
    text = file.read_text(encoding="utf-8").rstrip() + "\n"
    lines = text.splitlines(keepends=True)
    start = next(n for n, line in enumerate(lines) if line.startswith("axes:"))
    after = (n for n in range(start + 1, len(lines)) if lines[n][:1] not in (" ", "#", "\n"))
    end = next(after, len(lines))
    return "".join([*lines[:end], added, *lines[end:]])


def _reading(value: float, where: str) -> str:
    return f"{{value: {value:g}, where: {{{where}}}}}" if where else f"{value:g}"


def _first_above(book: Rulebook) -> OfMeasure:
    for rule in book.rules:
        for leaf, _ in leaves(rule.rule.when, ()):
            if isinstance(leaf, OfMeasure) and leaf.is_ == ["above"]:
                return leaf
    raise InputError(Place(book.folder), "no rule compares a measure with `above` to start from")


def _rule_text(book: Rulebook, stage: Stage, rule_id: str, leaf: OfMeasure) -> str:
    attribute, definition = next((n, a) for n, a in book.attributes.items() if a.scale)
    level = list(definition.scale)[-1]
    then = _THEN[stage].format(attribute=attribute, level=level)
    return (
        f"title: {rule_id}\nrules:\n"
        f"  - id: {rule_id}\n"
        f"    title: {TITLE}\n"
        "    # A comparison, or `all`, `any` or `none` of a list of comparisons.\n"
        f"    when: {{measure: {leaf.measure}, is: above, limit: {leaf.limit}}}\n"
        f"{then}"
        f"    because: {BECAUSE}\n"
        "    # published or derived (name `sources`), common-practice, from-memory or assumption\n"
        f"    basis: {{kind: assumption, note: {NOTE}}}\n"
    )
