"""Measures from a visit: each by its definition, missing stays missing, doubts are flagged."""

from __future__ import annotations

import math
import statistics
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy import stats

from recommend.measure.definitions import (
    COMPUTED,
    OPTIONAL,
    Derivation,
    MeasureDef,
    ReadingError,
)
from recommend.measure.derived import error_of
from recommend.measure.model import Measure
from recommend.measure.observed import Observed, observe, reading_error
from recommend.rulebook import Rulebook
from recommend.visit.models import KEPT, Feet
from tests.shipped import angles, assessed, visit_of

ITEMS = (
    "talar-head", "malleolar-curves", "calcaneus", "talonavicular-bulge", "medial-arch",
    "forefoot-abduction",
)  # fmt: skip


def observed(book: Rulebook, *feet: dict[str, Any], **more: Any) -> Observed:
    """Measures of a visit with these feet."""
    return observe(visit_of(*feet, **more), book.measures, book.parameters)


def left(book: Rulebook, foot: dict[str, Any], **more: Any) -> dict[str, Measure]:
    """Measures that rules read of the left foot."""
    return dict(observed(book, foot, **more).used["left"])


@given(scores=st.lists(st.integers(-2, 2), min_size=6, max_size=6))
def test_the_posture_index_is_the_sum_of_its_items(book: Rulebook, scores: list[int]) -> None:
    """Redmond, Crosbie and Ouvrier 2006, Clin Biomech 21:89-98: six items, summed."""
    foot = {"fpi": {"items": dict(zip(ITEMS, scores, strict=True))}}
    assert left(book, foot)["fpi"].value == sum(scores)


@pytest.mark.parametrize("missing", ITEMS)
def test_five_items_make_no_total(book: Rulebook, missing: str) -> None:
    """An item that was not scored is not a zero."""
    scored = {name: 1 for name in ITEMS if name != missing}
    assert "fpi" not in left(book, {"fpi": {"items": scored}})


def test_the_arch_height_ratio_is_dorsum_height_over_truncated_length(book: Rulebook) -> None:
    """Williams and McClay 2000, Phys Ther 80:864-871; the arch rigidity index is standing
    over sitting, as the gait study center of Temple University names it.
    """
    foot = {
        "truncated-foot-length-mm": 190.0,
        "dorsum-height-mm": {"sitting": [68.0] * 4, "standing": [64.6] * 4},
    }
    measures = left(book, foot)
    assert measures["arch-height-ratio"].value == pytest.approx(64.6 / 190)
    assert measures["arch-rigidity"].value == pytest.approx(0.95)
    sitting_ratio, standing_ratio = 68.0 / 190, 64.6 / 190
    assert measures["arch-rigidity"].value == pytest.approx(standing_ratio / sitting_ratio)


def test_rigidity_is_called_nothing_until_it_is_read_often_enough(book: Rulebook) -> None:
    """One pair has an error about as large as the spread of people; four pairs halve it."""
    for pairs, called in ((1, False), (3, False), (4, True)):
        heights = {"sitting": [68.0] * pairs, "standing": [64.6] * pairs}
        seen = observed(book, {"dorsum-height-mm": heights})
        assert ("arch-rigidity" in seen.used["left"]) == called
        beside = [m for m in seen.further["left"] if m.name == "arch-rigidity"]
        assert [flag.name for m in beside for flag in m.flags] == ([] if called else ["too-unsure"])


def test_a_rulebook_with_the_former_name_of_a_measure_computes_it_under_that_name(
    book: Rulebook,
) -> None:
    """A shop's own rules that say `arch-stiffness` still get the reading, and no second one."""
    # The former name of the arch rigidity index.
    names = {"arch-rigidity": "arch-stiffness"}
    former = {names.get(name, name): one for name, one in book.measures.items()}
    foot = {"dorsum-height-mm": {"sitting": [68.0] * 4, "standing": [64.6] * 4}}
    used = observe(visit_of(foot), former, book.parameters).used["left"]
    assert not set(names) & set(used)
    assert used["arch-stiffness"].value == pytest.approx(64.6 / 68.0)


def test_williams_cuts_are_one_and_a_half_sd_from_their_mean() -> None:
    """Williams et al. 2001, Clin Biomech 16:341-347, cuts 0.356 and 0.275: its own figures agree
    with mean 0.316 and SD 0.027, which is why ours are taken 1.5 SD from our mean.
    """
    assert pytest.approx(0.356, abs=0.001) == 0.316 + 1.5 * 0.027
    assert pytest.approx(0.275, abs=0.001) == 0.316 - 1.5 * 0.027


@pytest.mark.parametrize("lacking", ["truncated-foot-length-mm", "dorsum-height-mm"])
def test_half_a_ratio_is_no_ratio(book: Rulebook, lacking: str) -> None:
    """Without one of its two lengths there is no ratio."""
    foot = {"truncated-foot-length-mm": 190.0, "dorsum-height-mm": {"standing": 64.6}}
    assert "arch-height-ratio" not in left(book, {k: v for k, v in foot.items() if k != lacking})
    assert "arch-rigidity" not in left(book, foot)


def test_navicular_drop_is_sitting_less_standing(book: Rulebook) -> None:
    """Brody 1982: how far the navicular sinks; one that rises is negative, not hidden."""
    for sitting, standing in ((45.0, 38.5), (40.0, 41.0)):
        foot = {"navicular-height-mm": {"sitting": sitting, "standing": standing}}
        assert left(book, foot)["navicular-drop"].value == pytest.approx(sitting - standing)


# --- errors -------------------------------------------------------------------------------------

STRIDES = st.lists(st.floats(-20, 20), min_size=1, max_size=40)


def _definition(single: float, floor: float) -> MeasureDef:
    error = ReadingError(single=single, floor=floor, kind="assumption")
    return MeasureDef(title="x", unit="deg", plain="x", error=error)


@given(strides=STRIDES.filter(lambda values: len(values) >= 7))
def test_many_strides_carry_the_standard_error_of_their_mean(
    book: Rulebook, strides: list[float]
) -> None:
    """scipy.stats.sem, from as many strides as the scatter is trusted from."""
    assert book.parameters.noise.few_strides == 7
    error = reading_error(_definition(1.5, 0.0), strides, book.parameters)
    assert error == pytest.approx(float(stats.sem(strides)), abs=1e-9)


@given(strides=STRIDES, floor=st.floats(0, 3))
def test_what_repeating_cannot_remove_is_added_in_quadrature(
    book: Rulebook, strides: list[float], floor: float
) -> None:
    """sqrt(sem squared plus floor squared); the error is never below the floor."""
    without = reading_error(_definition(1.5, 0.0), strides, book.parameters)
    error = reading_error(_definition(1.5, floor), strides, book.parameters)
    assert error == pytest.approx(math.sqrt(without**2 + floor**2))
    assert error >= floor


@given(strides=STRIDES.filter(lambda values: len(values) < 7))
def test_few_strides_are_not_trusted_to_scatter_little(
    book: Rulebook, strides: list[float]
) -> None:
    """The larger of their scatter and the error of one reading, over the root of their number."""
    spread = statistics.stdev(strides) if len(strides) > 1 else 0.0
    error = reading_error(_definition(1.5, 0.0), strides, book.parameters)
    assert error == pytest.approx(max(spread, 1.5) / math.sqrt(len(strides)))


def test_a_typed_mean_is_as_sure_as_the_strides_behind_it(book: Rulebook) -> None:
    """Standard error of the mean, s / sqrt(n), with n as it was typed; a textbook formula."""
    known = book.measures["peak-angle"].error
    assert known is not None
    measure = left(book, angles("walking", peak=[5.0], **{"mean-of": 10}))["peak-angle"]
    assert measure.n == 10
    assert measure.error == pytest.approx(math.hypot(known.single / math.sqrt(10), known.floor))


def test_an_angle_is_the_mean_of_its_strides(book: Rulebook) -> None:
    """Value, number of strides and what the angle only means together with."""
    measure = left(book, angles("walking", peak=[4.0, 5.0, 7.5]))["peak-angle"]
    assert measure.value == pytest.approx(statistics.fmean([4.0, 5.0, 7.5]))
    assert measure.n == 3
    assert measure.qualifiers == {"gait": "walking", "reference": "vertical"}


def test_the_range_of_pronation_is_taken_stride_by_stride(book: Rulebook) -> None:
    """Peak less first contact of each stride, so that a drifting camera cancels."""
    touchdown, peak = [-3.0, -1.0, -2.0], [5.0, 6.0, 6.5]
    measures = left(book, angles("running", touchdown=touchdown, peak=peak))
    each = [top - start for start, top in zip(touchdown, peak, strict=True)]
    assert measures["rearfoot-range"].value == pytest.approx(statistics.fmean(each))
    typed = left(book, angles("running", touchdown=touchdown, peak=peak, range=[9.0]))
    assert typed["rearfoot-range"].value == 9.0


def test_a_range_of_different_strides_is_wider_never_silent(book: Rulebook) -> None:
    """Where strides cannot be paired, mean less mean stands with the errors of both readings."""
    strides = {"touchdown": [-3.0, -2.0], "peak": [5.0, 6.0, 6.5], "propulsion": [1.0]}
    measures = left(book, angles("running", **strides))
    assert measures["rearfoot-range"].value == pytest.approx(35 / 6 + 2.5)
    assert measures["rearfoot-return"].value == pytest.approx(35 / 6 - 1.0)
    errors = [measures[f"{name}-angle"].error for name in ("touchdown", "peak")]
    assert measures["rearfoot-range"].error == pytest.approx(math.hypot(*errors))


def test_the_return_is_taken_stride_by_stride(book: Rulebook) -> None:
    """How far it has come back: peak of the whole stance less the mean of propulsion."""
    peak, propulsion = [5.0, 6.0, 6.5], [1.0, 0.0, 2.0]
    measures = left(book, angles("walking", peak=peak, propulsion=propulsion))
    assert measures["rearfoot-return"].value == pytest.approx((4 + 6 + 4.5) / 3)
    assert measures["rearfoot-return"].qualifiers == {"gait": "walking"}


def test_an_older_reading_of_contact_alone_is_no_peak(book: Rulebook) -> None:
    """The largest angle of the phase of contact keeps its own name: no peak, range or return."""
    old = angles("walking", touchdown=[-1.0], contact=[4.0], propulsion=[1.0])
    measures = left(book, old)
    assert measures["contact-angle"].value == 4.0
    assert not {"peak-angle", "rearfoot-range", "rearfoot-return"} & set(measures)


def test_the_place_among_people_is_of_the_same_gait_and_zero(book: Rulebook) -> None:
    """A neutral-zero angle within its own norm is not implausible; without a norm none is."""
    running = angles("running", "subtalar-neutral", peak=[20.0] * 8)
    assert left(book, running)["peak-angle"].flags == ()
    walking = left(book, angles("walking", "vertical", peak=[20.0] * 8))["peak-angle"]
    assert [flag.name for flag in walking.flags] == ["implausible"]
    unknown = left(book, angles("walking", "subtalar-neutral", peak=[20.0] * 8))
    assert unknown["peak-angle"].flags == ()
    sensor = {"arch-index": {"value": 0.02, "kind": "pressure-weighted", "load": "dynamic"}}
    assert left(book, sensor)["arch-index"].flags == ()


@pytest.mark.parametrize("name", ["touchdown", "contact", "midstance", "propulsion"])
def test_no_other_angle_of_a_stride_is_above_its_peak(name: str) -> None:
    """The peak is the largest of the whole stance: a larger one is a slip, and is said."""
    with pytest.raises(ValueError, match="largest angle of the whole stance"):
        visit_of(angles("walking", peak=[5.0, 6.0], **{name: [5.0, 6.5]}))
    visit_of(angles("walking", peak=[5.0, 6.0], **{name: [5.1, 6.1]}))


def test_a_difference_carries_the_errors_of_both_feet(book: Rulebook) -> None:
    """Errors of two independent readings add in quadrature; both feet carry the difference."""
    one, other = angles("walking", peak=[4.0] * 3), angles("walking", peak=[9.0, 10.0, 11.0])
    used = observed(book, one, other).used
    for side in ("left", "right"):
        gap = used[side]["peak-difference"]
        assert gap.value == pytest.approx(6.0)
        errors = [used[foot]["peak-angle"].error for foot in ("left", "right")]
        assert gap.error == pytest.approx(math.dist((0, 0), [e for e in errors if e is not None]))


def test_feet_of_two_lengths_have_a_difference(book: Rulebook) -> None:
    """205 and 240 mm are 35 mm apart; one foot alone has no difference, which is not a zero."""
    one, other = {"foot-length-mm": 205.0}, {"foot-length-mm": 240.0}
    used = observed(book, one, other).used
    assert [used[side]["length-difference"].value for side in ("left", "right")] == [35.0, 35.0]
    assert "length-difference" not in observed(book, one, {}).used["left"]


def test_a_rulebook_from_before_a_measure_was_computed_goes_without_it(book: Rulebook) -> None:
    """Records keep their rulebooks, and those must still be derived from."""
    older = {name: one for name, one in book.measures.items() if name not in OPTIONAL}
    visit = visit_of({"foot-length-mm": 205.0}, {"foot-length-mm": 240.0})
    used = observe(visit, older, book.parameters).used
    assert "foot-length" in used["left"]
    assert "length-difference" not in used["left"]


def test_no_pain_is_told_and_carries_no_error(book: Rulebook) -> None:
    """'None' is no reading of a scale: redrawing it must not invent a pain."""
    none = left(book, {}, pain=[])["pain-score"]
    some = left(book, {}, pain=[{"site": "heel", "side": "left", "score": 3}])["pain-score"]
    assert (none.value, none.error) == (0.0, 0.0)
    assert some.value == 3.0
    assert some.error


# --- which reading rules read -------------------------------------------------------------------


def test_readings_of_two_zeros_are_kept_apart(book: Rulebook) -> None:
    """Vertical is what rules read; the other reference stands beside it, untouched."""
    foot = angles("walking", "subtalar-neutral", contact=10.9)
    foot["rearfoot"].append({"gait": "walking", "reference": "vertical", "contact": 4.0})
    seen = observed(book, foot)
    assert seen.used["left"]["contact-angle"].value == 4.0
    assert [m.value for m in seen.further["left"]] == [10.9]
    assert [m.qualifiers["reference"] for m in seen.further["left"]] == ["subtalar-neutral"]


def test_no_difference_is_taken_across_zeros(book: Rulebook) -> None:
    """A left angle from vertical and a right one from neutral have no difference."""
    one, other = (angles("walking", zero, peak=5.0) for zero in ("vertical", "subtalar-neutral"))
    assert "peak-difference" not in observed(book, one, other).used["left"]


@pytest.mark.parametrize(
    ("purpose", "read"), [("running", 9.8), ("walking", 6.1), ("standing-work", 6.1)]
)
def test_the_gait_of_the_purpose_is_read(book: Rulebook, purpose: str, read: float) -> None:
    """Who runs is judged by running, everyone else by walking; the other stands beside."""
    foot = angles("walking", contact=6.1)
    foot["rearfoot"].append({"gait": "running", "reference": "vertical", "contact": 9.8})
    foot["rearfoot"].append({"gait": "standing", "reference": "vertical", "angle": 4.4})
    seen = observed(book, foot, purpose=purpose)
    assert seen.used["left"]["contact-angle"].value == read
    assert seen.used["left"]["standing-angle"].value == 4.4
    assert {m.value for m in seen.further["left"]} == {6.1, 9.8} - {read}


# --- missing and doubtful -----------------------------------------------------------------------


def test_nothing_measured_gives_no_measure(book: Rulebook) -> None:
    """A foot of which nothing was taken has no measure at all: nothing is read as zero."""
    assert left(book, {}) == {}


def test_pain_that_was_not_asked_is_not_none(book: Rulebook) -> None:
    """No list of pain: unknown. An empty list: asked, and none. Pain without score: unknown."""
    assert "pain-score" not in left(book, {})
    assert left(book, {}, pain=[])["pain-score"].value == 0
    sore = [{"site": "heel", "side": "left"}]
    assert "pain-score" not in left(book, {}, pain=sore)
    other = observed(book, {}, pain=sore).used["right"]
    assert other["pain-score"].value == 0
    scored = [*sore, {"site": "arch", "side": "both", "score": 4, "weeks": 3}]
    assert left(book, {}, pain=scored)["pain-score"].value == 4


@given(distance=st.floats(-8, 8))
def test_a_value_beyond_four_sd_is_kept_and_flagged(book: Rulebook, distance: float) -> None:
    """Implausible is not impossible: the value stands, with a doubt beside it."""
    norm = book.measures["arch-height-ratio"].norm
    assert norm is not None
    value = norm.mean + distance * norm.sd
    foot = {"truncated-foot-length-mm": 190.0, "dorsum-height-mm": {"standing": value * 190}}
    measure = left(book, foot)["arch-height-ratio"]
    assert measure.value == pytest.approx(value)
    if abs(abs(distance) - 4) > 1e-6:
        assert bool(measure.flags) == (abs(distance) > 4)


def test_a_pattern_that_its_path_belies_is_read_from_the_path(book: Rulebook) -> None:
    """The path is the recording and the word an opinion of it; the difference is flagged."""
    straight = [[0.0, y] for y in range(10, 250, 10)]
    cop = {"pattern": "medial-late", "path-mm": straight}
    foot = {"foot-length-mm": 260.0, "forefoot-width-mm": 100.0, "cop": cop}
    measures = left(book, foot)
    assert measures["cop-pattern"].value == "central"
    assert [flag.name for flag in measures["cop-pattern"].flags] == ["pattern-differs-from-path"]
    assert measures["cpei"].value == pytest.approx(0.0, abs=1e-9)


def test_every_measure_that_is_made_is_in_the_list_of_those_computed(book: Rulebook) -> None:
    """The list that a rulebook is checked against leaves nothing out and invents nothing."""
    foot = {
        "fpi": {"total": 3}, "foot-length-mm": 260, "truncated-foot-length-mm": 190,
        "forefoot-width-mm": 100, "heel-width-mm": 64,
        "dorsum-height-mm": {"sitting": [68] * 4, "standing": [64] * 4},
        "navicular-height-mm": {"sitting": 45, "standing": 40},
        "arch-index": {"value": 0.23, "kind": "ink", "load": "static"},
        "cop": {"path-mm": [[0, y] for y in range(10, 250, 10)]},
        **angles(
            "walking", touchdown=-2.0, contact=4.0, peak=5.0, midstance=2.0, propulsion=-1.0,
            **{"peak-time": 40.0},
        ),
    }  # fmt: skip
    foot["rearfoot"].append({"gait": "standing", "reference": "vertical", "angle": 4.0})
    pain = [{"site": "heel", "side": "left", "score": 1, "weeks": 2}]
    back = {
        "of": "QB-1", "weeks-of-wear": 3, "comfort": {"overall": 6}, "pain-sites-before": pain,
    }  # fmt: skip
    made = left(book, foot, pain=pain, body_mass_kg=70, age_band="child", follow_up=back)
    declared = {name for name, one in book.measures.items() if one.derived}
    made = {name: one for name, one in made.items() if name in COMPUTED or name not in declared}
    assert set(made) == set(COMPUTED) & set(book.measures)
    for name, measure in made.items():
        assert measure.unit == COMPUTED[name][0] == book.measures[name].unit
        assert set(COMPUTED[name][1]) <= set(measure.qualifiers)
        assert set(measure.qualifiers) <= set(book.measures[name].qualifiers)


@pytest.mark.parametrize(
    ("pain", "shared"),
    [
        ([("both", 5)], True),
        ([("both", 5), ("left", 3)], True),  # the worst of each side is still the one answer
        ([("both", 5), ("left", 7)], False),
        ([("left", 5), ("right", 5)], False),
        ([], False),
    ],
)
def test_one_reading_of_the_person_is_told_from_two(
    book: Rulebook, pain: list[tuple[str, int]], shared: bool
) -> None:
    """Body weight is one reading for both feet; pain only when it was answered of both at once."""
    entries = [{"site": "heel", "side": side, "score": score} for side, score in pain]
    made = observed(book, {"fpi": {"total": 3}}, pain=entries, body_mass_kg=70).used
    for side in ("left", "right"):
        assert made[side]["body-mass"].shared
        assert made[side]["pain-score"].shared is shared
    assert not made["left"]["fpi"].shared


@pytest.mark.parametrize(
    ("foot", "more", "measure"),
    [
        ({"foot-length-mm": 395}, {}, "foot-length"),
        ({"foot-length-mm": 265, "forefoot-width-mm": 40}, {}, "forefoot-width"),
        ({}, {"body_mass_kg": 280}, "body-mass"),
        (angles("walking", midstance=[-30]), {}, "midstance-angle"),
    ],
)
def test_what_is_hardly_possible_is_flagged_without_a_norm(
    foot: dict[str, Any], more: dict[str, Any], measure: str
) -> None:
    """A value beyond what is likely at all is taken and flagged; one well within is not."""
    seen = assessed(foot, **more).feet["left"].measures[measure]
    assert [flag.name for flag in seen.flags] == ["implausible"]
    plain = assessed({"foot-length-mm": 265, "forefoot-width-mm": 100}, body_mass_kg=80)
    assert not any(one.flags for one in plain.feet["left"].measures.values())


def test_a_standing_angle_from_standing_is_refused() -> None:
    """It is 0 by definition; what an earlier version took is read all the same."""
    feet = angles("standing", "relaxed-standing", angle=[3.0])
    with pytest.raises(ValidationError, match="0 by definition"):
        Feet.model_validate({"left": feet})
    assert Feet.model_validate({"left": feet}, context=KEPT).left.rearfoot


@pytest.mark.parametrize(
    ("how", "error"),
    [({"difference": ["a", "b"]}, 5.0), ({"sum": ["a", "b"]}, 5.0), ({"between-feet": "a"}, 5.0),
     ({"ratio": ["a", "b"]}, 0.02)],
)  # fmt: skip
def test_the_error_of_what_follows_from_two_readings(how: dict[str, Any], error: float) -> None:
    """By hand: errors of 3 and 4 make 5 in quadrature; a ratio has the error that was measured."""
    assert error_of(Derivation.model_validate(how), 0.02, [3.0, 4.0]) == error
