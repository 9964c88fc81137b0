"""Angles of invented strides whose truth is known, and the doubts bad marks raise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from recommend.errors import InputError
from recommend.measure.definitions import ReadingError
from recommend.measure.doubts import cross_checked
from recommend.measure.pressure import measure_pressure
from recommend.measure.video import measure_marks
from recommend.measure.video.cleaning import clean_marks
from recommend.measure.video.stance import heel_stances
from recommend.measure.video.strides import Stride, peaks_of
from recommend.visit.models import Visit
from tests.invented.gait_model import Gait, truth
from tests.measure.conftest import filmed, recording
from tests.measure.pressure.test_pressure_measures import askew_steps

ANGLES = ("touchdown-angle", "contact-angle", "midstance-angle", "propulsion-angle")


def flags(measured) -> dict[str, str]:
    """Flags by name, with their effect."""
    return {flag.name: flag.effect for flag in measured.flags}


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("peak", [2.0, 5.0, 11.0])
def test_angles_of_invented_strides_are_recovered(parameters, defs, side, peak):
    """Each phase's angle lies within two stated errors of the curve the marks were made from."""
    gait = Gait(side=side, peak=peak)

    measured = measure_marks(filmed(gait, 10, seed=3), None, parameters, defs)

    for name, true in truth(gait).items():
        found = measured.find(name)
        assert abs(found.value - true) < 2.0 * found.error, name
        assert found.n == 10


def test_a_peak_after_the_first_part_of_stance_is_read_where_it_is(parameters, defs):
    """A peak of 11.3 degrees at 42 % of stance is read as such, not as the largest before 27 %."""
    gait = Gait(touchdown=0.5, peak=11.3, peak_at=0.42, late=1.0, rate=60)

    measured = measure_marks(filmed(gait, 8), None, parameters, defs)

    assert measured.find("peak-angle").value == pytest.approx(11.3, abs=0.6)
    assert measured.find("peak-time").value == pytest.approx(42, abs=4)
    assert measured.find("rearfoot-range").value == pytest.approx(10.8, abs=0.6)
    assert measured.find("peak-angle").value > measured.find("contact-angle").value + 2


@pytest.mark.parametrize(
    ("rate", "stance", "given"), [(25, 0.68, False), (60, 0.68, True), (60, 0.24, False)]
)
def test_a_rate_too_low_for_first_contact_withdraws_it_and_names_one_that_would_do(
    parameters, defs, rate, stance, given
):
    """Walking at 25 and running at 60 frames a second cannot tell touchdown; 60 can of walking."""
    film = filmed(Gait(rate=rate, stance_s=stance), 8)
    film = replace(film, gait="running" if stance < 0.4 else "walking")

    measured = measure_marks(film, None, parameters, defs)

    assert (measured.find("touchdown-angle") is not None) is given
    assert (measured.find("rearfoot-range") is not None) is given
    words = [flag.detail for flag in measured.flags if flag.name == "rate-too-low-for-landing"]
    assert bool(words) is not given
    assert all("would do" in text for text in words)


def test_a_foot_turned_out_is_said_and_its_tipped_angles_withdrawn(parameters, defs):
    """Toe-out in the head widens errors from 8 degrees and withdraws landing and push-off at 20."""
    plain, noted, far = (
        measure_marks(replace(filmed(Gait()), toe_out_deg=out), None, parameters, defs)
        for out in (0.0, 10.0, 20.0)
    )

    assert "foot-turned-out" not in flags(plain)
    assert noted.find("touchdown-angle").error > plain.find("touchdown-angle").error
    assert flags(far)["foot-turned-too-far"] == "removed"
    assert far.find("touchdown-angle") is None
    assert far.find("peak-angle") is not None


def test_a_frame_or_two_of_hundreds_and_those_at_the_ends_are_no_gap(parameters, defs):
    """Four frames bridged of some thousand, and two lost as the film ends, are not doubted."""
    points = filmed(Gait()).points
    points[60:64] = points[-2:] = np.nan
    assert 0.01 * len(points) > 4
    measured = measure_marks(replace(filmed(Gait()), points=points), None, parameters, defs)
    assert not {"gaps-bridged", "gaps-left"} & set(flags(measured))


@pytest.mark.parametrize(("fall", "told"), [(1.0, True), (0.2, False)])
def test_a_rise_as_the_foot_leaves_hides_no_peak_before_it(parameters, fall, told):
    """A top of 11 degrees at 40 % from which the angle falls is the peak, if 14 come after it."""
    share = np.array([0, 40, 65, 86, 100]) / 100
    angle = np.interp(np.linspace(0, 1, 81), share, [0.0, 11.0, 11.0 - fall, 12.0, 14.0])
    stride = Stride(0.0, 80.0, np.arange(81), angle, angle)
    peaks = peaks_of([stride, stride], stride.curve(), 0.0, parameters.capture)
    assert peaks.at_the_end is not told
    if told:
        assert peaks.times == pytest.approx([40, 40], abs=1)
        assert peaks.angles == pytest.approx([11, 11], abs=0.6)


def test_the_terms_of_every_error_add_up_to_it(parameters, defs):
    """In quadrature, doubts included, the terms of each measure come to the error stated."""
    points = filmed(Gait()).points
    for start in range(60, len(points), 60):
        points[start : start + 4] = np.nan
    measured = measure_marks(replace(filmed(Gait()), points=points), None, parameters, defs)

    for measure in measured.measures:
        terms = measured.budget(measure).terms
        assert np.hypot.reduce(list(terms.values())) == pytest.approx(measure.error), measure.name
    assert "doubts" in measured.budget(measured.find("peak-angle")).terms


def test_a_foot_that_everts_late_shows_it_in_propulsion(parameters, defs):
    """Common practice, no source: a late pronator is ordinary in contact, everted in propulsion."""
    late = measure_marks(filmed(Gait(peak=6, peak_at=0.75, late=4)), None, parameters, defs)
    plain = measure_marks(filmed(Gait()), None, parameters, defs)

    assert late.find("propulsion-angle").value > plain.find("propulsion-angle").value + 4
    assert late.find("peak-time").value > 60 > plain.find("peak-time").value


def standing(film):
    """The frames of a film in which the foot stands flat."""
    first = int(np.flatnonzero(film.contact)[0])
    return replace(film, points=film.points[first : first + 30], contact=None)


def test_a_still_capture_that_walks_is_refused(parameters, defs):
    """The zero is never taken from a film in which the heel is lifted."""
    with pytest.raises(InputError, match="still-moves"):
        measure_marks(filmed(Gait()), filmed(Gait()), parameters, defs)


def test_leg_and_heel_exchanged_throughout_are_refused(parameters, defs):
    """Heel marks above leg marks name the fault and the way to mend it."""
    film = filmed(Gait())
    with pytest.raises(InputError, match="leg-heel-exchanged"):
        measure_marks(replace(film, points=film.points[:, [2, 3, 0, 1]]), None, parameters, defs)


@pytest.mark.parametrize(
    ("fault", "name"),
    [
        (lambda f: replace(f, rate_hz=240.0), "implausible-rate"),
        (lambda f: replace(f, contact=~f.contact), "contact-inverted"),
        (lambda f: replace(f, contact=np.roll(f.contact, 14)), "contact-late"),
        (lambda f: replace(f, contact=np.roll(f.contact, 24)), "contact-late"),
        (lambda f: replace(f, points=f.points * [-1.0, 1.0]), "film-mirrored"),
        (lambda f: replace(f, side="right"), "film-mirrored"),
    ],
)
def test_a_fault_of_the_whole_film_has_a_name_and_withdraws(parameters, defs, fault, name):
    """A wrong rate, an inverted or late contact column and a mirrored film are said."""
    measured = measure_marks(fault(filmed(Gait(touchdown=-3))), None, parameters, defs)

    assert flags(measured)[name] == "removed"
    assert measured.find("touchdown-angle") is None
    assert not flags(measure_marks(filmed(Gait(touchdown=-3)), None, parameters, defs)).keys() - {
        "level-unknown"
    }


@pytest.mark.parametrize(("true", "written"), [(60, 240), (240, 60), (100, 400), (400, 100)])
def test_a_rate_four_times_off_is_named_with_the_true_one_and_nothing_else_is(
    parameters, defs, true, written
):
    """Slow motion headed life, and life headed slow motion, name the true rate in one sentence."""
    film = replace(filmed(Gait(rate=true)), rate_hz=float(written))
    try:
        found = measure_marks(film, None, parameters, defs)
        said = [flag.detail for flag in found.flags if flag.effect == "removed"]
        assert not found.measures
    except InputError as error:
        said = [str(error)]

    assert len(said) == 1
    assert f"likely {true})" in said[0]


def test_a_still_capture_becomes_the_zero(parameters, defs):
    """With relaxed standing at 3 degrees, every angle reads 3 less and says so."""
    gait = Gait(peak=6)
    still = standing(filmed(Gait(touchdown=3, peak=3, late=3), 2, spread_deg=0.0, click_px=0.0))
    plain = measure_marks(filmed(gait), None, parameters, defs)
    zeroed = measure_marks(filmed(gait), still, parameters, defs)

    assert plain.find("contact-angle").qualifiers == {"gait": "walking", "reference": "vertical"}
    assert zeroed.find("contact-angle").qualifiers["reference"] == "relaxed-standing"
    for name in ANGLES:
        assert zeroed.find(name).value == pytest.approx(plain.find(name).value - 3.0, abs=0.05)
    assert zeroed.find("rearfoot-range").value == pytest.approx(
        plain.find("rearfoot-range").value, abs=1e-9
    )


def test_standing_marks_give_one_standing_angle(parameters, defs):
    """A still capture by itself is one reading of the standing angle."""
    still = replace(filmed(Gait(touchdown=4, peak=4, late=4), 2, spread_deg=0.0), gait="standing")

    measured = measure_marks(still, None, parameters, defs)

    assert measured.find("standing-angle").value == pytest.approx(4.0, abs=0.2)
    assert measured.find("standing-angle").n == 1
    assert measured.find("contact-angle") is None


def test_short_gaps_are_bridged_said_and_widened(parameters, defs):
    """Dropped frames inside a stride are bridged; the angle stays, the error grows."""
    whole = filmed(Gait())
    points = whole.points.copy()
    for start in (60, 170, 300):
        points[start : start + 4] = np.nan
    measured = measure_marks(replace(whole, points=points), None, parameters, defs)
    plain = measure_marks(whole, None, parameters, defs)

    assert flags(measured)["gaps-bridged"] == "widened"
    assert measured.n == plain.n
    assert measured.find("midstance-angle").value == pytest.approx(
        plain.find("midstance-angle").value, abs=0.2
    )
    assert measured.find("midstance-angle").error > plain.find("midstance-angle").error


def test_long_gaps_lose_their_stride_and_are_said(parameters, defs):
    """A gap too long to bridge removes the stride it lies in, and no other."""
    whole = filmed(Gait())
    points = whole.points.copy()
    middle = np.flatnonzero(whole.contact)[30]
    points[middle : middle + 20] = np.nan
    measured = measure_marks(replace(whole, points=points), None, parameters, defs)

    assert measured.n == 7
    assert {"gaps-left", "stride-broken"} <= flags(measured).keys()


def test_exchanged_marks_are_put_back_and_said(parameters, defs):
    """Upper and lower heel exchanged in single frames change nothing but the error."""
    whole = filmed(Gait())
    points = whole.points.copy()
    for frame in (70, 71, 200, 310):
        points[frame, [2, 3]] = points[frame, [3, 2]]
    measured = measure_marks(replace(whole, points=points), None, parameters, defs)
    plain = measure_marks(whole, None, parameters, defs)

    assert flags(measured)["marks-swapped"] == "widened"
    for name in ANGLES:
        assert measured.find(name).value == pytest.approx(plain.find(name).value, abs=0.05)


def test_marks_exchanged_while_the_heel_moves_fast_are_put_back(parameters, defs):
    """Every frame of a stride in turn may be exchanged, at 60 frames a second: it is found."""
    whole = filmed(Gait(rate=60), 4, click_px=0.2)
    for frame in range(70, 140):
        points = whole.points.copy()
        points[frame, [2, 3]] = points[frame, [3, 2]]
        mended = clean_marks(replace(whole, points=points), None, parameters).mended
        plain = clean_marks(whole, None, parameters).mended
        assert np.abs(mended.points - plain.points).max() < 1e-6, frame


def test_marks_named_wrongly_throughout_are_refused(parameters, defs):
    """Upper and lower marks exchanged in all frames are refused with what to do."""
    whole = filmed(Gait())
    with pytest.raises(
        InputError, match=r"lies below .* exchange the two columns|Exchange the two"
    ):
        measure_marks(replace(whole, points=whole.points[:, [1, 0, 2, 3]]), None, parameters, defs)


def test_a_jump_is_taken_out_and_said(parameters, defs):
    """A mark that jumps across the picture for a frame is taken out."""
    whole = filmed(Gait())
    points = whole.points.copy()
    points[[75, 210], 3] += [400.0, -150.0]
    measured = measure_marks(replace(whole, points=points), None, parameters, defs)
    plain = measure_marks(whole, None, parameters, defs)

    assert flags(measured)["implausible-velocity"] == "widened"
    for name in ANGLES:
        assert measured.find(name).value == pytest.approx(plain.find(name).value, abs=0.3)


def test_a_leaning_camera_is_levelled_and_said(parameters, defs):
    """Six degrees of roll: the leg-heel angle stays, the heel against the vertical is corrected."""
    gait = Gait()
    level, leaning = (filmed(gait, roll_deg=roll) for roll in (0.0, 6.0))
    turn = np.radians(6.0)
    upright = np.array([[0.0, 100.0], [0.0, 0.0]])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    plumb = np.repeat((upright @ matrix)[None], len(leaning.points), axis=0)
    corrected = measure_marks(replace(leaning, plumb=plumb), None, parameters, defs)
    plain = measure_marks(level, None, parameters, defs)

    assert flags(corrected)["camera-not-level"] == "widened"
    for name in ("contact-angle", "heel-vertical-midstance", "leg-vertical-midstance"):
        assert corrected.find(name).value == pytest.approx(plain.find(name).value, abs=0.3), name
    assert not any(f.name == "camera-not-level" for f in corrected.find("contact-angle").flags)


def test_a_camera_on_its_side_withdraws_angles_to_the_vertical(parameters, defs):
    """Fifteen degrees of roll withdraw only what stands against the vertical."""
    turn = np.radians(15.0)
    plumb = np.array([[[100 * np.sin(turn), 100 * np.cos(turn)], [0.0, 0.0]]])
    whole = filmed(Gait())
    plumb = np.repeat(plumb, len(whole.points), axis=0)
    measured = measure_marks(replace(whole, plumb=plumb), None, parameters, defs)

    assert flags(measured)["camera-not-level"] == "removed"
    assert measured.find("heel-vertical-midstance") is None
    assert measured.find("contact-angle") is not None


def test_few_strides_are_said_and_widened(parameters, defs):
    """Two strides widen the error and are named; eight are enough."""
    few = measure_marks(filmed(Gait(), 2), None, parameters, defs)
    enough = measure_marks(filmed(Gait(), 8), None, parameters, defs)

    assert flags(few)["too-few-strides"] == "widened"
    assert "too-few-strides" not in flags(enough)


def test_stance_is_told_from_the_heel_when_nothing_else_says_it(parameters, defs):
    """Without a contact signal the strides are found, and every error is wider."""
    known = filmed(Gait())
    guessed = measure_marks(replace(known, contact=None), None, parameters, defs)

    assert guessed.n == 8
    assert flags(guessed)["stance-estimated"] == "widened"
    assert np.mean(guessed.strides["contact-time"]) == pytest.approx(0.68, abs=0.12)
    assert guessed.find("contact-time") is None  # the toe is not seen to leave


def test_given_stances_come_before_the_contact_signal(parameters, defs):
    """Stances given by the person are used as they are."""
    known = filmed(Gait())
    measured = measure_marks(replace(known, stances=((43, 110),)), None, parameters, defs)

    assert measured.n == 1


def test_a_heel_that_never_moves_has_no_stance(parameters):
    """A height that never changes or is never seen holds no whole step."""
    assert heel_stances(np.full(300, 5.0), 100.0, parameters.capture) == []
    assert heel_stances(np.full(300, np.nan), 100.0, parameters.capture) == []


def test_a_missing_mark_is_refused(parameters, defs):
    """A mark never seen is named."""
    whole = filmed(Gait())
    points = whole.points.copy()
    points[:, 2] = np.nan
    with pytest.raises(InputError, match="`upper-heel` is missing in every frame"):
        measure_marks(replace(whole, points=points), None, parameters, defs)


def test_a_still_capture_of_the_other_foot_is_refused(parameters, defs):
    """The zero of one foot is not that of the other."""
    with pytest.raises(InputError, match="still capture is of the right foot"):
        measure_marks(filmed(Gait()), filmed(Gait(side="right")), parameters, defs)


def test_a_labs_own_placing_takes_the_place_of_the_usual(parameters, defs):
    """What repeats left beside strides is the placing; of an angle not repeated, the peak's is."""
    own = ReadingError(single=1.0, floor=0.8, of_lab=True, kind="assumption")
    changed = {**defs, "peak-angle": defs["peak-angle"].model_copy(update={"error": own})}
    usual, learned = (
        measure_marks(filmed(Gait()), None, parameters, known) for known in (defs, changed)
    )

    for name in ("peak-angle", "propulsion-angle"):
        assert usual.budget(usual.find(name)).terms["placing"] == parameters.capture.placing
        assert learned.budget(learned.find(name)).terms["placing"] == 0.8
    assert "placing" not in learned.budget(learned.find("rearfoot-range")).terms


def test_an_angle_largest_as_the_foot_leaves_has_no_time_of_its_peak(parameters, defs):
    """A foot that goes on rolling in to the end keeps its largest angle and loses its time."""
    ends = measure_marks(filmed(Gait(peak=4, late=9)), None, parameters, defs)
    plain = measure_marks(filmed(Gait()), None, parameters, defs)

    assert flags(ends)["peak-at-the-end"] == "removed"
    assert ends.find("peak-time") is None
    assert ends.find("peak-angle") is not None
    assert "peak-at-the-end" not in flags(plain)


def test_a_foot_turned_out_on_the_mat_widens_the_film(parameters, defs):
    """The mat shows 20 degrees: landing widens by a third of them over root 3, the peak stands."""
    film = measure_marks(filmed(Gait()), None, parameters, defs)
    (mat,) = measure_pressure(recording(askew_steps(20.0)), parameters, defs)
    visit = Visit.model_validate({"reference": "T-2"})
    (checked, _) = cross_checked((film, mat), visit, parameters.capture)

    assert flags(checked)["turned-out-on-mat"] == "widened"
    added = parameters.capture.toe_out_landing * 20.0 / 3**0.5
    before, after = (one.find("touchdown-angle").error for one in (film, checked))
    assert after == pytest.approx(np.hypot(before, added), rel=0.05)
    assert checked.find("peak-angle").error == film.find("peak-angle").error
