from __future__ import annotations

from functools import cache

import pytest

from recommend.catalogue import load_catalogue
from recommend.errors import InputError
from recommend.reading import validate
from recommend.reading.document import Document, parse_document
from recommend.rulebook import load_rulebook, shipped_folder
from recommend.rulebook.book import Rulebook
from recommend.trial.bands import band_of
from recommend.trial.judge import Verdict
from recommend.trial.outcome import TrialOutcome, trial_outcome
from recommend.trial.report import Trial, judge_trial
from recommend.trial.steps import Key
from recommend.trial.tried import Bar, rank_tried
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of

TRIALS = shipped_folder("catalogue_demo") / "trials"
CONTACT = Key("left", "walking", "vertical", "contact")


@cache
def book() -> Rulebook:
    """The rulebook that ships."""
    return load_rulebook(shipped_folder("rules"))


def read(text: str) -> tuple[Visit, Document]:
    """A visit from text."""
    document = parse_document(text, "v.yaml")
    return validate(Visit, document), document


def angles(*strides: float, reference: str = "vertical", phase: str = "contact") -> str:
    """A walking reading of the left foot."""
    listed = ", ".join(map(str, strides))
    return f"rearfoot: [{{gait: walking, reference: {reference}, {phase}: [{listed}]}}]"


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
    """Eight strides with this mean and a spread of about 0.6 degrees."""
    return tuple(round(mean + d, 2) for d in (-0.9, -0.5, -0.3, -0.1, 0.1, 0.3, 0.5, 0.9))


def test_the_band_is_the_rulebooks() -> None:
    """The band is read from the limits for this gait and zero, and from no other."""
    band = band_of(book(), CONTACT)
    assert band is not None
    limit = next(
        v.value
        for v in book().limits["contact-upper"].values
        if v.where == {"gait": "walking", "reference": "vertical"}
    )
    assert band.high == limit
    assert band_of(book(), Key("left", "walking", "subtalar-neutral", "midstance")) is None


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
        assert shoe.whole[CONTACT].change.value == pytest.approx(-1.4)
        assert both.part[CONTACT].change.value == pytest.approx(-0.7)
        assert both.whole[CONTACT].change.value == pytest.approx(-2.1)


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
        f"  - {{shoe: own, feet: {{left: {{{angles(1, 2, phase='propulsion')}}}}}}}\n"
    )
    (result,) = judge_trial(visit, book()).results
    assert result.whole == {}
    assert [key.phase for key in result.alone] == ["propulsion"]
    assert rank_tried(judge_trial(visit, book()), book().parameters).best is None


def test_barefoot_again_stands_in_for_the_first_reading() -> None:
    """A barefoot step of the trial is what the others are compared with."""
    trial = trial_of(
        around(9.0),
        f"{{feet: {{left: {{{angles(*around(6.0))}}}}}}}",
        step("shoe: own", *around(5.0)),
    )
    assert trial.results[0].whole[CONTACT].change.value == pytest.approx(-1.0)


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


def test_over_correction_is_last_whatever_comfort_says() -> None:
    """A step below the band is never the best one."""
    trial = trial_of(
        around(5.0),
        step("shoe: own, insole: wedge", *around(-2.0), comfort="arch: 10"),
        step("shoe: own", *around(4.3), comfort="arch: 5"),
    )
    ranking = rank_tried(trial, book().parameters)
    assert ranking.best is not None
    assert ranking.best.id == "own"
    assert ranking.tried[-1].bars == (Bar.OVER_CORRECTED,)


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


def test_none_of_these_when_nothing_moved_beyond_noise() -> None:
    """A shoe that leaves a foot outside the band is not best for want of others."""
    ranking = rank_tried(trial_of(around(9.8), step("shoe: own", *around(9.6))), book().parameters)
    assert ranking.best is None
    assert ranking.tried[0].bars == (Bar.NOTHING_TOLD,)


def test_a_foot_within_the_band_has_nothing_to_gain() -> None:
    """Where barefoot was in the band, a shoe that keeps it there can be the best one."""
    ranking = rank_tried(trial_of(around(2.5), step("shoe: own", *around(2.4))), book().parameters)
    assert ranking.best is not None
    assert ranking.best.result.whole[CONTACT].verdict is Verdict.WITHIN


def test_a_missing_rating_is_neither_bad_nor_good() -> None:
    """Comfort counts only where all that can be best were rated."""
    near = step("shoe: own, insole: near", *around(4.5), comfort="arch: 6")
    far = step("shoe: own, insole: far", *around(5.0))
    ranking = rank_tried(trial_of(around(6.5), far, near), book().parameters)
    assert [t.id for t in ranking.tried] == ["own+near", "own+far"]
    assert not ranking.tried[0].with_comfort


def test_combinations_are_compared_on_what_they_have_in_common() -> None:
    """A step filmed in the easy phase only gains nothing by the phase that was left out."""
    visit, _ = read(
        "reference: T\nfeet:\n  left:\n    rearfoot:\n"
        f"      - {{gait: walking, reference: vertical, contact: {list(around(6.5))}, "
        f"propulsion: {list(around(3.0))}}}\n"
        "trials:\n"
        "  - shoe: own\n    feet: {left: {rearfoot: [{gait: walking, reference: vertical, "
        f"contact: {list(around(4.2))}, propulsion: {list(around(2.0))}}}]}}}}\n"
        "  - shoe: s-2\n    feet: {left: {rearfoot: [{gait: walking, reference: vertical, "
        f"contact: {list(around(4.3))}}}]}}}}\n"
    )
    ranking = rank_tried(judge_trial(visit, book()), book().parameters)
    assert [t.id for t in ranking.tried] == ["own", "s-2"]
    assert [t.readings for t in ranking.tried] == [1, 1]


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
        ("hardly-moved", None),
        ("too-much", None),
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
    assert set(wedge.bars) == {Bar.RULED_OUT, Bar.OVER_CORRECTED}
    assert set(wedge.result.over) >= {"left", "right"}
