"""Named numbers with unit and source: typed groups, read from ``rules/parameters/*.yaml``.

Each file is one group; ``contact-end`` in ``capture.yaml`` is
``parameters.capture.contact_end``. What a number means, and where it is from, stands beside it
in the file; its type here says what it may be at all. Every name of a group must be in its
file, and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_type_hints

from pydantic import Field, create_model, model_validator

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, RecommendError, nearest
from recommend.reading import Document, Strict, validate
from recommend.reading.texts import Texts

Kind = Literal["published", "derived", "common-practice", "from-memory", "assumption"]

Share = Annotated[float, Field(ge=0, le=1)]
Percent = Annotated[float, Field(ge=0, le=100)]
OfHundred = Annotated[float, Field(ge=-100, le=100)]
Score = Annotated[float, Field(ge=0, le=10)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Widening = Annotated[float, Field(ge=1)]  # a factor that an error grows by
Signed = Annotated[float, Field(ge=-1e6, le=1e6)]
Count = Annotated[int, Field(ge=1)]
Whole = Annotated[int, Field(ge=0)]
INFINITE = math.inf
_ADDED = {"sizing": "extra-"}  # what names that a rulebook may add to a group begin with


class ParameterGroup:
    """Numbers of one file. One with a value here was not in every earlier rulebook."""

    def __init__(self, numbers: Mapping[str, float]) -> None:
        """Hold `numbers`, by name as in the file."""
        whole = _whole(type(self).__name__.lower())
        for name, number in numbers.items():
            self.__dict__[_field(name)] = int(number) if name in whole else number

    def __getitem__(self, name: str) -> float:
        """The number called `name` as in the file, where its name is put together."""
        found: float = getattr(self, _field(name))
        return found

    if not TYPE_CHECKING:  # so that a misspelt name is found before the program runs

        def __getattr__(self, name: str) -> float:
            """What neither the rulebook nor its type names."""
            if name.startswith("__"):
                raise AttributeError(name)
            group = type(self).__name__.lower()
            raise RecommendError(f"this rulebook names no `{name.replace('_', '-')}` in {group}")


class Capture(ParameterGroup):
    """How captures are cleaned, cut into steps and measured."""

    cpei_line_from_toes: Share
    drift_medial_midfoot: OfHundred
    drift_medial_forefoot: OfHundred
    drift_lateral: OfHundred
    contact_end: Percent
    midstance_end: Percent
    recording_limit: Positive
    contact_threshold: NotNegative
    trim_force: NotNegative
    trim_most: Share
    step_force: NotNegative
    step_gap_ms: NotNegative
    step_min_ms: NotNegative
    step_min_area: NotNegative
    foot_gap: NotNegative
    foot_gap_aside: NotNegative
    specks_limit: Count
    footprint_least: NotNegative
    force_per_length: NotNegative
    width_most: Share
    small_length: Positive
    small_load: Positive
    toddler_length: NotNegative
    load_most: Positive
    late_start: Share
    askew: NotNegative
    askew_cut: NotNegative
    across: NotNegative
    back_again: Share
    side_doubt: Share
    baseline_noted: NotNegative
    dead_line: Count
    dead_line_led: Count
    footprint_share_half: Share
    footprint_share_least: Share
    footprint_share_most: NotNegative
    weight_least_walking: NotNegative
    weight_most_walking: NotNegative
    weight_least_running: NotNegative
    weight_most_running: NotNegative
    footprint_most: NotNegative
    footprint_usual: Positive
    force_least: NotNegative
    force_most: NotNegative
    partial_share: Share
    partial_length: Share
    still_travel: Positive
    still_force: Share
    edge_share: Share
    heel_share: Share
    heel_least: Share
    forefoot_low: Share
    forefoot_high: Share
    second_ray: Share
    midfoot_low: Share
    midfoot_high: Share
    toes_low: Share
    side_clear: Share
    side_least: Share
    heads_low: Share
    heads_high: Share
    toe_rise: Share
    toe_line: Share
    hallux_share: Share
    dead_share: Share
    dead_surround: NotNegative
    dead_limit: Share
    dead_widening: Widening
    saturated_sensors: Count
    saturated_widening: Widening
    steps_wanted: Count
    steps_needed: Count
    few_widening: Widening
    grid_arch_index: NotNegative
    usual_chippaux_smirak: Percent
    grid_chippaux_smirak: Percent
    usual_staheli: NotNegative
    grid_staheli: NotNegative
    grid_cpei: Percent
    usual_footprint: NotNegative
    grid_footprint: NotNegative
    usual_cop: NotNegative
    grid_cop: NotNegative
    usual_toe_out: NotNegative
    grid_toe_out: NotNegative
    usual_peak: Share
    grid_peak: NotNegative
    usual_integral: Share
    grid_integral: NotNegative
    region_least: NotNegative
    region_sensors: Whole
    usual_medial_lateral: Share
    grid_medial_lateral: NotNegative
    usual_contact_time: Share
    grid_contact_time: NotNegative
    rate_cpei: Percent
    rate_cop: NotNegative
    rate_contact_time: NotNegative
    isthmus_lost: NotNegative
    frames_path: Count
    path_smooth: Share
    path_pieces: Count
    cutoff_walking: Positive
    cutoff_running: Positive
    gap_longest_ms: NotNegative
    stance_longest_ms: NotNegative
    stance_shortest_ms: NotNegative
    heel_near: Share
    heel_jitter: NotNegative
    landing_about_ms: Positive
    landing_stop_ms: Positive
    landing_sharp: Share
    landing_before_peak: Share
    landing_least: Share
    cutoff_most: Share
    landing_window: Share
    peak_window: Share
    frames_landing_running: Count
    frames_landing: Count
    frames_peak: Count
    placing: NotNegative
    aim: NotNegative
    toe_out_usual: NotNegative
    toe_out_landing: NotNegative
    toe_out_landing_running: NotNegative
    toe_out_flat: NotNegative
    toe_out_propulsion: NotNegative
    toe_out_end: NotNegative
    toe_out_noted: NotNegative
    toe_out_limit: NotNegative
    peak_flat: NotNegative
    peak_dip: Positive
    peak_end: Percent
    toe_off_share: Share
    events_start_ms: NotNegative
    events_start_running_ms: NotNegative
    events_stop_share: Share
    usual_peak_time: Percent
    gaps_few: Share
    gaps_widening: Widening
    strides_needed: Count
    roll_noted: NotNegative
    roll_limit: NotNegative
    roll_widening: Widening
    jump_length: NotNegative
    jump_limit: Share
    still_range: NotNegative
    contact_least_walking: Positive
    contact_most_walking: Positive
    contact_least_running: Positive
    contact_most_running: Positive
    contact_late_ms: NotNegative
    mirror_fall: NotNegative
    angle_limit: NotNegative
    length_limit: Share
    exchange_moved: NotNegative
    exchange_nearer: Share
    exchange_reach: Count
    mirror_early: Percent
    mirror_from: Percent
    mirror_until: Percent
    walked_least: NotNegative
    mark_behind: NotNegative
    written_rounding: NotNegative = 0.11
    written_rounding_ratio: NotNegative = 0.0011


class Compare(ParameterGroup):
    """How customers are mixed over whom rules are held, and how often a shop sees such (`shop`)."""

    children: Share = 0.0
    painful: Share = 0.0
    answering: Share = 0.0
    unasked: Share = 0.0
    unmeasured: Share = 0.0
    otherwise: Share = 0.0
    shop_children: Share = 0.0
    shop_painful: Share = 0.0
    shop_answering: Share = 0.0
    shop_otherwise: Share = 0.0
    shop_made: Share = 0.0
    longest_pain: Count = 1
    few: Share = 0.0


class Coverage(ParameterGroup):
    """How customers are drawn and counted, and what is stocked."""

    customers: Count
    confidence: Share
    prior_visits: Count
    size_step: Positive
    size_range: NotNegative
    size_first: NotNegative
    size_last: NotNegative
    choice: Count
    program_entries: Count
    program_seconds: Positive
    correlation_none: NotNegative
    correlation_half: NotNegative
    correlation_strong: NotNegative
    scenario_customers: Count
    search_feet: Count
    seeds: Count
    brief_keeps: Share
    brief_edge: Share
    brief_least: Share
    gap_customers: Count
    grade_full: Share
    grade_most: Share
    thin: Count
    choice_worth: Share
    most_pairs: Count
    visit_draws: Count
    visit_customers: Count


class Discrimination(ParameterGroup):
    """How sharply the rulebook must tell customers apart."""

    customers: Count
    searched: Count
    asking: Count
    median_most: Count
    nine_tenths_most: Count
    overlap_most: Share


class Entry(ParameterGroup):
    """What is hardly possible at the counter, and how long readings take."""

    foot_length_low: NotNegative
    foot_length_high: NotNegative
    truncated_share_low: NotNegative
    truncated_share_high: NotNegative
    width_share_low: NotNegative
    width_share_high: NotNegative
    side_gap: NotNegative
    rise_under_load: NotNegative
    stride_spread: NotNegative
    touchdown_low: Signed = -14
    touchdown_high: Signed = 5
    peak_low: Signed = 0
    peak_high: Signed = 22
    midstance_low: Signed = -3
    midstance_high: Signed = 20
    propulsion_low: Signed = -8
    propulsion_high: Signed = 12
    standing_low: Signed = -4
    standing_high: Signed = 18
    relaxed_shift: NotNegative = 4
    heel_share_low: NotNegative = 0.18
    heel_share_high: NotNegative = 0.33
    read_out_most: Count
    child_carried_days: Count
    body_mass_low: NotNegative
    body_mass_high: NotNegative
    minutes_fixed: NotNegative
    minutes_posture: NotNegative
    minutes_heights: NotNegative
    minutes_footprint: NotNegative
    minutes_angles: NotNegative
    minutes_load_path: NotNegative


class Film(ParameterGroup):
    """How marks are found and followed in a film."""

    memory: Positive
    pixels: Count
    frames: Count
    quiet_s: Positive
    rate_near: Share
    rate_least: Positive
    mark_free: Share
    mark_full: Share
    spot_contrast: NotNegative
    seen_contrast: Share
    seen_levels: NotNegative
    look_worth: Share
    look_better: Positive
    spot_free: Share
    spot_full: Share
    spot_inside: NotNegative
    spot_long: Positive
    spot_smallest: Share
    spot_largest: Positive
    unlike_size: Positive
    unlike_tone: Positive
    unlike_most: Positive
    leg_least: Positive
    leg_most: Positive
    leg_lean: Positive
    heel_least: Positive
    heel_most: Positive
    heel_lean: Positive
    ankle_most: Positive
    leg_over_ankle: Positive
    leg_over_heel: Positive
    misfit_most: Positive
    legs_apart: NotNegative
    fifth_halfway: Share
    fifth_nearest: NotNegative
    fifth_furthest: Positive
    fifth_seen: Share
    fifth_other: Share
    reach: Positive
    gate_spread: Positive
    line_radii: NotNegative
    line_gates: NotNegative
    look_follows: Share
    leg_change: Share
    heel_change: Share
    ankle_change: Share
    free_change: Share
    full_change: Share
    covered_size: Share
    covered_width: Share
    nears_hz: Positive
    nears_least: Share
    belt_near: Positive
    belt_apart: Share
    belt_off: Positive
    belt_below: NotNegative
    edge_radii: NotNegative
    seen_least: Share
    second_leg: Share
    mark_radius_mm: Positive
    acceleration: Positive
    size_change: Share
    tone_change: Share
    missing_cost: Positive
    unsure_cost: Positive
    lost_s: NotNegative
    together_least: Count
    glimpse_s: NotNegative
    line_shortest_leg: Share
    line_longest_leg: NotNegative
    line_turned_leg: Positive
    line_shortest: Share
    line_longest: NotNegative
    line_turned: Positive
    unsure_limit: Share
    lost_noted_s: NotNegative
    smear_limit: Share
    smear_fast: Share
    smear_slow: Share
    contrast_least: NotNegative
    centre_most: NotNegative
    centre_times: NotNegative
    centre_least: Positive
    radius_least: NotNegative
    readout_s: NotNegative
    rows_noted: NotNegative
    crossed_limit: Share
    lost_limit: Share
    uneven: NotNegative
    uneven_limit: Share
    doubt_widening: Widening


class Lean(ParameterGroup):
    """How the lean of the rules is found."""

    adults: Count
    together: Count
    tolerance_factor: NotNegative


class Noise(ParameterGroup):
    """What is beyond the error of a reading."""

    clearly: NotNegative
    implausible: NotNegative
    few_strides: Count
    repeat_freedom: Count
    beyond_middle: Share = 0.6


class Orders(ParameterGroup):
    """How many of a size to order."""

    buys: Share
    service: Share
    prior: NotNegative
    season_weeks: Positive


class Rank(ParameterGroup):
    """How products are ranked."""

    weight_strong: NotNegative
    weight_usual: NotNegative
    weight_slight: NotNegative
    shown: Count
    met_steps: Whole = 0
    weight_length: NotNegative = 0.0
    weight_unasked_product: NotNegative = 0.0
    held_out: Share = 2.0
    overtaken: Share = 2.0
    width: NotNegative | None = None  # where it is not, nothing is ranked in groups
    own_oldest: Positive = INFINITE
    fits: NotNegative = 0.0  # where it is not, any weight against the fit counts first
    weight_kept: NotNegative = 0.0
    sure: Share


class Sheet(ParameterGroup):
    """What the page for the customer says of wearing in."""

    first_day_hours: NotNegative
    more_hours: NotNegative
    whole_day_hours: NotNegative
    sore_minutes: NotNegative
    sore_weeks: Count
    review_weeks: Count
    most_reasons: Count


class Sizing(ParameterGroup):
    """Lengths and sizes; with ``extra-`` and a purpose, what that purpose adds to the foot."""

    toe_allowance: NotNegative
    us_women_offset: NotNegative
    length_slack: NotNegative
    between_from: NotNegative
    heel_width_slack: NotNegative
    thick_insole: NotNegative
    worn_gap: NotNegative
    longest_over: NotNegative
    length_step: Positive = INFINITE
    shorter_lace: NotNegative = INFINITE
    shorter_fill: NotNegative = INFINITE
    shorter_split: NotNegative = INFINITE


class Sure(ParameterGroup):
    """How readings are redrawn."""

    draws: Count
    far: NotNegative


class Trial(ParameterGroup):
    """How what was tried on is judged, and what trials teach."""

    confidence: Share
    power: Share
    most_strides: Count
    few_strides: Count
    stride_resemblance: Share
    drift_confidence: Share
    load_stride_sd: Percent
    reading_step: Positive
    mark_shift: NotNegative
    largest_change: NotNegative
    comfort_poor: Score
    comfort_worth: NotNegative
    comfort_alike: NotNegative
    plan_small: NotNegative
    plan_large: NotNegative
    plan_most: Count
    prior_insole: Signed
    prior_insole_wedge: NotNegative
    prior_per_wedge: Signed
    prior_shoe: Signed
    prior_motion_control: Signed
    prior_kind_sd: Positive
    prior_profile_sd: Positive
    prior_product_sd: Positive
    prior_person_sd: Positive
    prior_person_weight: Count
    profile_wedge_step: Positive
    check_least: Count
    learned_weight: NotNegative


_GROUPS: dict[str, type[ParameterGroup]] = {
    kind.__name__.lower(): kind for kind in ParameterGroup.__subclasses__()
}


def _field(name: str) -> str:
    return name.replace("-", "_")


@cache
def _whole(group: str) -> frozenset[str]:
    """Names of the whole numbers of a group, as in the file."""
    stated = {name: str(one) for name, one in _GROUPS[group].__annotations__.items()}
    return frozenset(n.replace("_", "-") for n, one in stated.items() if one in ("Count", "Whole"))


@cache
def _model(group: str) -> type[Strict]:
    """What the values in the file of a group must be."""
    hints = get_type_hints(_GROUPS[group], include_extras=True)
    fields: dict[str, Any] = {name: (hint, ...) for name, hint in hints.items()}
    model: type[Strict] = create_model(group, __base__=Strict, **fields)
    return model


class Figure(Strict):
    """A bare number and where it comes from; its unit and meaning stand where it is used.

    `kind` says what stands behind it: a ``published`` value names its `source` in
    ``rules/sources.yaml``; a ``derived`` one follows from published figures by the arithmetic
    that its `note` states; ``common-practice`` has no source; ``from-memory`` is to be
    verified; an ``assumption`` is our engineering choice. `range` is within what it may
    plausibly lie.
    """

    value: float
    kind: Kind
    source: str | None = None
    note: str = ""
    range_: Annotated[list[float], Field(min_length=2, max_length=2)] | None = Field(
        default=None, alias="range"
    )

    @model_validator(mode="after")
    def _lies_in_its_range(self) -> Figure:
        if self.range_ is not None and not self.range_[0] <= self.value <= self.range_[1]:
            low, high = self.range_
            raise ValueError(f"{self.value:g} lies outside its own `range` of {low:g} to {high:g}")
        return self

    @model_validator(mode="after")
    def _published_names_its_source(self) -> Figure:
        if self.kind == "published" and not self.source:
            raise ValueError("a published value names its `source` (an id in sources.yaml)")
        if self.kind == "derived" and not (self.source and self.note):
            raise ValueError("a derived value names its `source` and its arithmetic in `note`")
        return self


class Sourced(Figure):
    """One named number with its unit, its meaning and where it comes from."""

    unit: str
    title: str


class ParametersFile(Strict):
    """A file of ``parameters/``: one group of numbers."""

    title: str
    values: dict[str, Sourced] = Field(min_length=1)


@dataclass(frozen=True, eq=False)
class Parameters:
    """All named numbers, by group.

    Attributes
    ----------
    numbers : by name with its group, such as ``capture.contact-end``.
    texts, folder : where they stand, for what is told of them; a part of them may stand nowhere.
    """

    numbers: Mapping[str, float]
    texts: Texts = field(default_factory=lambda: Texts("", {}, {}))
    folder: str = "parameters"
    capture: Capture = field(init=False, repr=False)
    compare: Compare = field(init=False, repr=False)
    coverage: Coverage = field(init=False, repr=False)
    discrimination: Discrimination = field(init=False, repr=False)
    entry: Entry = field(init=False, repr=False)
    film: Film = field(init=False, repr=False)
    lean: Lean = field(init=False, repr=False)
    noise: Noise = field(init=False, repr=False)
    orders: Orders = field(init=False, repr=False)
    rank: Rank = field(init=False, repr=False)
    sheet: Sheet = field(init=False, repr=False)
    sizing: Sizing = field(init=False, repr=False)
    sure: Sure = field(init=False, repr=False)
    trial: Trial = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Sort the numbers into their groups."""
        own: dict[str, dict[str, float]] = {group: {} for group in _GROUPS}
        for name, number in self.numbers.items():
            group, _, key = name.partition(".")
            own.setdefault(group, {})[key] = number
        self.__dict__.update({group: kind(own[group]) for group, kind in _GROUPS.items()})

    @classmethod
    def load(cls, folder: Path) -> Parameters:
        """Read every ``*.yaml`` in `folder`; errors as `of` raises them."""
        return cls.of(Texts.of_folder(folder, "*.yaml"), "")

    @classmethod
    def of(cls, texts: Texts, folder: str = "parameters", *, kept: bool = False) -> Parameters:
        """Read every file directly in a folder of `texts`.

        Those of a rulebook that was `kept` may lack what came later, and have what went since.

        Raises
        ------
        InputError
            If a file does not fit the schema, a name is missing or not known, or a number is
            beyond its bounds.
        """
        files = _files(texts, folder)
        if not files:
            raise InputError(texts.place(folder), "no parameter files (*.yaml) are here")
        for group in () if kept else _GROUPS:
            if group not in files:
                place = texts.place(f"{folder}/{group}.yaml".lstrip("/"))
                raise InputError(place, "there is no such file", mend=f"add the group `{group}`")
            validate(_model(group), _values(files[group][0]))
        for group, (document, _) in () if kept else files.items():
            if group not in _GROUPS:
                found = f"nothing reads the group `{group}`"
                place, mend = Place(document.file, 1), nearest(group, _GROUPS) or "remove the file"
                raise InputError(place, found, ", ".join(_GROUPS), mend)
        numbers = {
            f"{group}.{name}": one.value
            for group, (_, file) in files.items()
            for name, one in file.values.items()
        }
        return cls(numbers, texts, folder)

    @cached_property
    def sourced(self) -> dict[str, Sourced]:
        """By name, the number with what it means and where it comes from."""
        return {
            f"{group}.{name}": one
            for group, (_, file) in _files(self.texts, self.folder).items()
            for name, one in file.values.items()
        }

    def named(self, name: str) -> float:
        """The number that a text calls ``group.name``.

        Raises
        ------
        RecommendError
            If there is none, with the nearest spelling.
        """
        if name not in self.numbers:
            raise RecommendError(f"no parameter is called `{name}`; {nearest(name, self.numbers)}.")
        return self.numbers[name]

    def changed(self, numbers: Mapping[str, float]) -> Parameters:
        """The same with other values of some."""
        return Parameters({**self.numbers, **numbers}, self.texts, self.folder)


def _files(texts: Texts, folder: str) -> dict[str, tuple[Document, ParametersFile]]:
    """By group, its file as it was read and checked."""
    documents = {Path(name).stem: texts.document(name) for name in texts.under(folder or ".")}
    return {group: (one, validate(ParametersFile, one)) for group, one in documents.items()}


def _values(document: Document) -> Document:
    """The bare values of a file of parameters by name, each with its place.

    Names that a rulebook may add to are left to it.
    """
    added = _ADDED.get(Path(document.file).stem, "\0")
    values = {n: v for n, v in document.data["values"].items() if not n.startswith(added)}
    return Document(
        document.file,
        {name: one["value"] for name, one in values.items()},
        {(): (1, 1)} | {(n,): document.places["values", n, "value"] for n in values},
        {(n,): document.key_places["values", n] for n in values},
        document.text,
    )
