"""Judging shoes, insoles and pairs of both, need by need: arrays for many, objects to be read.

`Judged` is the one place where a product is held against a need. What is read of one product
(`NeedVerdict`, `Judgement`) is a view onto its arrays.

"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recommend.catalogue.loading import Item
from recommend.dataclass import dataclass
from recommend.match.needs import Bools, Floats, Need, PairNeeds, in_steps
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import COMPARISONS

# What decides whether one goes into the other, whether or not a rule asks for it.
FITTED = frozenset(
    {"shoe.removable-liner", "insole.thickness"}
    | {f"{kind}.{what}" for kind in ("shoe", "insole") for what in ("volume", "heel-width")}
)

# Levels that decide whether they fit: shoes alike in these take the same insoles.
SHOE_READS = ("shoe.removable-liner", "shoe.volume", "shoe.heel-width")
INSOLE_READS = ("insole.thickness", "insole.volume", "insole.heel-width")


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether an insole fits a shoe; `against` says why not, `unsure` what was not stated."""

    against: tuple[str, ...]
    unsure: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing that is known speaks against it."""
        return not self.against


def fit(shoe: Item, insole: Item, parameters: Parameters) -> Fit:
    """Whether `insole` goes into `shoe`, by what their makers state.

    Heel widths are both stated for the same size and grow alike with length, so they are
    compared as stated.
    """
    if insole.offered == "none":
        return Fit((), ())
    against: list[str] = []
    unsure: list[str] = []
    liner = shoe.levels.get("shoe.removable-liner")
    thickness = insole.levels.get("insole.thickness")
    if liner is None:
        unsure.append("whether the liner comes out is not stated")
    elif liner == 0 and (thickness is None or thickness > parameters.sizing.thick_insole):
        against.append("the liner does not come out")
    _compare(
        shoe.levels.get("shoe.volume"), insole.levels.get("insole.volume"), 0.0,
        "the insole takes more room than the shoe has", "room inside", against, unsure,
    )  # fmt: skip
    _compare(
        shoe.levels.get("shoe.heel-width"), insole.levels.get("insole.heel-width"),
        parameters.sizing.heel_width_slack,
        "the insole is wider at the heel than the shoe", "width at the heel", against, unsure,
    )  # fmt: skip
    return Fit(tuple(against), tuple(unsure))


def _compare(
    room: float | None,
    taken: float | None,
    slack: float,
    says: str,
    what: str,
    against: list[str],
    unsure: list[str],
) -> None:
    if room is None or taken is None:
        unsure.append(f"{what} is not stated")
    elif taken > room + slack:
        against.append(says)


Parts = tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class NeedVerdict:
    """How one product (or pair) stands to one need.

    Attributes
    ----------
    need : the need.
    level : the product's level, or None when it is not stated.
    shortfall : how far it is from meeting the need, in the attribute's unit or steps; None
        when the level is not stated.
    satisfaction : 0 to 1; 1 when met, falling to 0 at the attribute's tolerance.
    broken : whether this alone rules the product out: an unmet must or a never that holds.
    """

    need: Need
    level: float | None
    shortfall: float | None
    satisfaction: float
    broken: bool


@dataclass(frozen=True, slots=True)
class Judgement:
    """All verdicts of one product or pair.

    `weight` and `gained` are the sums of weights asked and satisfied; `suitable` is whether
    every must is met and no never is broken.
    """

    verdicts: tuple[NeedVerdict, ...]
    weight: float
    gained: float
    suitable: bool

    @property
    def score(self) -> float | None:
        """Weighted mean of satisfaction, of 100; None when nothing that counts was asked."""
        return 100 * self.gained / self.weight if self.weight else None


def joined(*judgements: Judgement) -> Judgement:
    """One judgement of several that share no verdict."""
    return Judgement(
        tuple(verdict for one in judgements for verdict in one.verdicts),
        sum(one.weight for one in judgements),
        sum(one.gained for one in judgements),
        all(one.suitable for one in judgements),
    )


class Judged:
    """How m products stand to n needs, whoever asks for them.

    Parameters
    ----------
    book : the rulebook, which says what attributes are.
    needs : n needs.
    products : m shoes, insoles, or shoes with an insole.

    Attributes
    ----------
    level : (m, n) level of the attribute of each need, NaN where it is not stated.
    short : (m, n) how far the product is from meeting it, in the attribute's unit; NaN likewise.
    satisfaction : (m, n) from 0 to 1.
    broken : (m, n) whether it rules the product out where it is binding. What is not stated
        cannot be shown to be safe, so it rules out as well.
    concerns : (m, n) whether the need speaks of the product: of its kind, or of the pair.
    """

    def __init__(self, book: Rulebook, needs: Sequence[Need], products: Sequence[Parts]) -> None:
        stated = [levels_of(parts, book) for parts in products]
        kinds = [{"pair", *(part.product.kind for part in parts)} for parts in products]
        of = {k: [k in kind for kind in kinds] for k in ("shoe", "insole", "pair")}
        named = {need.attribute for need in needs}
        levels = {a: [one.get(a, np.nan) for one in stated] for a in named}
        shape = (len(needs), len(products))
        concerns = [of[need.attribute.partition(".")[0]] for need in needs]
        self.concerns = np.array(concerns, np.bool_).reshape(shape).T
        self.level = np.array([levels[need.attribute] for need in needs], float).reshape(shape).T
        self.short, self.satisfaction, self.broken = _held_against(needs, self.level, book)
        # Nothing cannot break what it has not: no insole is not made for children, nor for adults.
        nothing = np.array([all(p.offered == "none" for p in parts) for parts in products], bool)
        unstated = np.isnan(self.level) & nothing[:, None]
        # What they own is for whatever they use it for, where nobody said otherwise.
        own = np.array([any(p.offered == "own" for p in parts) for parts in products], bool)
        unstated |= np.isnan(self.level) & own[:, None] & _for_another(book, needs)
        self.broken &= ~unstated
        self.concerns &= ~unstated

    def judgement(self, row: int, needs: PairNeeds, only: str | None = None) -> Judgement:
        """The verdicts of one product on the needs of a pair of feet; `only` on those of a kind."""
        verdicts = tuple(
            self._verdict(row, n, need)
            for n, need in zip(needs.columns, needs.needs, strict=True)
            if self.concerns[row, n] and (only is None or need.attribute.startswith(f"{only}."))
        )
        return Judgement(
            verdicts,
            sum(one.need.weight for one in verdicts),
            sum(one.need.weight * one.satisfaction for one in verdicts),
            not any(one.broken for one in verdicts),
        )

    def _verdict(self, row: int, n: int, need: Need) -> NeedVerdict:
        level, short = float(self.level[row, n]), float(self.short[row, n])
        stated = not np.isnan(level)
        return NeedVerdict(
            need,
            level if stated else None,
            short if stated else None,
            float(self.satisfaction[row, n]),
            need.strength != "prefer" and bool(self.broken[row, n]),
        )


def _for_another(book: Rulebook, needs: Sequence[Need]) -> Bools:
    """Needs that forbid what is made for another use, shape (n,)."""
    use = [book.attributes[one.attribute].about == "use" for one in needs]
    return np.array(use, np.bool_) & np.array([one.strength == "never" for one in needs], np.bool_)


def _held_against(
    needs: Sequence[Need], levels: Floats, book: Rulebook
) -> tuple[Floats, Floats, Bools]:
    """Shortfall, satisfaction and whether each need is broken, of products at `levels`, (m, n)."""
    missing, met = np.isnan(levels), np.zeros(levels.shape, np.bool_)
    targets = np.array([need.target for need in needs], float)
    for word, compared in COMPARISONS.items():
        some = np.array([need.comparison == word for need in needs], np.bool_)
        met[:, some] = compared.holds(levels[:, some], targets[some])
    never = np.array([need.strength == "never" for need in needs], np.bool_)
    tolerances = np.array([book.attributes[need.attribute].tolerance for need in needs], float)
    short = np.where(met | never, 0.0, np.abs(levels - targets))
    near = in_steps(np.maximum(0.0, 1 - short / tolerances), book)
    wished = np.where(missing, 0.0, np.where(met, 1.0, near))
    refused = np.where(met | missing, 0.0, 1.0)
    return (
        np.where(missing, np.nan, short),
        np.where(never, refused, wished),
        np.where(never, met | missing, ~met | missing),
    )


def judge(parts: Parts, needs: PairNeeds, book: Rulebook) -> Judgement:
    """Judge a shoe, an insole, or a shoe with an insole.

    Only needs that speak of these parts are judged; a need of the pair is judged on what is
    there (a shoe alone has no insole wedge to add).
    """
    numbered = PairNeeds(needs.needs, needs.conflicts, tuple(range(len(needs.needs))))
    return Judged(book, needs.needs, [parts]).judgement(0, numbered)


def levels_of(parts: Parts, book: Rulebook) -> dict[str, float]:
    """Levels of the attributes of the parts, and of those that are sums over them."""
    own = {name: level for part in parts for name, level in part.levels.items()}
    return own | pair_levels(parts, book)


def pair_levels(parts: Parts, book: Rulebook) -> dict[str, float]:
    """Levels of the attributes that are sums over the parts; absent when a part is not stated."""
    levels: dict[str, float] = {}
    for name, sums in book.sums.items():
        found = [
            part.levels.get(one)
            for part in parts
            for one in sums
            if one.partition(".")[0] == part.product.kind
        ]
        known = [level for level in found if level is not None]
        if found and len(known) == len(found):
            levels[name] = sum(known)
    return levels
