"""Measures of generated feet whose truth is known, and the doubts a bad recording raises."""

from __future__ import annotations

import numpy as np
import pytest

from recommend.errors import InputError
from recommend.measure.pressure import measure_pressure
from recommend.measure.pressure.measures import _side_doubts, _within_error
from recommend.measure.pressure.quality import _dead_lines
from tests.invented.foot_model import Foot, Mat, _one_step, invent, truth, walk
from tests.measure.conftest import recording

FIND = {
    "arch-index": ("arch-index", {"kind": "pressure-sensor"}),
    "arch-index-weighted": ("arch-index", {"kind": "pressure-weighted"}),
    "chippaux-smirak": ("chippaux-smirak", {}),
    "staheli": ("staheli", {}),
    "forefoot-width": ("footprint-width", {}),
    "footprint-length": ("footprint-length", {}),
    "cpei": ("cpei", {}),
    "contact-time": ("contact-time", {}),
}


def flags(measured) -> dict[str, str]:
    """Flags of a measured foot by name, with their effect."""
    return {flag.name: flag.effect for flag in measured.flags}


def test_measures_of_generated_feet_hold_the_truth(parameters, defs):
    """Of 8 random feet, each measure's 95 % interval misses the integrated truth at most twice.

    With a coverage of 95 %, more than 2 of 8 would happen in 0.6 % of all choices of seeds; the
    report over 1,000 feet is tests/bench/capture_coverage.py.
    """
    misses = dict.fromkeys(FIND, 0)
    for seed in range(8):
        rng = np.random.default_rng([seed, 5])
        foot = invent(rng)
        (measured,) = measure_pressure(recording(walk(foot, 5, rng)), parameters, defs)
        true = truth(foot)

        assert measured.side == foot.side
        for key, (name, qualifiers) in FIND.items():
            found = measured.find(name, **qualifiers)
            misses[key] += abs(found.value - true[key]) > 1.96 * found.error

    assert max(misses.values()) <= 2, misses


def test_foot_types_are_ordered_by_their_arch(parameters, defs):
    """A flat, an ordinary and a high-arched invented foot read falling arch indices."""
    found = []
    for isthmus in (0.75, 0.40, 0.12):
        frames = walk(Foot(isthmus=isthmus), 3, np.random.default_rng(2))
        (measured,) = measure_pressure(recording(frames), parameters, defs)
        found.append(measured.find("arch-index", kind="pressure-sensor").value)

    assert found[0] > found[1] + 0.05 > found[2] + 0.10


def test_walking_the_other_way_over_the_mat_changes_nothing(five_steps, parameters, defs):
    """The same steps walked towards row 0 (mat turned by 180 degrees) read the same."""
    (forward,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    turned = np.ascontiguousarray(five_steps[:, ::-1, ::-1])
    (backward,) = measure_pressure(recording(turned), parameters, defs)

    assert backward.side == forward.side
    for measure in forward.measures:
        other = backward.find(measure.name, **measure.qualifiers)
        if measure.name != "cop-pattern":
            assert other.value == pytest.approx(measure.value, rel=1e-5, abs=1e-5)


def test_a_mirrored_mat_makes_the_other_foot(five_steps, parameters, defs):
    """Mirrored left to right, a left foot is a right foot with the same measures."""
    (left,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    mirrored = np.ascontiguousarray(five_steps[:, :, ::-1])
    (right,) = measure_pressure(recording(mirrored), parameters, defs)

    assert (left.side, right.side) == ("left", "right")
    for name in ("arch-index", "cpei", "footprint-length", "toe-out", "medial-lateral-midstance"):
        assert right.find(name).value == pytest.approx(left.find(name).value, rel=1e-4)


def test_pressure_twice_as_high_leaves_shape_and_path(five_steps, parameters, defs):
    """Twice the pressure, trimmed at twice the force, doubles peaks and leaves shape and CPEI."""
    cells = (five_steps > 0) & (five_steps < 10)
    clear = np.where(cells, 0, five_steps)  # so that the contact threshold cuts both alike
    (once,) = measure_pressure(recording(clear.copy()), parameters, defs)
    forces = ("capture.trim-force", "capture.step-force")
    doubled = parameters.changed({name: 2 * parameters.named(name) for name in forces})
    (twice,) = measure_pressure(recording(clear * 2), doubled, defs)

    for name in ("peak-medial-heel", "integral-hallux"):
        assert twice.find(name).value == pytest.approx(2 * once.find(name).value, rel=1e-5)
    # Rounding may move one sensor over the border of the toes in one of five steps.
    assert twice.find("arch-index").value == pytest.approx(once.find("arch-index").value, abs=4e-3)
    assert twice.find("cpei").value == pytest.approx(once.find("cpei").value, abs=0.1)


def test_late_medial_load_moves_the_path_medially(parameters, defs):
    """A first ray that bears more in late stance lowers the CPEI and raises medial load."""
    values = []
    for late in (0.0, 0.6):
        frames = walk(Foot(medial_late=late), 3, np.random.default_rng(5), vary=0.0)
        (measured,) = measure_pressure(recording(frames), parameters, defs)
        values.append(
            (measured.find("cpei").value, measured.find("medial-lateral-propulsion").value)
        )

    assert values[1][0] < values[0][0] - 1.0
    assert values[1][1] > values[0][1] * 1.2


def test_static_and_dynamic_are_told_apart(five_steps, parameters, defs):
    """A still capture has no path, and its arch index says static."""
    still = np.repeat(five_steps[20:60].mean(axis=0)[None], 30, axis=0)
    (measured,) = measure_pressure(recording(still, load="static"), parameters, defs)

    assert measured.find("arch-index", kind="pressure-sensor").qualifiers["load"] == "static"
    assert measured.find("cpei") is None
    assert measured.curves == {}


def test_two_feet_on_the_mat_are_parted(parameters, defs):
    """Left and right foot side by side in one still capture are measured one by one."""
    rng = np.random.default_rng(0)
    left = walk(Foot(side="left"), 1, rng, vary=0.0).max(axis=0)
    right = walk(Foot(side="right"), 1, rng, vary=0.0).max(axis=0)
    both = np.repeat(np.concatenate([left, right], axis=1)[None], 10, axis=0)

    measured = measure_pressure(recording(both, load="static"), parameters, defs)

    assert [one.side for one in measured] == ["left", "right"]


def test_a_foot_over_the_edge_is_left_out_and_said(five_steps, parameters, defs):
    """One step cut by the mat's edge is left out, named, and the others are used."""
    frames = five_steps.copy()
    spans = np.flatnonzero(frames.sum(axis=(1, 2)) > 0)
    first = spans[spans < spans[0] + 75]
    frames[first] = np.roll(frames[first], -14, axis=1)
    frames[first, -14:] = 0
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert measured.n == 4
    assert "cut-by-edge" in flags(measured)


def test_a_partial_step_is_left_out_and_said(five_steps, parameters, defs):
    """A step of which only the forefoot lands on the mat does not count."""
    frames = five_steps.copy()
    frames[:90, :35] = 0
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert measured.n == 4
    assert "partial-contact" in flags(measured)


def test_a_recording_cut_in_time_leaves_the_step_out(five_steps, parameters, defs):
    """A recording that ends with the foot on the mat loses that step only."""
    last = np.flatnonzero(five_steps.sum(axis=(1, 2)) > 0)[-1]
    (measured,) = measure_pressure(recording(five_steps[: last - 15].copy()), parameters, defs)

    assert measured.n == 4
    assert "cut-in-time" in flags(measured)


def test_dead_sensors_are_bridged_widened_and_said(five_steps, parameters, defs):
    """Three dead sensors under the foot widen the errors by the factor in YAML."""
    (whole,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    frames = five_steps.copy()
    heel = np.unravel_index(np.argmax(frames[15:40].max(axis=(0))), frames.shape[1:])
    frames[:, heel[0], heel[1]] = 0
    frames[:, heel[0] + 3, heel[1]] = np.nan
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert flags(measured)["dead-sensors"] == "widened"
    factor = parameters.capture.dead_widening
    ratio = measured.find("footprint-length").error / whole.find("footprint-length").error
    assert ratio == pytest.approx(factor, rel=0.1)


def test_many_dead_sensors_withdraw_the_measures(five_steps, parameters, defs):
    """A mat with a tenth of its sensors dead yields no measure, and says why."""
    frames = five_steps.copy()
    frames[:, ::3, ::3] = np.nan
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert measured.measures == ()
    assert flags(measured)["dead-sensors"] == "removed"


def test_saturation_widens_loads_only(five_steps, parameters, defs):
    """Sensors at the mat's upper end widen peaks and paths, not contact areas."""
    (whole,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    frames = np.minimum(five_steps, 150)
    (measured,) = measure_pressure(recording(frames, saturation_kpa=150.0), parameters, defs)

    assert flags(measured)["saturated-sensors"] == "widened"
    assert measured.find("peak-hallux").flags
    assert measured.find("footprint-length").flags == whole.find("footprint-length").flags


def test_two_steps_are_too_few_and_widen(five_steps, parameters, defs):
    """Two steps give wider errors and the flag; five do not."""
    start = np.flatnonzero(five_steps.sum(axis=(1, 2)) > 0)[0]
    (few,) = measure_pressure(recording(five_steps[: start + 165].copy()), parameters, defs)
    (enough,) = measure_pressure(recording(five_steps.copy()), parameters, defs)

    assert few.n == 2
    assert flags(few)["too-few-steps"] == "widened"
    assert "too-few-steps" not in flags(enough)
    assert few.find("cpei").error > enough.find("cpei").error


def test_a_wrong_side_in_the_head_is_doubted(five_steps, parameters, defs):
    """A left foot called right keeps its shape and loses all that depends on medial."""
    (measured,) = measure_pressure(recording(five_steps.copy(), side="right"), parameters, defs)

    assert measured.side == "right"
    assert flags(measured)["side-doubtful"] == "removed"
    assert measured.find("cpei") is None
    assert measured.find("cop-pattern") is None
    assert measured.find("arch-index") is not None


@pytest.mark.parametrize(
    ("change", "pitch", "flag", "gone", "kept"),
    [
        (0.1, 5.0, "implausible-load", "peak-hallux", None),
        (1.0, 9.0, "implausible-size", "footprint-length", "arch-index"),
    ],
)
def test_a_wrong_unit_or_pitch_withdraws_what_depends_on_it(
    five_steps, parameters, defs, change, pitch, flag, gone, kept
):
    """A force that no foot has withdraws everything, since contact rests on it; a length, sizes."""
    loose = parameters.changed({"capture.contact-threshold": 1.0, "capture.step-force": 2.0})
    frames = recording(five_steps * np.float32(change), pitch_mm=(pitch, pitch))
    (measured,) = measure_pressure(frames, loose, defs)

    assert flags(measured)[flag] == "removed"
    assert measured.find(gone) is None
    assert measured.find(kept) is not None if kept else measured.measures == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f: f * 0, "no foot is on the mat"),
        (lambda f: f - 60, "lowest pressure is -60 kPa"),
        (lambda f: f[:30], "none of the 1 steps can be used"),
    ],
)
def test_a_useless_recording_is_refused_in_words(five_steps, parameters, defs, change, words):
    """What holds no whole step is refused with the reason."""
    with pytest.raises(InputError, match=words):
        measure_pressure(recording(change(five_steps.copy())), parameters, defs)


@pytest.mark.parametrize("pitch", [4.0, 7.0])
def test_other_mats(parameters, defs, pitch):
    """A finer and a coarser mat recover length and CPEI of the same foot within their errors."""
    foot = Foot(isthmus=0.5)
    mat = Mat(round(320 / pitch), round(160 / pitch), pitch)
    frames = walk(foot, 5, np.random.default_rng(4), mat)
    (measured,) = measure_pressure(recording(frames, pitch_mm=(pitch, pitch)), parameters, defs)
    true = truth(foot)

    for name in ("footprint-length", "cpei"):
        found = measured.find(name)
        assert abs(found.value - true[name]) < 2.5 * found.error


def test_saturation_is_told_without_being_stated(five_steps, parameters, defs):
    """Several sensors with one same highest reading are taken as saturated; a plain peak is not."""
    (clipped,) = measure_pressure(recording(np.minimum(five_steps, 150)), parameters, defs)
    (whole,) = measure_pressure(recording(five_steps.copy()), parameters, defs)

    assert flags(clipped)["saturated-sensors"] == "widened"
    assert "saturated-sensors" not in flags(whole)


def test_a_steady_baseline_is_taken_off_and_told(five_steps, parameters, defs):
    """Seven kPa on every sensor change no measure by more than its error, and are said."""
    lifted = five_steps + np.float32(7.0)
    (plain,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    (measured,) = measure_pressure(recording(lifted), parameters, defs)

    assert flags(measured)["baseline-removed"] == "widened"
    for name in ("arch-index", "cpei", "footprint-length"):
        found, true = measured.find(name), plain.find(name)
        assert abs(found.value - true.value) < found.error, name


@pytest.mark.parametrize("axis", [1, 2])
def test_a_dead_line_of_sensors_is_bridged_and_told(five_steps, parameters, defs, axis):
    """A silent row or column under the foot is named, and shape indices stay within error."""
    frames = five_steps.copy()
    line = [slice(None)] * 3
    line[axis] = 30 if axis == 1 else 15
    frames[tuple(line)] = 0.0
    (plain,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert "dead-sensors" in flags(measured)
    for name in ("arch-index", "chippaux-smirak"):
        found, true = measured.find(name), plain.find(name)
        assert found is None or abs(found.value - true.value) < 1.96 * found.error, name


def test_newtons_per_square_centimetre_headed_kpa_are_named(five_steps, parameters, defs):
    """Numbers a tenth as large as kPa withdraw everything and name the likely unit."""
    loose = parameters.changed({"capture.contact-threshold": 1.0, "capture.step-force": 2.0})
    (measured,) = measure_pressure(recording(five_steps * np.float32(0.1)), loose, defs)

    assert measured.measures == ()
    assert any("N/cm2" in f.detail for f in measured.flags if f.name == "implausible-load")


def test_a_wrong_rate_of_a_mat_names_one_that_would_fit(five_steps, parameters, defs):
    """Steps of 0.07 s are not walking: times and paths are withdrawn, shapes stand."""
    brief = parameters.changed({"capture.step-min-ms": 20, "capture.step-gap-ms": 10})
    (measured,) = measure_pressure(recording(five_steps.copy(), rate_hz=500.0), brief, defs)

    assert flags(measured)["implausible-rate"] == "removed"
    assert measured.find("cpei") is None
    assert measured.find("arch-index") is not None


def test_one_unusable_foot_leaves_the_other_with_its_steps(parameters, defs, monkeypatch):
    """When no step of the right foot can be read, the left foot is measured and this is said."""
    from recommend.errors import RecommendError
    from recommend.measure.pressure import measures

    frames = np.concatenate(
        [walk(Foot(side), 3, np.random.default_rng(4)) for side in ("left", "right")]
    )
    honest = measures.measure_step

    def no_right(step, rec, side, numbers):
        if side == "right":
            raise RecommendError("the path never reaches the line")
        return honest(step, rec, side, numbers)

    monkeypatch.setattr(measures, "measure_step", no_right)
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert measured.side == "left"
    assert measured.n == 3
    assert "right-foot-unusable" in flags(measured)


@pytest.mark.parametrize(("against", "doubted"), [(0, False), (1, False), (2, False), (3, True)])
def test_the_side_is_doubted_when_most_footprints_speak_against_it(parameters, against, doubted):
    """Of four clear footprints three must look like the other foot; one or two raise no doubt.

    By hand: three of four against, each fully clear, come to -0.5, which is the limit (assumption).
    """
    assert parameters.capture.side_doubt == 0.5
    told = [("right", 1.0)] * against + [("left", 1.0)] * (4 - against)
    assert bool(_side_doubts(told, "left", parameters.capture)) is doubted


def askew_steps(degrees: float) -> np.ndarray:
    """Three equal steps of an ordinary left foot that points `degrees` off the rows."""
    rng, foot, mat = np.random.default_rng(3), Foot(), Mat(64, 64)
    gap = np.zeros((15, 64, 64), dtype=np.float32)
    frames = [gap]
    for _ in range(3):
        frames += [_one_step(foot, foot.scale(), degrees, mat, rng, 0.0), gap]
    return np.concatenate(frames)


def test_a_foot_that_lands_on_its_front_has_no_excursion_index(five_steps, parameters, defs):
    """A heel that bears only after 28 of 70 frames is named, and the path is withdrawn."""
    frames = five_steps.copy()
    for start in np.flatnonzero(np.diff(np.append(0, frames.sum(axis=(1, 2)) > 0).astype(int)) > 0):
        frames[start : start + 28, :32] = 0.0
    (plain,) = measure_pressure(recording(five_steps.copy()), parameters, defs)
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert flags(measured)["no-heel-strike"] == "removed"
    assert measured.find("cpei") is None
    assert measured.find("arch-index") is not None
    assert "no-heel-strike" not in flags(plain)


def test_a_footprint_without_its_heel_has_no_index(five_steps, parameters, defs):
    """With the rear 30 % of every footprint missing, indices of thirds and length are withdrawn."""
    frames = five_steps.copy()
    rows = np.flatnonzero(frames.any(axis=(0, 2)))
    frames[:, : rows[0] + round(0.3 * len(rows))] = 0.0
    (measured,) = measure_pressure(recording(frames), parameters, defs)

    assert flags(measured)["footprint-not-whole"] == "removed"
    assert measured.find("arch-index") is None
    assert measured.find("footprint-length") is None


def test_a_walk_across_the_rows_has_no_toe_out(parameters, defs):
    """A foot 40 degrees off the rows is named and has no toe-out; at 20 it reads 20."""
    far, near = (
        measure_pressure(recording(askew_steps(degrees)), parameters, defs)[0]
        for degrees in (40.0, 20.0)
    )

    assert flags(far)["walked-askew"] == "removed"
    assert far.find("toe-out") is None
    assert abs(near.find("toe-out").value - 20.0) < 1.96 * near.find("toe-out").error


def test_a_footprint_of_running_is_said_to_be_one(parameters, defs):
    """Its arch index stands with the note that it is broader than one of walking."""
    frames = walk(Foot(stance_s=0.26), 3, np.random.default_rng(6), vary=0.0)
    (measured,) = measure_pressure(recording(frames, gait="running"), parameters, defs)

    assert "running-footprint" in {f.name for f in measured.find("arch-index").flags}
    assert "running-footprint" not in {f.name for f in measured.find("footprint-length").flags}


def test_a_class_next_to_its_limit_names_the_other(parameters):
    """Paths 0.2 % of width from the limit could be both classes; paths 8 % from it, one."""
    limit = parameters.capture.drift_medial_midfoot
    scatter = (-0.3, 0.0, 0.3, 0.1, -0.1)
    sides = [
        _within_error([(limit + off + by, 0.0) for by in scatter], recording(None), parameters)
        for off in (0.2, 8.0)
    ]

    assert sides == [{"medial-early", "central"}, {"central"}]


def test_a_still_foot_called_steps_is_asked_about(five_steps, parameters, defs):
    """A foot that bears all through a dynamic recording is named as standing, not as dead."""
    still = np.repeat(five_steps[20:60].mean(axis=0)[None], 60, axis=0)
    with pytest.raises(InputError, match="still capture, not steps"):
        measure_pressure(recording(still), parameters, defs)


def test_steps_called_a_still_capture_are_asked_about(five_steps, parameters, defs):
    """A load that travels from heel to toes is of steps, whatever the head calls it."""
    with pytest.raises(InputError, match="of steps, not a still capture"):
        measure_pressure(recording(five_steps.copy(), load="static"), parameters, defs)


def test_a_row_that_hardly_reads_is_dead_too(five_steps, parameters, defs):
    """A whole row at a thirtieth of its load, amid contact, is not measured as an arch."""
    frames = five_steps.copy()
    row = int(np.argmax((frames.max(axis=0) >= 30).sum(axis=1)))
    frames[:, row] *= 0.03

    (found,) = measure_pressure(recording(frames), parameters, defs)

    assert "dead-sensors" in {flag.name for flag in found.flags}


def test_the_peak_lies_between_sensors(parameters, defs):
    """A pressure bell seen by sensors 10 mm apart: its top is found, where sensors miss it.

    By hand: a paraboloid 400 (1 - r^2 / 40^2) kPa, whose mean over a sensor at u, v is
    400 (1 - (u^2 + v^2 + 2 * 10^2 / 12) / 40^2).
    """
    from recommend.measure.pressure.step_values import _finer

    at = np.arange(-24.0, 30.0, 10.0)  # the top lies between four sensors
    u, v = np.meshgrid(at, at)
    seen = np.maximum(400.0 * (1 - (u**2 + v**2 + 200 / 12) / 1600.0), 0.0).astype(np.float32)
    top = 400.0 * (1 - 200 / 12 / 1600.0)

    best = float(_finer(_finer(seen.astype(float)).T).max())

    assert float(seen.max()) < 0.98 * top
    assert best == pytest.approx(top, rel=1e-3)


def said_of(frames, parameters, defs, **head) -> str:
    """Every doubt about a recording, or the sentence that refuses it."""
    try:
        found = measure_pressure(recording(frames.copy(), side="left", **head), parameters, defs)
    except InputError as error:
        return str(error)
    return " ".join(f"{flag.name}: {flag.detail};" for one in found for flag in one.flags)


FAULTS = {
    "several-steps": (lambda f: f, {"rate_hz": 400.0}, "check `rate-hz` (400 a second now)"),
    "implausible-rate": (lambda f: f, {"rate_hz": 25.0}, "likely 100"),
    "implausible-load": (lambda f: f * np.float32(0.1), {}, "look like N/cm2"),
    "": (lambda f: f * np.float32(10), {}, "look like kPa"),
    "implausible-size": (lambda f: f, {"pitch_mm": (2.5, 2.5)}, "2.5 written, 5 would"),
    "implausible-size: ": (lambda f: f, {"pitch_mm": (10.0, 10.0)}, "10 written, 5 would"),
    "walked-askew": (lambda _: askew_steps(45.0)[:, :, 18:46], {}, "walk along the rows"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_of_the_head_or_the_walk_is_said_by_its_name(five_steps, parameters, defs, name):
    """Rate, unit or pitch by a factor, and a walk across the mat, say what would mend them."""
    change, head, words = FAULTS[name]
    said = said_of(change(five_steps), parameters, defs, **head)

    assert name in said
    assert words in said
    assert "cut-by-edge" not in said
    assert said_of(five_steps, parameters, defs) == "", "a clean recording is not doubted"


def test_a_dead_row_of_few_sensors_is_bridged_where_pressure_leads_on_to_it(parameters):
    """A silent row between two loaded ones is dead; the valley behind a toe is not."""
    along = np.array([0, 0, 90, 120, 0, 120, 90, 60, 0, 0, 0.0])
    valley = np.array([0, 0, 90, 120, 50, 0, 50, 120, 90, 0, 0.0])
    for profile, dead in ((along, [4]), (valley, [])):
        known = np.zeros((len(profile), 9))
        known[:, 4:6] = profile[:, None]
        assert list(np.flatnonzero(_dead_lines(known, parameters.capture).all(axis=1))) == dead


def test_a_child_has_no_path_and_wider_shares(five_steps, parameters, defs):
    """A quarter of the load on 0.6 of the length: no excursion index, a less sure arch index."""
    light = recording(five_steps * np.float32(0.7), side="left", pitch_mm=(3.0, 3.0))
    (child,) = measure_pressure(light, parameters, defs)
    (adult,) = measure_pressure(recording(five_steps.copy(), side="left"), parameters, defs)

    assert flags(child)["too-light-for-path"] == "removed"
    assert child.find("cpei") is None
    grids = [
        one.budget(one.find("arch-index", kind="pressure-sensor")).terms["grid"] / pitch
        for one, pitch in ((child, 3.0), (adult, 5.0))
    ]
    assert grids[0] > 1.5 * grids[1]
