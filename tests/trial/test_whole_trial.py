from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from recommend.catalogue import load_catalogue
from recommend.errors import InputError
from recommend.extras import shipped_folder
from recommend.reading import validate
from recommend.reading.document import Document, parse_document
from recommend.rulebook.book import Rulebook
from recommend.trial import judged_steps
from recommend.trial.judged_steps import Trial, judge_trial
from recommend.trial.steps import READINGS, ReadingKey, steps_of
from recommend.trial.tried import Bar, rank_tried
from recommend.trial.verdict import Band, Verdict, band_of
from recommend.trial.whole_trial import TrialOutcome, trial_outcome
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests.shipped import book

TRIALS = shipped_folder("catalogue_demo") / "trials"
PEAK = ReadingKey("left", "walking", "vertical", "peak")


def read(text: str) -> tuple[Visit, Document]:
    """A visit from text."""
    document = parse_document(text, "v.yaml")
    return validate(Visit, document), document


def angles(*strides: float, reference: str = "vertical", reading: str = "peak") -> str:
    """A walking reading of the left foot."""
    listed = ", ".join(map(str, strides))
    return f"rearfoot: [{{gait: walking, reference: {reference}, {reading}: [{listed}]}}]"


def trial_of(bare: tuple[float, ...], *steps: str) -> Trial:
    """A trial of the left foot in walking; each step is `worn: reading`."""
    body = "".join(f"  - {step}\n" for step in steps)
    return judge_trial(
        read(f"reference: T\nfeet: {{left: {{{angles(*bare)}}}}}\ntrials:\n{body}")[0], book()
    )


def step(worn: str, *strides: float, comfort: str = "") -> str:
    """A step of the trial on one line."""
    extra = f", comfort: {{{comfort}}}" if comfort else ""
    return f"{{{worn}, feet: {{left: {{{angles(*strides)}{extra}}}}}}}"


def around(mean: float) -> tuple[float, ...]:
    """24 strides with this mean and a spread of about 0.6 degrees, no two neighbours alike."""
    steps = (-0.9, 0.5, -0.3, 0.1, 0.9, -0.1, 0.3, -0.5)
    return tuple(round(mean + d, 2) for d in (*steps, *steps[::-1], *steps[4:], *steps[:4]))


@pytest.fixture
def _band(monkeypatch: pytest.MonkeyPatch) -> None:
    """A band of 1 to 4 degrees for every angle, so that no test leans on a limit that ships."""

    def band(_book: Rulebook, key: ReadingKey) -> Band | None:
        return Band(1.0, 4.0) if READINGS[key.reading].angle else None

    monkeypatch.setattr(judged_steps, "band_of", band)


banded = pytest.mark.usefixtures("_band")


def test_the_band_is_the_rulebooks() -> None:
    """The band is read from the limits for this gait and zero, and from no other."""
    standing = ReadingKey("left", "standing", "vertical", "standing")
    band = band_of(book(), standing)
    assert band is not None
    assert band.high == book().limits["standing-everted"].values[0].value
    assert band_of(book(), replace(standing, reference="subtalar-neutral")) is None


def test_the_parts_of_shoe_and_insole_add_up() -> None:
    """Shoe against barefoot plus insole against shoe is the whole, in any order of the file."""
    steps = [
        step("shoe: own, insole: i-1", *around(4.4)),
        step("shoe: own", *around(5.1)),
    ]
    for order in (steps, steps[::-1]):
        results = {r.step.id: r for r in trial_of(around(6.5), *order).results}
        shoe, both = results["own"], results["own+i-1"]
        assert both.parent.id == "own"
        assert shoe.whole[PEAK].change.value == pytest.approx(-1.4)
        assert both.part[PEAK].change.value == pytest.approx(-0.7)
        assert both.whole[PEAK].change.value == pytest.approx(-2.1)


def test_an_insole_in_a_shoe_not_tried_alone_is_compared_with_barefoot() -> None:
    """Without the shoe alone there is no part to give to the insole."""
    (both,) = trial_of(around(6.5), step("shoe: own, insole: i-1", *around(4.4))).results
    assert both.parent.barefoot
    assert both.part is both.whole


def test_another_zero_is_refused_with_file_and_line() -> None:
    """Angles with different zeros are never compared."""
    visit, document = read(
        f"reference: T\nfeet: {{left: {{{angles(6, 7)}}}}}\ntrials:\n  - shoe: own\n    feet:\n"
        f"      left:\n        {angles(5, 6, reference='subtalar-neutral')}\n"
    )
    with pytest.raises(InputError, match=r"v\.yaml:7.*subtalar-neutral.*vertical"):
        judge_trial(visit, book(), document)


def test_a_reading_without_its_bare_foot_is_told_not_judged() -> None:
    """A phase that was not filmed barefoot stands apart; nothing is taken for zero."""
    visit, _ = read(
        f"reference: T\nfeet: {{left: {{{angles(6, 7)}}}}}\ntrials:\n"
        f"  - {{shoe: own, feet: {{left: {{{angles(1, 2, reading='propulsion')}}}}}}}\n"
    )
    (result,) = judge_trial(visit, book()).results
    assert result.whole == {}
    assert [key.reading for key in result.alone] == ["propulsion"]
    assert rank_tried(judge_trial(visit, book()), book().parameters).best is None


def test_barefoot_again_stands_in_for_the_first_reading() -> None:
    """A barefoot step of the trial is what the others are compared with."""
    trial = trial_of(
        around(9.0),
        f"{{feet: {{left: {{{angles(*around(6.0))}}}}}}}",
        step("shoe: own", *around(5.0)),
    )
    assert trial.results[0].whole[PEAK].change.value == pytest.approx(-1.0)


def test_an_even_drift_there_and_back_again_leaves_the_change_as_it_is() -> None:
    """By hand: a shoe takes 3 degrees off and each of four turns drifts up by 1.

    Barefoot reads 9 and at the end 12, the shoe 7 and 8: 7.5 less 10.5 is -3. Against the last
    barefoot alone it would be -4.5.
    """
    trial = trial_of(
        around(8.0),  # at the first film; the trial's own turns stand in for it
        f"{{feet: {{left: {{{angles(*around(9.0), *around(12.0))}}}}}}}",
        step("shoe: own", *around(7.0), *around(8.0)),
    )
    change = trial.results[0].whole[PEAK].change
    assert change.before.n == 2 * len(around(9.0))
    assert change.value == pytest.approx(-3.0)


@banded
def test_what_measures_well_and_hurts_is_not_first() -> None:
    """The lesser correction that is worn gladly comes before the better one that hurts."""
    trial = trial_of(
        around(6.5),
        step("shoe: own, insole: firm", *around(3.0), comfort="arch: 3"),
        step("shoe: own, insole: soft", *around(4.6), comfort="arch: 8"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert [t.id for t in ranking.tried] == ["own+soft", "own+firm"]
    assert ranking.tried[1].bars == (Bar.HURTS,)


@banded
def test_over_correction_is_last_whatever_comfort_says() -> None:
    """A step below the band is never the best one."""
    trial = trial_of(
        around(5.0),
        step("shoe: own, insole: wedge", *around(-0.5), comfort="arch: 10"),
        step("shoe: own", *around(4.3), comfort="arch: 5"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.best is not None
    assert ranking.best.id == "own"
    assert ranking.tried[-1].bars == (Bar.OVER_CORRECTED,)


@banded
def test_a_change_beyond_belief_is_not_the_best() -> None:
    """12 degrees barefoot, 3 in the shoe: no footwear is known to do that (Cheung and others 2011,
    Br J Sports Med 45:743-751: 2 to 3 degrees), so it is filmed again before it is chosen.
    """
    trial = trial_of(
        around(12.0),
        step("shoe: own, insole: odd", *around(3.0)),
        step("shoe: own", *around(9.5)),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.best is not None
    assert ranking.best.id == "own"
    assert ranking.tried[-1].bars == (Bar.DOUBTFUL,)


@banded
def test_a_measurement_never_lifts_what_the_rules_exclude() -> None:
    """The best measurement of all stays behind when the rules exclude the product."""
    trial = trial_of(
        around(6.5),
        step("shoe: own, insole: banned", *around(2.5), comfort="arch: 10"),
        step("shoe: own", *around(5.0), comfort="arch: 5"),
    )
    ranking = rank_tried(trial, book().parameters, {"own+banned"})
    assert ranking.best is not None
    assert ranking.best.id == "own"
    assert ranking.tried[-1].bars == (Bar.RULED_OUT,)


@banded
def test_nothing_told_and_no_comfort_is_none_of_these() -> None:
    """A shoe that leaves a foot outside the band is not best for want of others."""
    ranking = rank_tried(trial_of(around(9.8), step("shoe: own", *around(9.7))), book().parameters)
    assert ranking.best is None
    assert ranking.tried[0].bars == (Bar.NOTHING_TOLD,)


@banded
def test_where_motion_does_not_change_comfort_decides() -> None:
    """Two shoes that move nothing: the one that is worn more gladly."""
    trial = trial_of(
        around(9.8),
        step("shoe: s-1", *around(9.7), comfort="overall: 6"),
        step("shoe: s-2", *around(9.8), comfort="overall: 8"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.best is not None
    assert ranking.best.id == "s-2"
    assert ranking.by_comfort == ("s-2",)
    assert set(ranking.by_motion) == {"s-1", "s-2"}


@banded
def test_comfort_comes_first_where_motion_is_within_the_band() -> None:
    """Both within the band: a wedge rated 5.7 does not beat no wedge rated 9.0."""
    trial = trial_of(
        around(5.0),
        step("shoe: s-1, insole: wedge", *around(2.5), comfort="overall: 5.7"),
        step("shoe: s-1", *around(3.4), comfort="overall: 9.0"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.best is not None
    assert ranking.best.id == "s-1"


@banded
@pytest.mark.parametrize(("rate", "best"), [(0.1, "near"), (2.0, "far")])
def test_where_both_differ_the_shop_s_exchange_rate_decides(rate: float, best: str) -> None:
    """2 degrees nearer against 3 points less comfort: by what a point weighs in the shop."""
    trial = trial_of(
        around(9.0),
        step("shoe: near", *around(5.0), comfort="overall: 6"),
        step("shoe: far", *around(7.0), comfort="overall: 9"),
    )
    ranking = rank_tried(trial, book().parameters.changed({"trial.comfort-worth": rate}))
    assert ranking.best is not None
    assert ranking.best.id == best
    assert (ranking.by_motion, ranking.by_comfort) == (("near",), ("far",))


@banded
def test_equals_are_shown_as_equals_and_the_least_stands_first() -> None:
    """Alike in motion and comfort: the smaller wedge first, and the other named as as good."""
    trial = trial_of(
        around(5.0),
        step("shoe: s-1, insole: wedge", *around(2.5), comfort="overall: 8.4"),
        step("shoe: s-1, insole: flat", *around(2.6), comfort="overall: 8.0"),
    )
    doses = {"s-1+wedge": 4.0, "s-1+flat": 0.0}
    ranking = rank_tried(trial, book().parameters, (), doses)
    assert ranking.best is not None
    assert ranking.best.id == "s-1+flat"
    assert [t.id for t in ranking.equals] == ["s-1+wedge"]


@banded
def test_second_ratings_say_how_far_two_ratings_differ() -> None:
    """Three blind pairs with differences 1, 1 and 2: 1.96 times the root of 2, by hand."""
    rated = "comfort: {heel: 7, arch: 7, toes: 7}, comfort-again: {heel: 8, arch: 6, toes: 5}"
    trial = trial_of(
        around(5.0),
        f"{{shoe: s-1, feet: {{left: {{{angles(*around(3.0))}, {rated}}}}}}}",
        step("shoe: s-2", *around(3.0), comfort="overall: 8"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.alike_measured
    assert ranking.alike == pytest.approx(1.96 * 2**0.5, abs=0.01)
    assert {t.id for t in (ranking.tried[0], *ranking.equals)} == {"s-1", "s-2"}
    assert trial.results[0].step.comfort["left"]["toes"] == 6.0


@banded
def test_a_foot_within_the_band_has_nothing_to_gain() -> None:
    """Where barefoot was in the band, a shoe that keeps it there can be the best one."""
    ranking = rank_tried(trial_of(around(2.5), step("shoe: own", *around(2.4))), book().parameters)
    assert ranking.best is not None
    assert ranking.best.result.whole[PEAK].verdict is Verdict.WITHIN


@banded
def test_a_missing_rating_is_neither_bad_nor_good() -> None:
    """Comfort counts only where all that can be best were rated."""
    near = step("shoe: own, insole: near", *around(4.5), comfort="arch: 6")
    far = step("shoe: own, insole: far", *around(5.5))
    ranking = rank_tried(trial_of(around(6.5), far, near), book().parameters)
    assert [t.id for t in ranking.tried] == ["own+near", "own+far"]
    assert not ranking.tried[0].with_comfort


def two_readings(peak: float, propulsion: float | None, worn: str, comfort: float) -> str:
    """A step read in the peak, and in propulsion where it is given."""
    more = "" if propulsion is None else f", propulsion: {list(around(propulsion))}"
    return (
        f"{{{worn}, feet: {{left: {{rearfoot: [{{gait: walking, reference: vertical, peak: "
        f"{list(around(peak))}{more}}}], comfort: {{overall: {comfort}}}}}}}}}"
    )


def two_reading_trial(*steps: str) -> Trial:
    """A trial whose bare foot was read in the peak and in propulsion."""
    bare = f"peak: {list(around(6.5))}, propulsion: {list(around(4.6))}"
    body = "".join(f"  - {one}\n" for one in steps)
    return judge_trial(
        read(
            f"reference: T\nfeet: {{left: {{rearfoot: [{{gait: walking, reference: vertical, "
            f"{bare}}}]}}}}\ntrials:\n{body}"
        )[0],
        book(),
    )


@banded
def test_what_was_not_measured_never_helps_and_is_said() -> None:
    """A step filmed in the easy reading only comes after one filmed in both, however it is rated.

    Its worst reading left out, a try-on never rises.
    """
    whole = two_readings(6.0, 3.3, "shoe: s-1", 7)
    for propulsion in (2.0, 3.0, 3.6):
        other = two_readings(5.0, propulsion, "shoe: s-2", 9)
        before = rank_tried(two_reading_trial(whole, other), book().parameters)
        left_out = two_readings(5.0, None, "shoe: s-2", 9)
        after = rank_tried(two_reading_trial(whole, left_out), book().parameters)
        place = [t.id for t in before.tried].index("s-2")
        assert [t.id for t in after.tried].index("s-2") >= place
        assert after.tried[0].id == "s-1"
        assert [k.reading for k in after.tried[1].result.missing] == ["propulsion", "return"]


@banded
def test_comfort_alone_is_enough_for_a_try_on_and_says_what_it_is() -> None:
    """A try-on without a film is no bar; measured ones come before it."""
    trial = trial_of(
        around(5.0),
        "{shoe: s-1, feet: {left: {comfort: {overall: 9}}}}",
        step("shoe: s-2", *around(3.0), comfort="overall: 7"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert [t.id for t in ranking.tried] == ["s-2", "s-1"]
    assert ranking.tried[1].bars == ()
    assert ranking.by_comfort == ("s-1",)


def test_range_and_return_follow_stride_by_stride() -> None:
    """The range is peak less touchdown, the return peak less propulsion, of the same strides."""
    visit, _ = read(
        "reference: T\nfeet: {left: {rearfoot: [{gait: walking, reference: vertical, "
        "touchdown: [-1, 0, 1], peak: [5, 7, 6], propulsion: [1, 2]}]}}\n"
    )
    bare = steps_of(visit)[0].readings
    assert bare[replace(PEAK, reading="range")] == (6.0, 7.0, 5.0)
    assert replace(PEAK, reading="return") not in bare  # two strides of three: of which is unknown


def test_touchdown_of_a_try_on_is_judged() -> None:
    """The angle at first contact is read in a step too; its range with it."""
    film = "touchdown: {}, peak: {}"
    visit, _ = read(
        "reference: T\nfeet: {left: {rearfoot: [{gait: walking, reference: vertical, "
        + film.format(list(around(-2)), list(around(6)))
        + "}]}}\ntrials:\n  - {shoe: own, feet: {left: {rearfoot: [{gait: walking, reference: "
        + "vertical, "
        + film.format(list(around(-1)), list(around(5)))
        + "}]}}}\n"
    )
    (result,) = judge_trial(visit, book()).results
    changes = {key.reading: round(j.change.value, 6) for key, j in result.whole.items()}
    assert changes == {"touchdown": 1.0, "peak": -1.0, "range": -2.0}


def test_the_old_scale_decides_nothing_where_the_peak_is_given() -> None:
    """Contact of older visits is compared where it is all there is, and not beside the peak."""
    both = "rearfoot: [{{gait: walking, reference: vertical, contact: {0}, peak: {0}}}]"
    old = angles(*around(5), reading="contact")
    for bare, worn, found in (
        (both.format(list(around(6))), both.format(list(around(5))), {"peak"}),
        (both.format(list(around(6))), old, {"contact"}),
    ):
        visit, _ = read(
            f"reference: T\nfeet: {{left: {{{bare}}}}}\n"
            f"trials:\n  - {{shoe: own, feet: {{left: {{{worn}}}}}}}\n"
        )
        (result,) = judge_trial(visit, book()).results
        assert {key.reading for key in result.whole} == found


def test_load_without_a_barefoot_step_is_said() -> None:
    """Load read in the shoe alone does not vanish: it stands as not compared."""
    visit, _ = read(
        f"reference: T\nfeet: {{left: {{{angles(6, 7)}}}}}\ntrials:\n"
        "  - {shoe: own, feet: {left: {lateral-load-percent: [60, 61, 62]}}}\n"
    )
    (result,) = judge_trial(visit, book()).results
    assert result.load == {}
    assert result.load_alone == ("left",)


@cache
def demo(name: str) -> TrialOutcome:
    """The trial of a demo visit with the demo shop."""
    catalogue = load_catalogue(shipped_folder("catalogue_demo"), book().attributes)
    visit = read_visit(TRIALS / f"{name}.yaml", book().questions)
    return trial_outcome(outcome_of(visit, book(), catalogue))


@pytest.mark.parametrize(
    ("name", "best"),
    [
        ("three-much-alike", "own+meskerholm-soft"),
        ("hardly-moved", "rimblebeck-road"),
        ("too-much", "own"),
        ("measures-well-hurts", "own+ommerstead-soft"),
    ],
)
def test_the_demo_trials_tell_their_stories(name: str, best: str | None) -> None:
    """Each story ends as its first line says."""
    found = demo(name).ranking.best
    assert (found.id if found else None) == best


def test_the_shortlist_puts_what_was_tried_in_its_place() -> None:
    """Tried and good comes first; what was tried and hurt is out; the rest keeps its order."""
    one = demo("measures-well-hurts")
    assert one.shortlist is not None
    assert one.outcome.shortlist is not None
    new, old = one.shortlist.ranked["insole"], one.outcome.shortlist.ranked["insole"]
    assert new[0].id == "ommerstead-soft"
    assert [c.id for c in new[1:]] == [c.id for c in old if c.id != "ommerstead-soft"]
    assert "ommerstead-firm" in {c.id for c in one.shortlist.excluded["insole"] if c.harm}
    assert one.shortlist.excluded == one.outcome.shortlist.excluded


def test_an_excluded_product_stays_excluded_and_says_why() -> None:
    """The wedge that was tried is not on the list, and the rules' own words are given."""
    one = demo("too-much")
    assert one.shortlist is not None
    assert "wedge" in one.against["own+bindlegarth-4-firm"]
    assert "bindlegarth-4-firm" not in {c.id for c in one.shortlist.ranked["insole"]}
    wedge = next(t for t in one.ranking.tried if t.id == "own+bindlegarth-4-firm")
    assert Bar.RULED_OUT in wedge.bars
