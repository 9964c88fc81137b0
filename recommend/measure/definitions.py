"""What each measure is, as ``rules/measures.yaml`` defines it."""

# No `annotations` of the future here: a model is made a third faster from types than from text.

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from recommend.measure.model import Measure
from recommend.reading import Id, Strict

Basis = Literal["published", "derived", "common-practice", "from-memory", "assumption"]

_NO_BOUND = 1e6
_UNITS = {"deg": "°", "percent": " %", "score": "", "ratio": "", "class": ""}


def unit_words(unit: str) -> str:
    """What follows a number in this unit."""
    return _UNITS.get(unit, f" {unit}")


def number(value: float, places: int) -> str:
    """A number with fixed places and no negative zero: the one rounding of every screen."""
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def with_error(value: float, error: float | None, unit: str, places: int) -> str:
    """A number with its unit and error: ``3.4° ±0.6``."""
    text = f"{number(value, places)}{unit_words(unit)}"
    return f"{text} ±{number(error, max(places, 1))}" if error else text


def value_words(measure: Measure, definition: "MeasureDef") -> str:
    """A measure's value with unit and error: ``3.4° ±0.6``; a word as it is."""
    if isinstance(measure.value, str):
        return measure.value
    return with_error(measure.value, measure.error, measure.unit, definition.decimals)


class Norm(Strict):
    """Mean and standard deviation of a group; far outside it, a flag is raised.

    It is meant for readings whose qualifiers have the words of `where`, and for no others: a
    norm of one gait, zero or device says nothing of another.
    """

    mean: float
    sd: float = Field(gt=0)
    where: dict[str, str] = {}
    kind: Basis
    source: str | None = None
    note: str = ""


class Unlikely(Strict):
    """Below and above which a value is flagged, where no norm says it: no limit of any rule."""

    low: float
    high: float
    kind: Basis
    source: str | None = None
    note: str = ""


def _listed(value: Any) -> Any:
    """Let one norm stand without brackets."""
    return [value] if isinstance(value, dict) else value


class ReadingError(Strict):
    """Standard error of one reading.

    `single` is that of one reading; `floor` is what repeating at the same visit cannot
    remove (marks, camera, rater) and is added in quadrature. `several` stands in for `single`
    where several people of a shop take the reading. A reading whose error is above `most` is
    shown and read by no rule: it says too little to be called anything. `range` is within what
    `single` may plausibly lie. `resemblance` is how much each stride resembles the one before
    (correlation). `of_lab` tells that the lab measured them itself.
    """

    single: float = Field(ge=0)
    floor: float = Field(default=0, ge=0)
    resemblance: float | None = Field(default=None, ge=0, le=0.95)
    of_lab: bool = False
    several: float | None = Field(default=None, ge=0)
    most: float | None = Field(default=None, gt=0)
    kind: Basis
    source: str | None = None
    note: str = ""
    range_: Annotated[list[float], Field(min_length=2, max_length=2)] | None = Field(
        default=None, alias="range"
    )


class Derivation(Strict):
    """How a measure follows from others of the same visit: in exactly one of these ways.

    `difference` is the first less the second, `ratio` the first over the second, `sum` all of
    them, each of one foot; `between_feet` is the size of the difference of the two feet, the same
    for both.
    """

    difference: list[Id] = Field(default=[], max_length=2)
    ratio: list[Id] = Field(default=[], max_length=2)
    sum: list[Id] = []
    between_feet: Id | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [len(self.difference) == 2, len(self.ratio) == 2, len(self.sum) > 1]
        if [*ways, self.between_feet is not None].count(True) != 1:
            raise ValueError(
                "write exactly one of `difference` (of two), `ratio` (of two), `sum` and "
                "`between-feet`"
            )
        return self

    @property
    def parts(self) -> list[str]:
        """The measures it follows from."""
        return self.difference or self.ratio or self.sum or [str(self.between_feet)]

    @property
    def way(self) -> str:
        """Which way it is: the name of the field that is written."""
        return next(name for name in type(self).model_fields if getattr(self, name))


class MeasureDef(Strict):
    """One measure: its name for people, its unit, its error and norm.

    `qualifiers` are words the value only means together with (gait, zero reference), each
    with its vocabulary. A class measure has `values` and no error. A measure `of-person` is the
    same for both feet. `lowest` and `highest` bound what can be written down at all; beyond
    `unlikely` a value is flagged, as it is far from a norm. `beside`
    names the gait and zero of a film whose largest angle this is, where rules otherwise go by
    another film of the foot; it is for notes alone. `derived` says how it follows from others.
    `typed` is a number of each foot that nothing else here knows of: it is asked for, written
    under `measures` of the foot and read by rules, by what stands here alone.
    """

    title: str
    unit: str
    plain: str
    decimals: int = Field(default=1, ge=0, le=4)
    lowest: float = -_NO_BOUND
    highest: float = _NO_BOUND
    values: list[Id] = []
    qualifiers: dict[Id, list[Id]] = {}
    error: ReadingError | None = None
    norms: Annotated[
        list[Norm], BeforeValidator(_listed, json_schema_input_type=Norm | list[Norm])
    ] = Field(default=[], alias="norm")
    unlikely: Unlikely | None = None
    how: str = ""
    of_person: bool = False
    beside: dict[str, str] = {}
    derived: Derivation | None = None
    typed: bool = False

    @model_validator(mode="after")
    def _typed_is_a_number_of_a_foot(self) -> Self:
        other = self.values or self.qualifiers or self.beside or self.derived or self.of_person
        if self.typed and (other or self.highest >= _NO_BOUND or not self.how):
            raise ValueError(
                "a `typed` measure is a number of each foot with `lowest`, `highest` and `how` to "
                "take it; leave out `values`, `qualifiers`, `beside`, `derived` and `of-person`"
            )
        return self

    @model_validator(mode="after")
    def _norms_are_of_this(self) -> Self:
        for norm in self.norms:
            for qualifier, word in norm.where.items():
                if word not in self.qualifiers.get(qualifier, []):
                    raise ValueError(f"no reading has `{qualifier}` `{word}`; correct `where`")
        return self

    @property
    def follows_from(self) -> list[str]:
        """The measures it is reckoned from; none where it is read itself."""
        return self.derived.parts if self.derived else []

    @property
    def norm(self) -> Norm | None:
        """The first norm, which stands for the usual reading; None where there is none."""
        return self.norms[0] if self.norms else None

    def norm_of(self, qualifiers: Mapping[str, str]) -> Norm | None:
        """The norm meant for a reading with these qualifiers; None where no group was studied."""
        for norm in self.norms:
            if all(qualifiers.get(name) == word for name, word in norm.where.items()):
                return norm
        return None


# What is computed from a visit (see `observed`): its unit and the qualifiers it carries.
_OF_ANGLE = ("gait", "reference")
COMPUTED: Final[Mapping[str, tuple[str, tuple[str, ...]]]] = {
    "fpi": ("score", ()),
    "fpi-difference": ("score", ()),
    "arch-height-ratio": ("ratio", ()),
    "arch-rigidity": ("ratio", ()),
    "navicular-drop": ("mm", ()),
    "arch-index": ("ratio", ("kind", "load")),
    "standing-angle": ("deg", ("reference",)),
    "touchdown-angle": ("deg", _OF_ANGLE),
    "peak-angle": ("deg", _OF_ANGLE),
    "peak-time": ("percent", ("gait",)),
    "contact-angle": ("deg", _OF_ANGLE),
    "midstance-angle": ("deg", _OF_ANGLE),
    "propulsion-angle": ("deg", _OF_ANGLE),
    "rearfoot-range": ("deg", ("gait",)),
    "rearfoot-return": ("deg", ("gait",)),
    "peak-difference": ("deg", ()),
    "contact-difference": ("deg", ()),
    "cop-pattern": ("class", ()),
    "cpei": ("percent", ()),
    "foot-length": ("mm", ()),
    "forefoot-width": ("mm", ()),
    "length-difference": ("mm", ()),
    "heel-width": ("mm", ()),
    "width-ratio": ("ratio", ()),
    "body-mass": ("kg", ()),
    "pain-score": ("score", ()),
    "pain-weeks": ("weeks", ()),
    "pain-before": ("score", ()),
    "pain-again": ("score", ()),
    "new-pain-sites": ("sites", ()),
    "wear-weeks": ("weeks", ()),
    "wear-comfort": ("score", ()),
    "growing": ("score", ()),
}

# Computed only under rulebooks that define them: older ones lack what was added later, newer
# ones what was given up.
OPTIONAL: Final = frozenset(
    {
        "peak-angle", "peak-time", "rearfoot-return", "peak-difference", "contact-difference",
        "length-difference", "pain-before", "pain-again", "new-pain-sites", "wear-weeks",
        "wear-comfort", "growing",
    }
)  # fmt: skip
# What older rulebooks call a measure; under them it is computed by that name.
FORMER_NAMES: Final[Mapping[str, str]] = {"arch-rigidity": "arch-stiffness"}

# Fields of a moving rearfoot entry that hold one number a stride, and the measure each gives.
OF_STRIDES: Final[Mapping[str, str]] = {
    "touchdown": "touchdown-angle",
    "contact": "contact-angle",
    "peak": "peak-angle",
    "peak-time": "peak-time",
    "range": "rearfoot-range",
    "midstance": "midstance-angle",
    "propulsion": "propulsion-angle",
}

MeasureDefs = dict[Id, MeasureDef]


def known_as(name: str, measures: MeasureDefs) -> str:
    """The name under which these definitions hold the measure `name`: its own, or a former one."""
    former = FORMER_NAMES.get(name, name)
    return former if name not in measures and former in measures else name
