"""A new rule to start from, with an example that makes it fire: both valid as they are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from recommend.atomic import write_atomically
from recommend.check.example_tables import HOLDS, LEFT_OUT
from recommend.errors import InputError, Place
from recommend.reading import Id
from recommend.rulebook.book import Rulebook
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import OfMeasure

Stage = Literal["screen", "need"]
_ANOTHER = "name another id"

_THEN = {
    "screen": '    then: {{note: caution, say: "What the fitter should say here."}}\n',
    "need": "    then:\n      needs:\n"
    "        - {{attribute: {attribute}, is: at-least, level: {level}, strength: prefer, "
    "weight: slight}}\n",
}


@dataclass(frozen=True, slots=True)
class Scaffold:
    """Two new files and their texts."""

    rule_file: Path
    rule_text: str
    example_file: Path
    example_text: str

    def write(self) -> None:
        """Write both files.

        Raises
        ------
        InputError
            If one of them is there already.
        """
        for file in (self.rule_file, self.example_file):
            if file.exists():
                raise InputError(
                    Place(str(file)), "the file is there already", mend="name another id"
                )
        for file, text in (
            (self.rule_file, self.rule_text),
            (self.example_file, self.example_text),
        ):
            write_atomically(file, text)


def scaffold(book: Rulebook, stage: Stage, rule_id: str) -> Scaffold:
    """A rule called `rule_id` that fires on the first limit that others use, and its example.

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
    if rule_id in book.by_id:
        raise InputError(
            book.by_id[rule_id].place,
            f"a rule is called `{rule_id}` already",
            mend="name another id",
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
        "    title: What this rule is, in one line\n"
        "    # A comparison, or `all`, `any` or `none` of a list of comparisons.\n"
        f"    when: {{measure: {leaf.measure}, is: above, limit: {leaf.limit}}}\n"
        f"{then}"
        "    because: a reason that the customer understands\n"
        "    # published or derived (name `sources`), common-practice, from-memory or assumption\n"
        "    basis: {kind: assumption, note: say what it stands on}\n"
    )
