"""What stands in the files of a rulebook."""

# No `annotations` of the future here: a model is made a third faster from types than from text.

from collections.abc import Collection, Mapping
from typing import Annotated, Literal, Self, get_args

from pydantic import Discriminator, Field, Tag, model_validator

from recommend.parameters import Figure, Kind
from recommend.reading import Id as Id  # also the id of a product attribute
from recommend.reading import Strict, Words, told_apart
from recommend.rulebook.conditions import Condition
from recommend.rulebook.terms import Comparison

Strength = Literal["must", "prefer", "never"]
Weight = Literal["strong", "usual", "slight"]
FpiSystem = Literal["manual-2005", "adult-norm-2008"]
MotionSystem = Literal["people", "trade"]
NoteLevel = Literal["stop", "see-clinician", "caution"]
NOTE_LEVELS: tuple[NoteLevel, ...] = get_args(NoteLevel)  # the most severe first


def at_least(level: NoteLevel) -> tuple[NoteLevel, ...]:
    """The levels of notes that are as grave as `level`."""
    return NOTE_LEVELS[: NOTE_LEVELS.index(level) + 1]


class Basis(Strict):
    """What stands behind a statement: sources in ``sources.yaml``, or the trade's custom."""

    kind: Kind
    sources: list[Id] = []
    note: str = ""

    @model_validator(mode="after")
    def _published_names_sources(self) -> Self:
        if self.kind in ("published", "derived") and not self.sources:
            raise ValueError(f"a {self.kind} basis names its `sources` (ids in sources.yaml)")
        return self


class Source(Strict):
    """One bibliography entry.

    `seen` tells how far the numbers were verified: ``in-source``, ``second-hand``,
    ``derived`` or ``from-memory``. `defines` lists the published names that carry this paper.
    """

    cite: str
    seen: Literal["in-source", "second-hand", "derived", "from-memory"]
    says: str
    conflict: str = ""
    defines: list[str] = []


class LimitValue(Figure):
    """The value of a limit where the measure's qualifiers have the given words.

    With a `system` it belongs to that category system of the Foot Posture Index, or to that way
    of judging motion, only.
    """

    where: dict[str, str] = {}
    system: FpiSystem | MotionSystem | None = None


class Limit(Strict):
    """A named threshold of a measure, or a named target of a product attribute.

    One that `marks` a measure is shown beside its readings, whether or not a rule reads it.
    """

    title: str
    marks: Id | None = None
    unit: str
    population: str
    values: list[LimitValue] = Field(min_length=1)

    def of_systems(self, systems: Collection[str]) -> Self:
        """The limit with the values of other systems left out."""
        kept = [value for value in self.values if value.system in (None, *systems)]
        return self.model_copy(update={"values": kept})

    def value_of(self, qualifiers: Mapping[str, str]) -> LimitValue | None:
        """The value for readings with these qualifiers; the one that names most of them wins."""
        matching = [
            value
            for value in self.values
            if all(qualifiers.get(name) == word for name, word in value.where.items())
        ]
        return max(matching, key=lambda value: len(value.where)) if matching else None


class AxisDef(Strict):
    """An axis of a foot and its values, each in words."""

    title: str
    values: dict[Id, str] = Field(min_length=2)


class Question(Strict):
    """A screening question as it is asked; some only of a customer who comes back.

    `alarming` is the answer that rules warn of; questions whose alarming answer is yes may be read
    out together, the others are always asked one by one. One with `only-if` is asked when other
    questions were answered so. One that is `retired` is read in old visits and asked no more. One
    that `heeds-every-ache` tells, answered with alarm or not asked, that no ache is normal.
    """

    ask: Words
    why: Words
    alarming: Literal["yes", "no"] = "yes"

    @property
    def calm(self) -> Literal["yes", "no"]:
        """The answer of somebody in good health."""
        return "no" if self.alarming == "yes" else "yes"

    only_if: dict[Id, Literal["yes", "no"]] = {}
    after_wear: bool = False
    retired: bool = False
    heeds_every_ache: bool = False

    def arises(self, answers: Mapping[str, str], *, again: bool) -> bool:
        """Whether it is asked at a visit with these `answers`; `again` of who comes back."""
        met = all(answers.get(other) == answer for other, answer in self.only_if.items())
        return met and not self.retired and (again or not self.after_wear)


class AttributeDef(Strict):
    """A product attribute: a number with unit and range, or an ordered scale of words.

    `short` is the name in tables. `tolerance` is the shortfall (in the unit, or in steps of
    the scale) at which a product no longer satisfies a preference at all. `gentler` is the side
    on which a contradiction between two feet is settled. What is `unsaid` goes without saying and
    is not told among the first wishes. `about` says whether it is a matter of how the product fits
    the foot, which comes first, of what it is made for, or of what it does. `plain` is the level of
    a product that does nothing here; what goes beyond it unasked counts against a product by the
    weight `unasked`. `without` is the level where there is no insole.
    """

    title: str
    short: str
    unit: str = "step"
    low: float | None = None
    high: float | None = None
    scale: dict[str, str] = {}
    sum_of: list[str] = []
    tolerance: float = Field(gt=0)
    gentler: Literal["low", "high"]
    unsaid: bool = False
    about: Literal["fit", "use", "function"] = "function"
    plain: float | str | None = None
    unasked: Weight | None = None
    without: float | str | None = None
    kind: Kind = "assumption"
    note: str = ""

    @model_validator(mode="after")
    def _number_or_scale(self) -> Self:
        if not self.scale and (self.low is None or self.high is None):
            raise ValueError("give `low` and `high` of a number, or a `scale` of words")
        if self.scale and (self.low is not None or self.high is not None):
            raise ValueError("`low` and `high` are for numbers, and this has a `scale` of words")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"`low` ({self.low:g}) must be below `high` ({self.high:g})")
        if (self.plain is None) != (self.unasked is None):
            raise ValueError("`plain` and `unasked` go together: what nobody asked for, from where")
        for name in ("plain", "without"):
            self._level(name, getattr(self, name))
        return self

    def _level(self, name: str, stated: float | str | None) -> float | None:
        """A level stated here as a number: in the unit, or the step of the scale."""
        if stated is None:
            return None
        if self.scale and str(stated) not in self.scale:
            raise ValueError(f"`{name}` is `{stated}`; allowed: {', '.join(self.scale)}")
        if not self.scale and isinstance(stated, str):
            raise ValueError(f"`{name}` is the text `{stated}`; allowed: a number")
        return float(list(self.scale).index(str(stated)) if self.scale else stated)

    @property
    def yes_no(self) -> bool:
        """Whether it is either there or not."""
        return list(self.scale) == ["no", "yes"]

    @property
    def plain_level(self) -> float | None:
        """`plain` as a number: in the unit, or the step of the scale."""
        return self._level("plain", self.plain)

    @property
    def level_without(self) -> float | None:
        """`without` as a number, likewise."""
        return self._level("without", self.without)


class NeedThen(Strict):
    """One wish of a foot for an attribute of a product."""

    attribute: str
    is_: Comparison = Field(alias="is")
    limit: str | None = None
    level: str | None = None
    strength: Strength
    weight: Weight = "usual"

    @model_validator(mode="after")
    def _limit_or_level(self) -> Self:
        if (self.limit is None) == (self.level is None):
            raise ValueError("write a `limit` (numbers) or a `level` (scales), not both")
        return self


class AxisThen(Strict):
    """The conclusion that an axis has a value."""

    axis: str
    value: str


class NoteThen(Strict):
    """The conclusion that a note is due; a ``stop`` withholds the shortlist.

    While one that is `unplaced` stands, nothing has a first place: what would suit stands by name.
    """

    note: NoteLevel
    say: Words
    unplaced: bool = False


class NeedsThen(Strict):
    """The conclusion that a foot needs something."""

    needs: list[NeedThen] = Field(min_length=1)


Then = Annotated[
    Annotated[AxisThen, Tag("axis")]
    | Annotated[NoteThen, Tag("note")]
    | Annotated[NeedsThen, Tag("needs")],
    Discriminator(
        told_apart(
            {"axis": (AxisThen, "axis"), "note": (NoteThen, "note"), "needs": (NeedsThen, "needs")}
        )
    ),
    Field(description="a conclusion: `axis` and `value`, or `note` and `say`, or `needs`"),
]


class Rule(Strict):
    """One rule: when a condition holds, conclude; `because` is for the customer."""

    id: Id
    title: str
    when: Condition
    then: Then
    because: Words
    basis: Basis


class FootType(Strict):
    """A named combination of axis values; `sentence` is said to the customer."""

    id: Id
    title: str
    sentence: Words
    when: Condition
    basis: Basis


class Purpose(Strict):
    """What shoes can be for: in words, and by which key it is typed at the counter."""

    title: str
    key: Annotated[str, Field(pattern=r"^[a-z]$", description="one small letter")]


class Heading(Strict):
    """``rulebook.yaml``: what this rulebook is called and which systems it uses.

    `cautions` stand on every whole shortlist; `brief` says the first of them where a screen has
    room for a line or two.
    """

    name: str
    version: Annotated[
        str,
        Field(pattern=r"^[0-9]+\.[0-9]+\.[0-9]+$", description="three numbers, such as 1.0.0"),
    ]
    date: str
    fpi_system: FpiSystem
    motion_by: MotionSystem = "people"
    cautions: list[str] = Field(min_length=1)
    brief: str = ""

    @property
    def systems(self) -> tuple[str, ...]:
        """The systems whose limits are used."""
        return self.fpi_system, self.motion_by
