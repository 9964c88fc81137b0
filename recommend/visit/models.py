"""What a fitter writes down about one visit. Every field but the reference may be missing."""

# No `annotations` of the future here: a model is made a third faster from types than from text.

import re
from datetime import date
from statistics import fmean
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, model_validator

from recommend.reading import Id, Strict

KEPT = "kept"  # the context in which what an earlier version took is read again
AgeBand = Literal["child", "teen", "adult", "older"]
Gait = Literal["standing", "walking", "running"]
Reference = Literal["vertical", "relaxed-standing", "subtalar-neutral"]
CopPattern = Literal["central", "lateral", "medial-early", "medial-late"]
OneSide = Literal["left", "right"]
Socks = Literal["thin", "usual", "thick"]
SizeSystem = Literal["mondopoint", "eu", "uk", "us-men", "us-women"]
Region = Literal["heel", "arch", "forefoot", "toes", "ankle", "overall"]
PainSite = Literal[
    "heel", "arch", "forefoot", "toes", "ankle-inner", "ankle-outer", "achilles", "shin",
    "knee-inner", "knee-outer", "knee-front", "hip", "back",
]  # fmt: skip


def _word_of(value: Any) -> Any:
    """Let JSON's true and false stand for the words yes and no."""
    return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value


def _day(value: str) -> str:
    """Refuse a day that no calendar has."""
    try:
        date.fromisoformat(value)
    except ValueError:
        raise ValueError("a day of the calendar, such as 2026-11-25") from None
    return value


def _listed(value: Any) -> Any:
    """Let one reading stand without brackets."""
    return [value] if isinstance(value, (int, float)) and not isinstance(value, bool) else value


Day = Annotated[
    str,
    Field(
        pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$",
        description="year-month-day, such as 2026-11-25",
    ),
    AfterValidator(_day),
]
Handing = Literal["sold", "ordered", "reserved", "to-try", "nothing"]
Departure = Literal[
    "comfort", "price", "look", "not-in-stock", "own-wish", "tried-better", "clinician"
]
Answer = Annotated[Literal["yes", "no", "not-asked"], BeforeValidator(_word_of)]
FpiItem = Annotated[int, Field(ge=-2, le=2)]
Angle = Annotated[float, Field(ge=-45, le=45, description="a number from -45 to 45 degrees")]
Strides = Annotated[
    list[Angle],
    BeforeValidator(_listed),
    Field(min_length=1, max_length=2000, description="1 to 2000 angles, one a stride"),
]
Height = Annotated[float, Field(gt=0, lt=200, description="a number above 0 and below 200 mm")]
Heights = Annotated[
    list[Height],
    BeforeValidator(_listed),
    Field(min_length=1, max_length=50, description="1 to 50 heights in mm, one a reading"),
]
Coordinate = Annotated[float, Field(ge=-500, le=1000, description="a number from -500 to 1000 mm")]
Point = Annotated[list[Coordinate], Field(min_length=2, max_length=2, description="[x, y] in mm")]
Share = Annotated[float, Field(ge=0, le=100)]
Range = Annotated[float, Field(ge=-90, le=90, description="a number from -90 to 90 degrees")]
Ranges = Annotated[
    list[Range],
    BeforeValidator(_listed),
    Field(min_length=1, max_length=2000, description="1 to 2000 ranges in degrees, one a stride"),
]
Curve = Annotated[
    list[Angle],
    Field(min_length=101, max_length=101, description="101 angles, one a percent of stance"),
]
Shares = Annotated[
    list[Share],
    BeforeValidator(_listed),
    Field(min_length=1, max_length=2000, description="1 to 2000 percentages, one a step"),
]
Rating = Annotated[float, Field(ge=0, le=10)]
Mondopoint = Annotated[float, Field(ge=80, le=400, description="a size in mm, 80 to 400")]
Typed = Annotated[float, Field(ge=-1e6, le=1e6)]
Typeds = Annotated[
    list[Typed],
    BeforeValidator(_listed),
    Field(min_length=1, max_length=50, description="1 to 50 numbers, one a reading"),
]
ProductId = Annotated[Id, Field(max_length=60)]
# Letters are counted beside the pattern: counted in it, they take long to be made ready.
FitterCode = Annotated[
    str,
    Field(
        min_length=1,
        max_length=20,
        pattern=r"^[\w.-]*$",
        description="a code of up to 20 letters, digits, dots and hyphens, without spaces",
    ),
]


class FpiItems(Strict):
    """The six items of the Foot Posture Index, each -2 (supinated) to +2 (pronated).

    Source: Redmond, Crosbie and Ouvrier 2006, Clin Biomech 21:89-98.
    """

    talar_head: FpiItem | None = None
    malleolar_curves: FpiItem | None = None
    calcaneus: FpiItem | None = None
    talonavicular_bulge: FpiItem | None = None
    medial_arch: FpiItem | None = None
    forefoot_abduction: FpiItem | None = None

    def scores(self) -> list[int | None]:
        """The six scores in the published order; None where not scored."""
        return [getattr(self, name) for name in type(self).model_fields]


class Fpi(Strict):
    """FPI-6: the six items, or the total (-12 to +12) when only that was written down."""

    items: FpiItems | None = None
    total: Annotated[int, Field(ge=-12, le=12)] | None = None

    @model_validator(mode="after")
    def _total_agrees(self) -> Self:
        if self.items is None or self.total is None:
            return self
        scores = self.items.scores()
        known = [s for s in scores if s is not None]
        low, high = (sum(known) + worst * (len(scores) - len(known)) for worst in (-2, 2))
        if not low <= self.total <= high:
            sums = f"{low}" if low == high else f"between {low} and {high}"
            raise ValueError(
                f"the items add up to {sums} and `total` is {self.total}; correct the items, or "
                "leave `total` out"
            )
        return self


class SitStand(Strict):
    """One height (mm) taken sitting (about 10 % of body weight) and standing (50 %).

    It may be taken several times; sitting and standing in as many are taken as pairs.
    """

    sitting: Heights | None = None
    standing: Heights | None = None

    @property
    def mean_sitting(self) -> float | None:
        """Mean height sitting in mm."""
        return fmean(self.sitting) if self.sitting else None

    @property
    def mean_standing(self) -> float | None:
        """Mean height standing in mm."""
        return fmean(self.standing) if self.standing else None


class ArchIndex(Strict):
    """Arch index with its kind: the kinds are different scales and never compared.

    Source: Cavanagh and Rodgers 1987, J Biomech 20:547-551 (ink).
    """

    value: Annotated[float, Field(ge=0, le=1)]
    kind: Literal["ink", "pressure-sensor", "pressure-weighted"]
    load: Literal["static", "dynamic"]


# Fields of a moving entry that hold one number a stride, in the order of stance.
STRIDE_FIELDS = (
    "touchdown", "contact", "peak", "peak_time", "range", "midstance", "propulsion",
)  # fmt: skip
PEAK_ROUNDED = 0.11  # deg; angles are written to a tenth, each rounded by itself


class Rearfoot(Strict):
    """Rearfoot angle relative to the leg in degrees, eversion positive, one number a stride.

    `touchdown` is the angle at first contact; `peak` the largest angle of the whole stance, and
    `peak_time` when it is reached, in percent of stance; `range` how far the heel rolls from
    touchdown to peak (left out where both are given); `midstance` and `propulsion` are means of
    their phase; a standing reading goes under `angle`. `contact`, of older files, is the largest
    angle of the phase of contact alone: a scale of its own, and never above the peak. `curve`,
    for pictures only, is the mean at 0, 1, ... 100 % of stance. Where a field holds one number
    that is itself a mean, `mean_of` says of how many strides.
    """

    gait: Gait
    reference: Reference
    mean_of: Annotated[int, Field(ge=1, le=1000)] | None = None
    angle: Strides | None = None
    touchdown: Strides | None = None
    peak: Strides | None = None
    peak_time: Shares | None = None
    range: Ranges | None = None
    contact: Strides | None = None
    midstance: Strides | None = None
    propulsion: Strides | None = None
    curve: Curve | None = None

    @model_validator(mode="after")
    def _standing_has_no_phases(self) -> Self:
        phases = (getattr(self, name) for name in STRIDE_FIELDS)
        if self.gait == "standing" and (self.mean_of or any(p is not None for p in phases)):
            raise ValueError("a standing reading has no phases of a step; write it under `angle`")
        if self.gait != "standing" and self.angle is not None:
            raise ValueError(
                f"`angle` is for standing, and the gait is {self.gait}; write the readings under "
                "`touchdown`, `peak`, `contact`, `midstance` or `propulsion`"
            )
        return self

    @model_validator(mode="after")
    def _standing_is_no_zero_of_itself(self, info: ValidationInfo) -> Self:
        if info.context == KEPT:  # written down before this was refused
            return self
        if self.gait == "standing" and self.reference == "relaxed-standing":
            raise ValueError(
                "a standing angle counted from relaxed standing is 0 by definition; write what it "
                "was measured from (`vertical` or `subtalar-neutral`), or leave the entry out"
            )
        return self

    @model_validator(mode="after")
    def _nothing_lies_above_the_peak(self) -> Self:
        for name in ("touchdown", "contact", "midstance", "propulsion"):
            strides = getattr(self, name)
            if not self.peak or not strides:
                continue
            other, peak = fmean(strides), fmean(self.peak)
            if other > peak + PEAK_ROUNDED:
                raise ValueError(
                    f"the mean of `{name}` ({other:.3g}) is above that of `peak` ({peak:.3g}), and "
                    "the peak is the largest angle of the whole stance; correct one of them"
                )
        return self


def _refuse_twice(entries: list[Rearfoot]) -> None:
    seen = [(entry.gait, entry.reference) for entry in entries]
    if len(seen) != len(set(seen)):
        raise ValueError(
            "the same gait and reference stand in two entries; put all strides in one entry"
        )


class CaptureReading(Strict):
    """One measure as a capture gave it, so that nothing has to compute it again.

    It stands beside the value written for people (`rearfoot`, `arch_index`, `cop`) and counts as
    long as the two agree; where a person has changed the value since, theirs counts and says so.
    `error` is the standard error with all its terms and doubts, `n` the strides or steps; each
    of `doubts` stands in a sentence beside the capture `file` in the list of captures.
    """

    measure: Id
    gait: Gait | None = None
    reference: Reference | None = None
    kind: Literal["ink", "pressure-sensor", "pressure-weighted"] | None = None
    load: Literal["static", "dynamic"] | None = None
    value: float | CopPattern
    error: Annotated[float, Field(ge=0)] | None = None
    n: Annotated[int, Field(ge=1)] = 1
    method: Annotated[str, Field(max_length=200)] = ""
    file: Annotated[str, Field(max_length=500)] = ""
    doubts: list[Id] = Field(default=[], max_length=40)


class Cop(Strict):
    """Centre of pressure in walking: its path, or what was read off it.

    `path_mm` is [x, y] per sample, x lateral positive from the foot axis, y forward from the
    back of the heel.
    """

    pattern: CopPattern | None = None
    excursion_index_percent: Annotated[float, Field(ge=-100, le=100)] | None = None
    path_mm: Annotated[list[Point], Field(min_length=5, max_length=5000)] | None = None

    @model_validator(mode="after")
    def _path_goes_forward(self) -> Self:
        if self.path_mm and self.path_mm[-1][1] <= self.path_mm[0][1]:
            raise ValueError(
                f"the path goes backwards (y from {self.path_mm[0][1]:g} to "
                f"{self.path_mm[-1][1]:g} mm); y counts forward from the back of the heel, so "
                "write the first contact first"
            )
        return self


class Foot(Strict):
    """What was measured on one foot.

    `measures` are numbers that the shop's rulebook asks for beyond the rest (`typed` in
    ``measures.yaml``), each in the unit that stands there.
    """

    fpi: Fpi | None = None
    foot_length_mm: Annotated[float, Field(ge=80, le=400)] | None = None
    truncated_foot_length_mm: Annotated[float, Field(ge=50, le=350)] | None = None
    forefoot_width_mm: Annotated[float, Field(ge=30, le=180)] | None = None
    heel_width_mm: Annotated[float, Field(ge=20, le=120)] | None = None
    dorsum_height_mm: SitStand | None = None
    navicular_height_mm: SitStand | None = None
    arch_index: ArchIndex | None = None
    rearfoot: list[Rearfoot] = Field(default=[], max_length=20)
    cop: Cop | None = None
    measures: Annotated[dict[Id, Typeds], Field(max_length=100)] = {}
    from_captures: list[CaptureReading] = Field(default=[], max_length=200)

    @model_validator(mode="after")
    def _lengths_fit(self) -> Self:
        whole, truncated = self.foot_length_mm, self.truncated_foot_length_mm
        if whole is not None and truncated is not None and truncated >= whole:
            raise ValueError(
                f"the truncated foot length ({truncated:g} mm) is not shorter than the foot "
                f"({whole:g} mm); it runs from the heel to the first metatarsal joint, so measure "
                "or write it again"
            )
        return self

    @model_validator(mode="after")
    def _each_angle_once(self) -> Self:
        _refuse_twice(self.rearfoot)
        return self


class Feet(Strict):
    """The two feet; a foot that was not seen is left out."""

    left: Foot = Field(default_factory=Foot)
    right: Foot = Field(default_factory=Foot)

    def of(self, side: OneSide) -> Foot:
        """The foot on `side`."""
        return self.left if side == "left" else self.right


class TrialFoot(Strict):
    """One foot in one step of a trial, measured as the bare foot was.

    `lateral_load_percent` is the share of load on the outer half of the foot, one number a
    step; `comfort` is 0 (cannot be worn) to 10 (could not be better) by region; `comfort_again`
    is a second rating of the same, asked without the customer knowing what is worn.
    """

    rearfoot: list[Rearfoot] = Field(default=[], max_length=20)
    lateral_load_percent: Shares | None = None
    comfort: dict[Region, Rating] = {}
    comfort_again: dict[Region, Rating] = {}

    @model_validator(mode="after")
    def _each_angle_once(self) -> Self:
        _refuse_twice(self.rearfoot)
        return self

    @model_validator(mode="after")
    def _rated_before_again(self) -> Self:
        if missing := sorted(self.comfort_again.keys() - self.comfort.keys()):
            raise ValueError(
                f"`comfort-again` rates {', '.join(missing)}, which `comfort` does not; a second "
                "rating needs a first"
            )
        return self


class TrialFeet(Strict):
    """The two feet in one step of a trial; a foot that was not measured is left out."""

    left: TrialFoot = Field(default_factory=TrialFoot)
    right: TrialFoot = Field(default_factory=TrialFoot)

    def of(self, side: OneSide) -> TrialFoot:
        """The foot on `side`."""
        return self.left if side == "left" else self.right


class TrialStep(Strict):
    """What was tried on and measured: a shoe, a shoe with an insole, or barefoot once more.

    `shoe` is a product id, or ``own`` for the shoe the customer came in.
    """

    shoe: ProductId | None = None
    insole: ProductId | None = None
    feet: TrialFeet
    remarks: Annotated[str, Field(max_length=2000)] = ""

    @model_validator(mode="after")
    def _insole_lies_in_a_shoe(self) -> Self:
        if self.insole is not None and self.shoe is None:
            raise ValueError("an insole is tried in a shoe; add `shoe` (or `shoe: own`)")
        return self


class Pain(Strict):
    """One painful site, its side, how bad (0 to 10) and for how long."""

    site: PainSite
    side: Literal["left", "right", "both"]
    score: Annotated[int, Field(ge=0, le=10)] | None = None
    weeks: Annotated[float, Field(ge=0, le=3000)] | None = None


class ShoeSize(Strict):
    """The size of the shoe worn now, in the system printed on it (Mondopoint in mm).

    `table` says which of two conventions the maker counts by, where there are two: EU numbers
    on the length of the ``last`` or of the ``foot``; US women's numbers 1.5 (``plus-1.5``) or 1
    (``plus-1``) above the men's. Left out, the shop's usual convention is taken.
    """

    system: SizeSystem
    value: Annotated[float, Field(gt=0, lt=400)]
    table: Literal["last", "foot", "plus-1.5", "plus-1"] | None = None

    @model_validator(mode="after")
    def _table_of_system(self) -> Self:
        allowed = {"eu": ("last", "foot"), "us-women": ("plus-1.5", "plus-1")}.get(self.system, ())
        if self.table is not None and self.table not in allowed:
            words = f"for `{self.system}`: {', '.join(allowed) or 'no `table`'}"
            raise ValueError(f"a table that fits the system; {words}")
        return self


class CaptureDoubt(Strict):
    """A doubt about a reading that a capture gave: its name, what it did, and one sentence."""

    name: Id
    effect: Literal["noted", "widened", "removed"]
    says: Annotated[str, Field(max_length=500)] = ""


# What took a capture: kind and number of the lab, of which a record is kept.
DeviceName = Annotated[str, Field(max_length=60, pattern=r"^[\w .()/-]*$")]


class Capture(Strict):
    """A capture this visit's measures come from: pressure frames or marks on video.

    `file` is named from the folder of the visit. With `sha256` its measures are written in the
    visit already, and the hash says which bytes they came from; without, the capture is measured
    when the visit is read. `kind` and `gait` say which measures those are, `device` what took it.
    `still` is a capture of the same marks in still standing, `doubts` what was doubted as it was
    measured.
    """

    file: Annotated[str, Field(min_length=1, max_length=500)]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = None
    side: OneSide | None = None
    kind: Literal["pressure", "marks"] | None = None
    gait: Gait | None = None
    device: DeviceName = ""
    still: Annotated[str, Field(min_length=1, max_length=500)] | None = None
    doubts: list[CaptureDoubt] = Field(default=[], max_length=60)


class BySide(Strict):
    """One whole number from 0 (none) to 10 (worst) for each side."""

    left: Annotated[int, Field(ge=0, le=10)] | None = None
    right: Annotated[int, Field(ge=0, le=10)] | None = None


class WornFoot(Strict):
    """One foot since the last visit: `comfort` is 0 (cannot be worn) to 10, by region."""

    comfort: dict[Region, Rating] = {}


class WornFeet(Strict):
    """The two feet since the last visit; a foot that was not asked about is left out."""

    left: WornFoot = Field(default_factory=WornFoot)
    right: WornFoot = Field(default_factory=WornFoot)


def days_between(of: str | None, day: str | None) -> int | None:
    """Days from the visit called `of` to `day`; None where either day is not known."""
    then = re.search(r"_(\d{4}-\d{2}-\d{2})", of or "")
    if then is None or not day:
        return None
    return (date.fromisoformat(day) - date.fromisoformat(then[1])).days


class FollowUp(Strict):
    """What the customer who comes back tells of the time since.

    `of` names the earlier visit; `shoe` and `insole` are what was worn since (product ids,
    or ``own``); `pain_before` is the worst pain of each side at the earlier visit, and
    `pain_sites_before` what hurt then, site by site (an empty list: nothing did), so that a new
    pain is told from an old one; `feet` has the comfort of each foot, `comfort` of older files that
    of both alike: 0 (cannot be worn) to 10 (could not be better) by region.
    """

    of: Annotated[str, Field(min_length=1, max_length=80)]
    shoe: ProductId | None = None
    insole: ProductId | None = None
    weeks_of_wear: Annotated[float, Field(ge=0, le=1000)] | None = None
    hours_a_day: Annotated[float, Field(ge=0, le=24)] | None = None
    pain_before: BySide = Field(default_factory=BySide)
    pain_sites_before: list[Pain] | None = Field(default=None, max_length=40)
    comfort: dict[Region, Rating] = {}
    feet: WornFeet = Field(default_factory=WornFeet)
    returned: Answer | None = None
    changed: Annotated[str, Field(max_length=2000)] = ""

    def comfort_of(self, side: OneSide) -> dict[Region, float]:
        """How the foot on `side` was, by region; what was told of both counts for each."""
        foot = self.feet.left if side == "left" else self.feet.right
        return {**self.comfort, **foot.comfort}


FoundHow = Literal["before", "worn", "tried"]


class RuledOut(Strict):
    """A product that did harm at an earlier visit, and stays out until a fitter lifts it.

    `because` is what it did, and `found` whether that was known ``before`` this visit, or found
    at it of what was ``worn`` or ``tried``; `lifted` is the fitter's reason to let it stand again,
    `lifted_by` the fitter's code, never a name, and `lifted_on` the day.
    """

    product: ProductId
    because: Annotated[str, Field(min_length=3, max_length=500)]
    found: FoundHow = "before"
    lifted: Annotated[str, Field(min_length=10, max_length=500)] | None = None
    lifted_by: FitterCode | None = None
    lifted_on: Day | None = None

    @property
    def is_lifted(self) -> bool:
        """Whether a fitter let it stand again, even where the reason was forgotten since."""
        return self.lifted is not None or self.lifted_on is not None


class Sizes(Strict):
    """The size on the box of each foot, in Mondopoint (mm)."""

    left: Mondopoint | None = None
    right: Mondopoint | None = None


class Decision(Strict):
    """What came of the fitting.

    `shoe` and `insole` are product ids, or ``own`` for what the customer brought; `departs` says
    why it is not of the first group of the shortlist; `fitter` is a code of the shop, never a
    name; `read_out` names the stops and see-a-clinician notes (rule ids) that were read out to the
    customer; `stock_file` tells that the shop's stock list was lowered for it.
    """

    outcome: Handing
    date: Day | None = None
    shoe: ProductId | None = None
    shoe_size: Sizes = Field(default_factory=Sizes)
    insole: ProductId | None = None
    insole_size: Sizes = Field(default_factory=Sizes)
    departs: list[Departure] = Field(default=[], max_length=8)
    read_out: list[Id] | None = Field(default=None, max_length=60)
    remark: Annotated[str, Field(max_length=2000)] = ""
    fitter: FitterCode | None = None
    back_on: Day | None = None
    stock_file: Literal["lowered"] | None = None

    @property
    def handed(self) -> list[tuple[str, Sizes]]:
        """What was handed over, shoe first, with its sizes."""
        both = ((self.shoe, self.shoe_size), (self.insole, self.insole_size))
        return [(product, sizes) for product, sizes in both if product]


AttributeName = Annotated[
    str,
    Field(
        pattern=r"^(shoe|insole)\.[a-z0-9-]{1,60}$", description="an attribute, such as shoe.width"
    ),
]


class Unwanted(Strict):
    """What a customer would not wear: products, and levels of attributes (``shoe.drop: [12]``)."""

    products: list[Id] = Field(default=[], max_length=200)
    attributes: dict[AttributeName, list[float | Id]] = {}


class Wishes(Strict):
    """What the customer wants: a limit of the price of all together, and what they refuse."""

    price_limit: Annotated[float, Field(ge=0, le=100_000)] | None = None
    would_not_wear: Unwanted = Field(default_factory=Unwanted)


class OwnInsole(Strict):
    """An insole that a customer has, described as a product is."""

    title: Annotated[str, Field(max_length=60)] = ""
    attributes: dict[Id, float | Id] = Field(min_length=1)


class Kept(Strict):
    """What the customer goes on using in the new shoes: socks, and an insole of their own.

    The insole is described as a product is.
    """

    socks: Socks | None = None
    insole: OwnInsole | None = None


class OwnShoes(Strict):
    """The shoes a customer has, described as a product is; `months` is how long they were worn."""

    title: Annotated[str, Field(max_length=60)] = ""
    attributes: dict[Id, float | Id] = {}
    wear: Literal["little", "some", "worn-out"] | None = None
    months: Annotated[float, Field(ge=0, le=600)] | None = None


class Visit(Strict):
    """One customer's fitting: a reference code, never a name.

    `asked` tells of screening questions whether they were read out in a group or one by one;
    `measured_by` is the code of the fitter who asked and measured; `carried` has the day of
    answers that were taken over from an earlier visit, by what they are called at the counter.
    """

    reference: Annotated[
        str,
        Field(
            min_length=1,
            max_length=40,
            pattern=r"^[^\W_][\w.-]*$",
            description="a code of up to 40 letters, digits, dots and hyphens that begins with a "
            "letter or digit, without spaces",
        ),
    ]
    date: Day | None = None
    age_band: AgeBand | None = None
    body_mass_kg: Annotated[float, Field(ge=8, le=300)] | None = None
    purpose: Id | None = None
    shoe_size: ShoeSize | None = None
    own_shoes: OwnShoes | None = None
    keeps: Kept | None = None
    wishes: Wishes | None = None
    pain: list[Pain] | None = Field(default=None, max_length=40)
    answers: Annotated[dict[str, Answer], Field(max_length=400)] = {}
    asked: Annotated[dict[str, Literal["in-group", "singly"]], Field(max_length=400)] = {}
    measured_by: FitterCode | None = None
    carried: Annotated[dict[str, Day], Field(max_length=400)] = {}
    feet: Feet = Field(default_factory=Feet)
    follow_up: FollowUp | None = None
    trials: list[TrialStep] = Field(default=[], max_length=60)
    out: list[RuledOut] = Field(default=[], max_length=200)
    captures: list[Capture] = Field(default=[], max_length=40)
    decision: Decision | None = None
    remarks: Annotated[str, Field(max_length=2000)] = ""

    @model_validator(mode="after")
    def _each_step_once(self) -> Self:
        seen: set[tuple[str | None, str | None]] = set()
        for step in self.trials:
            what = (step.shoe, step.insole)
            if what in seen:
                worn = " with ".join(part for part in what if part) or "barefoot"
                raise ValueError(f"the trial `{worn}` stands twice; put all strides in one step")
            seen.add(what)
        return self
