"""Trials worked by hand: the bands are those of the rulebook, the verdict stands beside each."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from statistics import fmean

import pytest
from rich.console import Console

from recommend.catalogue import load_catalogue
from recommend.extras import shipped_folder
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.show.labels import letters_of
from recommend.show.trial import trial_blocks
from recommend.show.trial_answer import trial_lines
from recommend.show.trial_words import missing_words
from recommend.trial.judged_steps import judge_trial
from recommend.trial.plan import Dose
from recommend.trial.steps import ReadingKey
from recommend.trial.verdict import LOAD_LIMITS, Verdict
from recommend.trial.whole_trial import trial_outcome
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests import shipped
from tests.shipped import book

TRIALS = shipped_folder("catalogue_demo") / "trials"
# 24 strides whose mean is 0 and whose spread is 1.0 (by hand: sum of squares 23.1 over 23).
NOISE = (-1.4, 0.9, -0.4, 0.2, 1.4, -0.2, 0.5, -1.0) * 3


def around(mean: float) -> list[float]:
    """24 strides with this mean."""
    return [round(mean + one, 1) for one in NOISE]


def visit(gait: str, bare: dict[str, float], worn: dict[str, float]) -> Visit:
    """A trial of the left foot from vertical, each reading by its mean."""

    def film(means: dict[str, float]) -> dict[str, object]:
        read = {name: around(mean) for name, mean in means.items()}
        return {"rearfoot": [{"gait": gait, "reference": "vertical", **read}]}

    step = {"shoe": "own", "feet": {"left": film(worn)}}
    return Visit.model_validate({"reference": "T", "feet": {"left": film(bare)}, "trials": [step]})


# Bands of the peak: walking 3.4 to 8.8, running 6.4 to 13.8; return from 3.6 (rules/limits.yaml:
# derived from Sobel 1999, Lee and Hertel 2012, and Cornwall and McPoil 2009). With 24 strides of
# spread 1.0 a mean is known to about 0.5 and a change to about 0.7 degrees.
@pytest.mark.parametrize(
    ("gait", "bare", "worn", "reading", "verdict"),
    [
        # 11.0 to 9.6: nearer to 8.8 by 1.4, and still 0.8 above it
        ("walking", {"peak": 11.0}, {"peak": 9.6}, "peak", Verdict.TOWARDS),
        # 11.0 to 7.5: into the band
        ("walking", {"peak": 11.0}, {"peak": 7.5}, "peak", Verdict.WITHIN),
        # 6.3 to 1.8: 1.6 below 3.4, and the interval ends at about 2.3
        ("walking", {"peak": 6.3}, {"peak": 1.8}, "peak", Verdict.OVER_CORRECTED),
        # 6.3 to 3.2: 0.2 below the edge, which is within noise
        ("walking", {"peak": 6.3}, {"peak": 3.2}, "peak", Verdict.NEAR_LOWER),
        # 6.0 to 9.9: out of the band by its own doing
        ("walking", {"peak": 6.0}, {"peak": 9.9}, "peak", Verdict.AWAY),
        # 15.2 to 15.1: nothing moved
        ("running", {"peak": 15.2}, {"peak": 15.1}, "peak", Verdict.UNCLEAR),
        # 12.0 stays within 6.4 to 13.8
        ("running", {"peak": 12.0}, {"peak": 11.9}, "peak", Verdict.WITHIN),
        # 2.0 stays where it was, below: not this shoe's doing
        ("walking", {"peak": 2.0}, {"peak": 1.9}, "peak", Verdict.UNCLEAR),
        # return 8.0 - 5.5 = 2.5 before, 8.0 - 3.5 = 4.5 now: comes back as most feet do
        (
            "walking", {"peak": 8.0, "propulsion": 5.5}, {"peak": 8.0, "propulsion": 3.5},
            "return", Verdict.WITHIN,
        ),
        # the same the other way: it stays rolled in longer
        (
            "walking", {"peak": 8.0, "propulsion": 3.5}, {"peak": 8.0, "propulsion": 5.5},
            "return", Verdict.AWAY,
        ),
        # the mean of midstance has no band that is known
        ("walking", {"midstance": 3.0}, {"midstance": 1.0}, "midstance", Verdict.NO_BAND),
    ],
)  # fmt: skip
def test_a_trial_worked_by_hand_gives_the_verdict_beside_it(
    gait: str, bare: dict[str, float], worn: dict[str, float], reading: str, verdict: Verdict
) -> None:
    """Eleven trials, from above, inside and below the band of peak and return."""
    (result,) = judge_trial(visit(gait, bare, worn), book()).results
    found = {key.reading: judged.verdict for key, judged in result.whole.items()}
    assert found[reading] is verdict


def test_a_mean_in_the_file_counts_as_its_strides_barefoot_and_shod() -> None:
    """Peak 11 as the mean of 16 strides barefoot and 9 in the shoe: 1.5 a stride, 0.6 alike.

    By hand: 2.25 x 1.6 x (1 / (16 - 14 x 0.6) + 1 / (9 - 7 x 0.6)) = 1.224, 1.96 x 1.106 = 2.17.
    """
    seen = visit("walking", {"peak": 11.0}, {"peak": 9.0})
    for foot, strides in ((seen.feet.left, 16), (seen.trials[0].feet.left, 9)):
        (entry,) = foot.rearfoot
        typed = entry.model_copy(update={"peak": [fmean(entry.peak or [])], "mean_of": strides})
        foot.rearfoot[:] = [typed]
    (result,) = judge_trial(seen, book()).results
    (judged,) = result.whole.values()
    assert (judged.change.before.n, judged.change.after.n) == (16, 9)
    assert judged.change.smallest == pytest.approx(2.17, abs=0.01)


@pytest.mark.parametrize("file", sorted(TRIALS.glob("*.yaml")), ids=lambda file: file.stem)
def test_every_demo_trial_says_best_and_verdict_on_its_first_screen(file: object) -> None:
    """24 lines of 80 columns hold what is best, and a verdict on each of the first two try-ons."""
    catalogue = load_catalogue(shipped_folder("catalogue_demo"), book().attributes)
    seen = read_visit(str(file), book().questions)
    outcome = outcome_of(seen, book(), catalogue)
    lines = [one.plain for one in trial_lines(trial_outcome(outcome), 80)]
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("Best") for line in lines)
    letters = letters_of(outcome)  # one lettering: what the shortlist called a is a here too
    for tried in [one for one in seen.trials if one.shoe][:2]:
        name = "+".join(filter(None, (tried.shoe, tried.insole)))
        assert any(line.startswith(f"{letters[name]}        ") for line in lines)
    said = " ".join(lines)
    assert any(word in said for word in ("the band", "OVER-CORRECTED", "too small", "not sure"))


@pytest.mark.parametrize(
    ("less", "more", "expected"),
    [
        (Dose(2, None, None), Dose(4, None, None), True),
        (Dose(0, None, None), Dose(4, None, None), True),
        (Dose(-2, None, None), Dose(4, None, None), False),  # past zero
        (Dose(4, None, None), Dose(4, None, None), False),
        (Dose(None, None, None), Dose(4, None, None), False),  # not stated
        (Dose(0, 1, 2), Dose(0, 2, 2), True),  # less stability, no more arch
        (Dose(0, 2, 1), Dose(0, 2, 2), True),
        (Dose(0, 1, 3), Dose(0, 2, 2), False),  # less of one, more of the other
        (Dose(0, 2, 2), Dose(0, 2, 2), False),
        (Dose(1, 0, 0), Dose(0, 2, 2), False),  # no wedge where there was none
        (Dose(-2, 0, 0), Dose(-4, 2, 2), True),  # a lateral wedge made smaller
    ],
)
def test_less_after_too_much_is_less_of_the_same_and_never_past_zero(
    less: Dose, more: Dose, expected: bool
) -> None:
    """A smaller wedge of the same sign; without one, less stability or arch and none more."""
    assert less.less_than(more) is expected


def loaded(bare: float, worn: float, rules: Rulebook) -> tuple[bool, str, str]:
    """Whether load went too far, the first screen, and the account of the step."""
    catalogue = load_catalogue(shipped_folder("catalogue_demo"), rules.attributes)
    step = {"shoe": "own", "feet": {"left": {"lateral-load-percent": around(worn)}}}
    bare_step = {"feet": {"left": {"lateral-load-percent": around(bare)}}}
    made = {"reference": "T", "answers": shipped.calm(), "trials": [bare_step, step]}
    one = trial_outcome(outcome_of(Visit.model_validate(made), rules, catalogue))
    (result,) = one.trial.results
    first = " ".join(line.plain for line in trial_lines(one, 300))
    out = Console(width=300, record=True, file=StringIO())
    for block in trial_blocks(one, ("steps",), 300):
        out.print(block)
    return result.load["left"].over, first, out.export_text()


def test_load_worked_by_hand_is_judged_by_a_band_that_says_where_it_comes_from() -> None:
    """Bands 40 to 60 %: 50 to 63 is too far, 70 to 62 a gain; without the limit, no verdict."""
    over, first, account = loaded(50, 63, book())
    assert over
    assert "load too far outwards left" in first
    assert "an assumption of ours" in account
    assert not loaded(70, 62, book())[0]
    bare = replace(book(), limits={k: v for k, v in book().limits.items() if k not in LOAD_LIMITS})
    over, first, account = loaded(50, 63, bare)
    assert not over
    assert "too far" not in first
    assert "not judged, the rulebook has no band for it" in account


def test_what_was_not_measured_reads_as_a_sentence() -> None:
    """What both feet lack stands once, without a word for the feet; one foot's says which."""
    lacks = [
        ReadingKey(side, "walking", "vertical", name)
        for name in ("peak-time", "propulsion", "return")
        for side in SIDES
    ]
    said = "time of the peak, propulsion, and how far it comes back"
    assert missing_words(lacks) == said
    assert missing_words(lacks[:1]) == "left: time of the peak"
    assert missing_words(lacks[:3]) == "both feet: time of the peak; left: propulsion"
