"""The steps of a first fitting, in the order in which a fitting goes.

The six items of the Foot Posture Index and their order: Redmond, Crosbie and Ouvrier 2006,
Clin Biomech 21:89-98. The reminders are our own words.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from recommend.visit.answers import Choice, Pains, PostureItem, Readings, Size, Text, TypedNumber
from recommend.visit.entry_steps import SCREENING, Asked, EntryStep, for_each_foot
from recommend.visit.tree import SIDES, Angles, Both, Path, Tree, get

POSTURE = "Standing posture"
_FOOT: Path = ("feet", Both())


class Keyed(Protocol):
    """A word of a rulebook that a key stands for."""

    @property
    def key(self) -> str:
        """The key."""


class Taken(Protocol):
    """A measure of a rulebook, as far as the entry asks for it by itself (`typed`)."""

    @property
    def title(self) -> str:
        """What it is called."""

    @property
    def unit(self) -> str:
        """What its numbers are in."""

    @property
    def how(self) -> str:
        """How it is taken."""

    @property
    def lowest(self) -> float:
        """The smallest number that can be written down."""

    @property
    def highest(self) -> float:
        """The largest."""

    @property
    def typed(self) -> bool:
        """Whether it is asked for; of the others this entry has steps of its own."""

    @property
    def follows_from(self) -> Collection[str]:
        """The measures that it is reckoned from."""


YES_NO = Choice({"y": "yes", "n": "no"})
AGE = Choice({"c": "child", "t": "teen", "a": "adult", "o": "older"})
GAIT = Choice({"w": "walking", "r": "running"})
ZERO = Choice({"v": "vertical", "r": "relaxed-standing", "s": "subtalar-neutral"})
STANDING_ZERO = Choice({key: zero for key, zero in ZERO.by_key.items() if key != "r"})  # 0 there
SOCKS = Choice({"t": "thin", "u": "usual", "k": "thick"})
PRINT = Choice({"i": "ink", "p": "pressure-sensor", "w": "pressure-weighted"})
LOAD = Choice({"s": "static", "d": "dynamic"})
PATTERN = Choice({"c": "central", "l": "lateral", "e": "medial-early", "m": "medial-late"})

# id, name, what -2, 0 and +2 look like.
FPI_ITEMS = (
    (
        "talar-head", "Talar head, felt on both sides of the ankle in front",
        "felt on the outer side only", "felt alike on both sides", "felt on the inner side only",
    ),
    (
        "malleolar-curves", "Curves above and below the outer ankle bone",
        "lower curve flat or bulging out", "both curves alike", "lower curve far deeper",
    ),
    (
        "calcaneus", "Calcaneus, from behind",
        "heel rolled out, 5 degrees or more", "heel upright", "heel rolled in, 5 degrees or more",
    ),
    (
        "talonavicular-bulge", "Inner side over the talonavicular joint",
        "clearly hollow", "flat", "bulges clearly",
    ),
    (
        "medial-arch", "Medial longitudinal arch: height and shape",
        "high, steep towards the heel", "even curve, usual height", "low, middle on the floor",
    ),
    (
        "forefoot-abduction", "Forefoot on rearfoot, from behind: which toes show",
        "only inner toes show", "inner and outer alike", "only outer toes show",
    ),
)  # fmt: skip

# id, name, keys in the visit file, how it is taken.
LENGTHS: tuple[tuple[str, str, Path, str], ...] = (
    (
        "foot-length", "Foot length", ("foot-length-mm",),
        "Standing on both feet, back of the heel to the longest toe.",
    ),
    (
        "truncated-length", "Heel-to-ball length (truncated)", ("truncated-foot-length-mm",),
        "Back of the heel to the joint of the first metatarsal; the toes are left out.",
    ),
    (
        "forefoot-width", "Forefoot width", ("forefoot-width-mm",),
        "Standing, across the metatarsal heads.",
    ),
    (
        "heel-width", "Heel width", ("heel-width-mm",), "Standing, the widest part of the heel.",
    ),
    (
        "dorsum-sitting", "Instep height (dorsum), sitting", ("dorsum-height-mm", "sitting"),
        "Top of the foot above the floor at half of the foot length, sitting, foot at rest.",
    ),
    (
        "dorsum-standing", "Instep height (dorsum), standing", ("dorsum-height-mm", "standing"),
        "The same place, standing with equal weight on both feet. Over the truncated length it "
        "is the arch height ratio.",
    ),
    (
        "navicular-sitting", "Inner arch bone (navicular), height sitting",
        ("navicular-height-mm", "sitting"),
        "Navicular tuberosity above the floor, sitting.",
    ),
    (
        "navicular-standing", "Inner arch bone (navicular), height standing",
        ("navicular-height-mm", "standing"),
        "The same mark, standing. Sitting less standing is the navicular drop.",
    ),
)  # fmt: skip

PHASES = (
    (
        "touchdown", "touchdown",
        "The angle at the first contact of the heel, one number a stride.",
    ),
    (
        "peak", "peak",
        "The largest angle between first contact and toe-off, wherever it lies, one number a "
        "stride. At least 7 strides let their own scatter speak. What another lab calls the peak "
        "of contact alone is another number, and does not belong here.",
    ),
    (
        "peak-time", "time of the peak",
        "The time of the largest angle in percent of stance, 0 at first contact and 100 at "
        "toe-off, one number a stride.",
    ),
    (
        "midstance", "midstance",
        "The mean angle while the foot is flat, one number a stride.",
    ),
    (
        "propulsion", "propulsion",
        "The mean angle from heel lift to toe-off, one number a stride.",
    ),
)  # fmt: skip

_ZERO_HELP = (
    "What the angle is measured from: the vertical (v), the leg in relaxed standing (r), or "
    "subtalar neutral (s). Numbers measured from different lines are never compared; they differ "
    "by up to 7 degrees."
)
_ANGLE_HELP = (
    "Rearfoot to leg in degrees; inwards (eversion, pronation) is positive, outwards negative."
)


# The measures that a step can give, by its stem; what is not here is asked whatever is known.
# Lengths and widths are always asked, since the fit of every product rests on them.
FEEDS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys((*(name for name, *_ in FPI_ITEMS), "fpi-total"), ("fpi", "fpi-difference")),
    "truncated-length": ("arch-height-ratio", "arch-rigidity"),
    "dorsum-standing": ("arch-height-ratio", "arch-rigidity"),
    "dorsum-sitting": ("arch-rigidity",),
    "navicular-sitting": ("navicular-drop",),
    "navicular-standing": ("navicular-drop",),
    **dict.fromkeys(("print-kind", "print-load", "arch-index"), ("arch-index",)),
    **dict.fromkeys(("standing-zero", "standing-angle"), ("standing-angle",)),
    "touchdown": ("touchdown-angle", "rearfoot-range"),
    "contact": ("contact-angle", "contact-difference"),
    "peak": ("peak-angle", "peak-difference", "rearfoot-range", "rearfoot-return"),
    "peak-time": ("peak-time",),
    "midstance": ("midstance-angle",),
    "propulsion": ("propulsion-angle", "rearfoot-return"),
    "cop-pattern": ("cop-pattern",),
    "cpei": ("cpei",),
}

# What a shop may take or not, by the block that asks for it; the settings say which (`readings`).
READINGS: Mapping[str, str] = {
    "posture": POSTURE,
    "heights": "Lengths and heights",
    "captures": "Captures",
    "footprint": "Footprint",
    "angles": "Rearfoot angles",
    "load-path": "Path of the load",
}
NO_READING = "none"  # of these, where there is time for none
_ALWAYS = frozenset({"foot-length", "forefoot-width", "heel-width"})


def measures_of(reading: str, steps: Iterable[EntryStep]) -> frozenset[str]:
    """The measures that one of `READINGS` gives."""
    here = (step.feeds for step in steps if step.block == READINGS[reading])
    return frozenset().union(*here)


def in_order(steps: Sequence[EntryStep], readings: Sequence[str]) -> list[EntryStep]:
    """The steps with the blocks of `readings` in that order, where the first of them stood."""
    blocks = [READINGS[one] for one in readings]
    moved = sorted((s for s in steps if s.block in blocks), key=lambda s: blocks.index(s.block))
    first = next((at for at, step in enumerate(steps) if step.block in blocks), len(steps))
    rest = [step for step in steps if step.block not in blocks]
    at = sum(step.block not in blocks for step in steps[:first])
    return [*rest[:at], *moved, *rest[at:]]


def taken(step: EntryStep, readings: Collection[str]) -> bool:
    """Whether a shop that takes these readings asks for a step; none named takes them all."""
    if not readings or step.stem in _ALWAYS or step.block not in READINGS.values():
        return True
    return any(READINGS.get(one) == step.block for one in readings)


Absorb = Callable[[Tree, str], tuple[Tree, str]]


def intake(
    questions: Mapping[str, Asked],
    purposes: Mapping[str, Keyed],
    sizes: str,
    zero: str,
    absorb: Absorb | None = None,
    measures: Mapping[str, Taken] | None = None,
) -> tuple[EntryStep, ...]:
    """The steps of a first fitting.

    Parameters
    ----------
    questions : screening questions by id, in the order of asking.
    purposes : what shoes can be for, with their keys.
    sizes : the usual size system of the shop.
    zero : the usual zero reference of rearfoot angles of the shop.
    absorb : measures a capture file into the data of a visit; without it none is asked for.
    measures : those of the rulebook; the `typed` ones are asked for.
    """
    steps = (
        *screening(questions),
        *_purpose(purposes, sizes),
        *_posture(),
        *_lengths(),
        *(_captures(absorb) if absorb else ()),
        *_footprint(),
        *_angles(zero),
        *_load_path(),
        *_typed(measures or {}),
        *_remarks(),
    )
    return tuple(
        replace(step, feeds=step.feeds or frozenset(FEEDS.get(step.stem, ()))) for step in steps
    )


def screening(questions: Mapping[str, Asked]) -> Iterator[EntryStep]:
    """Age band, every screening question, and pain: all of it before anything is measured."""
    yield EntryStep(
        "age-band", SCREENING, "Age band of the customer", AGE, ("age-band",),
        "Bones still grow in a child (to about 12) and a teen (to about 17); from about 60 feet "
        "change again (older). Some stops depend on it. Never a birth date.",
    )  # fmt: skip
    for name, question in questions.items():
        why = f"Asked because {question.why}. Not asked stays not asked; it is never read as no."
        path: Path = ("answers", name)
        step = EntryStep(name, SCREENING, question.ask, YES_NO, path, why)
        if question.retired:
            continue
        if question.only_if:
            step = replace(step, asked_if=_answered(question.only_if))
        yield replace(step, asked_if=_comes_back) if question.after_wear else step
    sites = Pains()
    yield EntryStep(
        "pain", SCREENING, "Where does it hurt?", sites, ("pain",),
        "Site, side, worst score from 0 (none) to 10 (worst), and for how many weeks; several "
        f"with commas between. Sites: {', '.join(sites.sites)}. Type none when nothing hurts.",
    )  # fmt: skip


def _answered(wanted: Mapping[str, str]) -> Callable[[Tree], bool]:
    """Whether other questions were answered so."""
    return lambda tree: all(get(tree, ("answers", q)) == a for q, a in wanted.items())


def _comes_back(tree: Tree) -> bool:
    return "follow-up" in tree


def _purpose(purposes: Mapping[str, Keyed], sizes: str) -> Iterator[EntryStep]:
    block = "Purpose and size"
    yield EntryStep(
        "measured-by", block, "Who asks and measures? (a code, never a name)",
        Text("up to 20 letters, digits, - _ .", r"[\w.-]{1,20}"), ("measured-by",),
        "The code of the fitter in this shop; the settings can hold it (`fitter`).",
    )  # fmt: skip
    yield EntryStep(
        "purpose", block, "What are the shoes for?",
        Choice({one.key: word for word, one in purposes.items()}), ("purpose",),
        "It decides which gait is looked at and which shoes are offered.",
    )  # fmt: skip
    yield EntryStep(
        "shoe-size", block, "Size of the shoe worn now", Size(sizes), ("shoe-size",),
        "As printed in the shoe. The feet decide the size; this is a cross-check. Thick socks, or "
        "an insole of their own that stays in: `recommend visit edit` takes keeps-socks and "
        "keeps-insole-thickness.",
    )  # fmt: skip
    yield from _kept(block)
    yield EntryStep(
        "body-mass", block, "Body mass", TypedNumber("kg"), ("body-mass-kg",),
        "Soft foams are pressed flat under much weight. Ask, or weigh.",
    )  # fmt: skip


def _kept(block: str) -> Iterator[EntryStep]:
    """What goes on being used in the new shoes: asked only where it was said, as by an edit."""

    def said(tree: Tree) -> bool:
        return "keeps" in tree

    yield EntryStep(
        "keeps-socks", block, "Socks that they go on wearing", SOCKS, ("keeps", "socks"),
        "Thick socks take room, which the shoe has to give.", asked_if=said,
    )  # fmt: skip
    yield EntryStep(
        "keeps-insole-thickness", block, "Their own insole, if it stays in: thickness at the heel",
        TypedNumber("mm"), ("keeps", "insole", "attributes", "thickness"),
        "It takes room in the shoe, and is judged as any other; what else is known of it can be "
        "written into the visit file.", asked_if=said,
    )  # fmt: skip


def _posture() -> Iterator[EntryStep]:
    general = (
        "Relaxed standing on both feet, looking ahead. -1 and +1 lie between what is written. "
        "One item that cannot be seen is left out; the total then stays unknown."
    )
    for name, title, low, middle, high in FPI_ITEMS:
        reminder = (f"-2 {low} | 0 {middle} | +2 {high}",)
        path: Path = (*_FOOT, "fpi", "items", name)
        yield from for_each_foot(
            name, POSTURE, title, PostureItem(), path, general, reminder=reminder,
            short="items of posture",
        )  # fmt: skip
    for side in SIDES:
        yield EntryStep(
            f"fpi-total.{side}", POSTURE, f"{side.upper()}: FPI total, if only that was written",
            TypedNumber(whole=True), ("feet", side, "fpi", "total"),
            "The sum of the six items, -12 to +12, when the items themselves were not kept.",
            short="posture total",
            asked_if=_no_item_of(side),
        )  # fmt: skip


def _no_item_of(side: str) -> Callable[[Tree], bool]:
    def unscored(tree: Tree) -> bool:
        return not get(tree, ("feet", side, "fpi", "items"))

    return unscored


_HEIGHTS: Mapping[Any, str] = {  # one name for both, where they are named among others
    "dorsum-height-mm": "heights of the instep",
    "navicular-height-mm": "heights of the inner arch bone",
}


def _lengths() -> Iterator[EntryStep]:
    for name, title, keys, explained in LENGTHS:
        yield from for_each_foot(
            name, "Lengths and heights", title, TypedNumber("mm"), (*_FOOT, *keys), explained,
            short=_HEIGHTS.get(keys[0], ""),
        )  # fmt: skip


def _captures(absorb: Absorb) -> Iterator[EntryStep]:
    yield EntryStep(
        "capture", "Captures", "A capture file (pressure mat or video marks), or Enter for none",
        Text("the name of the file; one after the other"), ("captures",),
        "It is measured now, and what it gives stands in brackets at the questions that follow. "
        "Numbers can be typed there instead.", absorb=absorb,
    )  # fmt: skip


def _footprint() -> Iterator[EntryStep]:
    block = "Footprint"
    both: Path = (*_FOOT, "arch-index")
    yield EntryStep(
        "print-kind", block, "Arch index: how is the print taken?", PRINT, (*both, "kind"),
        "Ink or optical (i), area on pressure sensors (p), or weighted by pressure (w). They are "
        "different scales and never compared. Leave out when no print is taken.",
        short="footprint",
    )  # fmt: skip
    yield EntryStep(
        "print-load", block, "Standing still or walking?", LOAD, (*both, "load"),
        "A walking print is wider under the arch than a standing one.", asked_if=_has_print,
        usual=lambda _tree: "static", short="footprint",
    )  # fmt: skip
    yield from for_each_foot(
        "arch-index", block, "Arch index", TypedNumber(), (*both, "value"),
        "Middle third of the print without toes over the whole print without toes, 0 to 1.",
        asked_if=_has_print,
    )  # fmt: skip


def _has_print(tree: Tree) -> bool:
    return any(get(tree, ("feet", side, "arch-index", "kind")) for side in SIDES)


def _angles(zero: str) -> Iterator[EntryStep]:
    block = "Rearfoot angles"
    at_rest = "vertical" if zero == "relaxed-standing" else zero  # 0 from itself by definition
    still, moving = Angles(False, at_rest), Angles(True, zero)
    yield EntryStep(
        "standing-zero", block, "Standing angle: measured from?", STANDING_ZERO,
        (*_FOOT, still, "reference"), _ZERO_HELP, usual=lambda _tree: still.zero,
        short="heel in standing",
    )  # fmt: skip
    yield from for_each_foot(
        "standing-angle", block, "heel in standing, degrees rolled in", Readings("deg"),
        (*_FOOT, still, "angle"), _ANGLE_HELP, short="heel in standing",
    )  # fmt: skip
    yield EntryStep(
        "gait", block, "Filmed in walking or running?", GAIT,
        (*_FOOT, moving, "gait"),
        "Walking and running have limits of their own.", usual=_gait_of,
    )  # fmt: skip
    yield EntryStep(
        "moving-zero", block, "Angles in motion: measured from?", ZERO,
        (*_FOOT, moving, "reference"), _ZERO_HELP, usual=lambda _tree: zero,
    )  # fmt: skip
    for phase, title, explained in PHASES:
        timed = phase == "peak-time"
        unit, words = ("percent", "percent of stance") if timed else ("deg", "degrees rolled in")
        yield from for_each_foot(
            phase, block, f"{title}, {words}, one number a stride", Readings(unit),
            (*_FOOT, moving, phase), explained if timed else f"{explained} {_ANGLE_HELP}",
        )  # fmt: skip
    yield EntryStep(
        "mean-of", block, "One number each: the mean of how many strides?",
        TypedNumber("strides", whole=True), (*_FOOT, moving, "mean-of"),
        "The more strides stand behind a mean, the surer it is. Enter: each is one stride.",
        asked_if=_means_in(moving), short="strides of the film",
    )  # fmt: skip


def _means_in(moving: Angles) -> Callable[[Tree], bool]:
    """Whether an angle in motion stands as one number, which may be a mean."""
    names = [phase for phase, *_ in PHASES]

    def one_number(tree: Tree) -> bool:
        films = (get(tree, ("feet", side, moving)) or {} for side in SIDES)
        return any(_single(film.get(name)) for film in films for name in names)

    return one_number


def _single(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 1


def _gait_of(tree: Tree) -> str:
    return "running" if tree.get("purpose") == "running" else "walking"


def _load_path() -> Iterator[EntryStep]:
    block = "Path of the load"
    yield from for_each_foot(
        "cop-pattern", block, "Where does the load travel?", PATTERN, (*_FOOT, "cop", "pattern"),
        "Central, along the outer side, or drifting to the inner side: early (over the "
        "midfoot) or late (over the forefoot).", short="path of the load",
    )  # fmt: skip
    yield from for_each_foot(
        "cpei", block, "Bow of the load path (%)", TypedNumber("percent"),
        (*_FOOT, "cop", "excursion-index-percent"),
        "The excursion index: how far the path of the centre of pressure bows at the front "
        "third, over forefoot width, outwards positive. Average at least three, better five "
        "steps.", short="bow of the load path",
    )  # fmt: skip


def _typed(measures: Mapping[str, Taken]) -> Iterator[EntryStep]:
    for name, one in measures.items():
        feeds = {name, *(other for other, of in measures.items() if name in of.follows_from)}
        kind = Readings(one.unit, bounds=(one.lowest, one.highest))
        if one.typed:
            yield from for_each_foot(
                name, "Further measures", one.title, kind, (*_FOOT, "measures", name),
                one.how[:1].upper() + one.how[1:], feeds=frozenset(feeds),
            )  # fmt: skip


def _remarks() -> Iterator[EntryStep]:
    yield EntryStep(
        "remarks", "Remarks", "Anything else to keep? (no names)", Text("one line of text"),
        ("remarks",), "Kept apart from what was measured, and deleted on request.",
    )  # fmt: skip
