"""Whether words that claim something of people are true of the modelled population.

``claims.yaml`` says which words claim what. Three kinds of text are held against drawn adults: the
words of an axis value and the reasons of the rules that conclude it (by the share of feet that get
the value), notes (by the share that they reach), and sentences of foot types and reasons of needs
(by the shares of the axis values that they rest on). Labels are held to what comes of the same
feet when they are read again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydantic import Field, model_validator

from recommend.check.finding import Finding
from recommend.check.people import People
from recommend.check.wording import FILE as WORDING
from recommend.check.wording import OWN, has, wording_of_rules
from recommend.errors import Place
from recommend.extras import shipped_folder
from recommend.parameters import Kind
from recommend.reading import Id, Strict, validate
from recommend.reading.texts import Texts
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import UNDETERMINED, OfAxis
from recommend.rulebook.models import AxisThen, NoteThen
from recommend.rulebook.vocabulary import FOOT_TYPE

FILE = "claims.yaml"


class Bound(Strict):
    """The share of measured adults of whom a claim must be true: at least, or at most."""

    at_least: float | None = Field(default=None, ge=0, le=1)
    at_most: float | None = Field(default=None, ge=0, le=1)

    @model_validator(mode="after")
    def _one_of_the_two(self) -> Bound:
        if (self.at_least is None) == (self.at_most is None):
            raise ValueError("write exactly one of `at-least` and `at-most`")
        return self

    def allows(self, share: float) -> bool:
        """Whether the claim is true of a share of people."""
        if self.at_least is not None:
            return share >= self.at_least
        return share <= (self.at_most or 0.0)

    @property
    def words(self) -> str:
        """``at least 50 %``."""
        if self.at_least is not None:
            return f"at least {100 * self.at_least:.0f} %"
        return f"at most {100 * (self.at_most or 0.0):.0f} %"


class Claim(Strict):
    """Words that claim the same of people."""

    says: list[str] = Field(min_length=1)
    share: Bound
    kind: Kind
    note: str = ""


class ClaimsFile(Strict):
    """``claims.yaml``."""

    title: str
    claims: dict[Id, Claim] = Field(min_length=1)


def claims_of(book: Rulebook) -> Mapping[str, Claim]:
    """The claims of a rulebook; those that ship where it says none.

    Raises
    ------
    InputError
        If its file does not fit.
    """
    texts = book.texts if FILE in book.texts else Texts.of_folder(shipped_folder("rules"), FILE)
    return validate(ClaimsFile, texts.document(FILE)).claims


def claimed(text: str, claims: Mapping[str, Claim]) -> dict[str, Claim]:
    """What a text claims of people, by the words that claim it; the longer words count."""
    phrases = sorted(((say, one) for one in claims.values() for say in one.says),
                     key=lambda pair: -len(pair[0]))  # fmt: skip
    left, found = " ".join(text.split()).lower(), {}
    for say, claim in phrases:
        if say.lower() in left:
            found[say] = claim
            left = left.replace(say.lower(), "|")
    return found


@dataclass(frozen=True, slots=True)
class _Said:
    """A text with what it is true of: the shares of which one must bear the claim out."""

    text: str
    what: str
    place: Place
    shares: tuple[float, ...]


def claim_findings(book: Rulebook, people: People) -> Iterator[Finding]:
    """Every word that claims what the population does not bear out."""
    claims = claims_of(book)
    for said in _texts(book, people):
        for words, claim in claimed(said.text, claims).items():
            known = [share for share in said.shares if np.isfinite(share)]
            if known and not any(claim.share.allows(share) for share in known):
                nearest = max(known) if claim.share.at_least is not None else min(known)
                yield Finding(
                    "untrue-of-people", "warning", said.place,
                    f"{said.what} says `{words}`, and it is so of {100 * nearest:.0f} % of the "
                    "modelled adults who were measured",
                    claim.share.words,
                    "say what is true of them, or move the limit behind it",
                )  # fmt: skip


def _texts(book: Rulebook, people: People) -> Iterator[_Said]:
    for rule in book.rules:
        then = rule.rule.then
        if isinstance(then, AxisThen) and then.axis == FOOT_TYPE:
            kind = book.types[then.value]
            yield _Said(kind.sentence, f"the sentence of `{kind.id}`", rule.place,
                        _leaf_shares(rule, people))  # fmt: skip
        elif isinstance(then, AxisThen):
            share = (people.share_of_value(then.axis, (then.value,)),)
            value = book.axes[then.axis].values[then.value]
            yield _Said(value, f"`{then.axis}: {then.value}` in axes.yaml", rule.place, share)
            yield _Said(rule.rule.because, f"the reason of `{rule.id}`", rule.place, share)
        elif isinstance(then, NoteThen):
            share = (people.share_of_rule(rule.id),)
            for text in (then.say, rule.rule.because):
                yield _Said(text, f"`{rule.id}`", rule.place, share)
        else:
            yield _Said(rule.rule.because, f"the reason of `{rule.id}`", rule.place,
                        _leaf_shares(rule, people))  # fmt: skip


def _leaf_shares(rule: CompiledRule, people: People) -> tuple[float, ...]:
    """Shares of the axis values that a rule rests on; its own where it rests on none."""
    shares = []
    for leaf, _ in leaves(rule.rule.when, ()):
        if isinstance(leaf, OfAxis) and leaf.is_:
            values = tuple(value for value in leaf.is_ if value != UNDETERMINED)
            shares.append(people.share_of_value(leaf.axis, values))
    return tuple(shares) or (people.share_of_rule(rule.id),)


HOLDS = 2 / 3  # of redraws, below which a label is called unsteady
_FEWEST = 50  # feet that carry a label, below which nothing is said of it


def steadiness(people: People) -> Iterator[tuple[str, str, float, int]]:
    """Axis, value, share of the feet that keep it when read again, and feet that carry it."""
    again = people.builder.concluded(people.redrawn(), "left")
    before = people.feet["left"]
    for axis, definition in people.book.axes.items():
        for code, value in enumerate(definition.values):
            carry = before.axes[axis] == code
            if carry.sum() >= _FEWEST:
                kept = float((again.axes[axis][carry] == code).mean())
                yield axis, value, kept, int(carry.sum())


def unsteady_findings(people: People) -> Iterator[Finding]:
    """Labels that hold in fewer than two thirds of redraws over the feet that carry them.

    Foot types whose sentence says as much are left out.
    """
    said = wording_of_rules(people.book)
    unsure = said.languages[OWN].unsure if said and OWN in said.languages else []
    for axis, value, kept, carried in steadiness(people):
        owned = axis == FOOT_TYPE and any(
            has(people.book.types[value].sentence, words) for words in unsure
        )
        if kept < HOLDS and not owned:
            name = f"foot type `{value}`" if axis == FOOT_TYPE else f"`{axis}: {value}`"
            file = "types.yaml" if axis == FOOT_TYPE else "axes.yaml"
            yield Finding(
                "unsteady", "note", Place(str(Path(people.book.folder) / file)),
                f"{name} holds for {100 * kept:.0f} % of the {carried} modelled feet that carry "
                "it when they are read again",
                f"at least {100 * HOLDS:.0f} %",
                "ask for more readings, or for more than the error beyond the limit; or let the "
                f"sentence say so in one of the words under `unsure` of {WORDING}",
            )  # fmt: skip
