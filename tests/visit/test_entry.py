"""Guided entry as a state machine, without any terminal."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from recommend.visit.entry import Entry, visit_of
from recommend.visit.intake import FPI_ITEMS, intake

Begin = Callable[..., Entry]

AFTER_WEAR = 3

# Redmond, Crosbie and Ouvrier 2006, Clin Biomech 21:89-98: the six criteria in their order, as
# listed with the instrument in Redmond, Crane and Menz 2008, J Foot Ankle Res 1:6.
PUBLISHED_ITEMS = (
    "talar head",
    "malleol",
    "calcane",
    "talonavicular",
    "medial longitudinal arch",
    "forefoot on rearfoot",
)


def test_posture_items_are_the_published_six_in_the_published_order() -> None:
    """Anatomy and order of the FPI-6 items are those of the publication."""
    written = [f"{name.replace('-', ' ')} {title}".lower() for name, title, *_ in FPI_ITEMS]
    assert len(written) == len(PUBLISHED_ITEMS)
    for published, ours in zip(PUBLISHED_ITEMS, written, strict=True):
        assert published in ours


def test_screening_comes_before_any_measure(begin: Begin) -> None:
    """Every screening question and pain are asked before purpose, posture and lengths."""
    entry = begin()
    blocks = [step.block for step in entry.steps]
    screening = [s.id for s in entry.steps if s.block == "Screening"]
    asked = {name for name, one in entry.judge.book.questions.items() if not one.retired}
    assert asked <= set(screening)
    assert "cannot-bear-weight" not in screening  # read in old visits, and asked no more
    further = sum(bool(one.only_if) for one in entry.judge.book.questions.values())
    assert entry.number == (1, len(asked) - AFTER_WEAR - further + 2)
    assert blocks[: len(screening)] == ["Screening"] * len(screening)
    order = list(dict.fromkeys(blocks))
    assert order[:5] == [
        "Screening", "Purpose and size", "Standing posture", "Lengths and heights", "Captures",
    ]  # fmt: skip


def test_a_stop_is_said_with_the_answer_that_brings_it(begin: Begin) -> None:
    """A warning sign halts the entry at once, before anything is measured."""
    entry = begin("open-wound")
    reply = entry.feed("y")
    assert len(reply.stops) == 1
    assert "wound" in reply.stops[0]
    assert entry.step is not None
    assert entry.step.id == "after-stop"
    entry.feed("e")
    assert entry.step is None
    assert visit_of(entry.draft.tree).answers == {"open-wound": "yes"}


def test_a_stop_typed_by_mistake_is_taken_back(begin: Begin) -> None:
    """Going back from a stop and answering no carries on as if nothing had been."""
    entry = begin("open-wound")
    entry.feed("y")
    entry.feed("<")
    assert entry.step is not None
    assert entry.step.id == "open-wound"
    assert entry.feed("n").stops == ()
    assert entry.draft.halted is False
    assert entry.feed("y").stops != ()  # hot, swollen foot: another stop still stops


@pytest.mark.parametrize("confirmed", ["y", ""])
def test_a_stop_that_is_confirmed_is_said_again(begin: Begin, confirmed: str) -> None:
    """Going back to the answer and confirming it, typed or by Enter, stops as the first time."""
    entry = begin("open-wound")
    first = entry.feed("y").stops
    entry.feed("<")
    assert entry.feed(confirmed).stops == first != ()
    assert entry.step is not None
    assert entry.step.id == "after-stop"
    entry.feed("c")
    assert entry.feed("n").stops == ()  # another answer has nothing to do with it


def test_diabetes_stops_while_feeling_is_not_known(begin: Begin) -> None:
    """Feeling is tested before anything is fitted (IWGDF guidelines 2019); silence is no 'no'."""
    said = begin("diabetes").feed("y")
    assert len(said.stops) == 1
    assert "feeling" in said.stops[0]


def test_advice_is_said_with_the_answer_that_brings_it(begin: Begin) -> None:
    """Diabetes sends to a clinician at once, not at the end of the block, and halts nothing."""
    entry = begin("lost-sensation")
    entry.feed("n")
    said = entry.feed("y")  # diabetes comes next
    assert len(said.advice) == 1
    assert "Diabetes" in said.advice[0]
    assert said.stops == ()
    assert entry.step is not None
    assert entry.step.id != "after-stop"
    entry.feed("<")
    assert entry.feed("y").advice == said.advice
    entry.feed("<")
    passed = entry.feed("")  # Enter keeps what stands and only passes by
    assert (passed.kind, passed.advice) == ("kept", ())
    assert entry.feed("n").advice == ()


def test_what_is_left_out_stays_missing(begin: Begin) -> None:
    """Leaving out and skipping a block leave nothing behind in the visit."""
    entry = begin("age-band")
    while entry.step is not None:
        entry.feed(">" if entry.step.block != "Screening" else "x")
    assert entry.draft.tree == {"reference": "T-1", "date": "2026-03-05"}
    visit = visit_of(entry.draft.tree)
    assert (visit.answers, visit.pain, visit.feet.left.fpi) == ({}, None, None)


def test_an_impossible_value_is_refused_on_the_spot(begin: Begin) -> None:
    """A foot of 26 mm is refused, and the same question is asked again."""
    entry = begin("foot-length.left")
    reply = entry.feed("26")
    assert reply.kind == "refused"
    assert "80" in reply.say
    assert entry.step is not None
    assert entry.step.id == "foot-length.left"
    assert "feet" not in entry.draft.tree


def test_a_truncated_length_longer_than_the_foot_is_refused(begin: Begin) -> None:
    """What contradicts an earlier answer is refused with both numbers."""
    entry = begin("truncated-length.left", feet={"left": {"foot-length-mm": 265}})
    reply = entry.feed("270")
    assert reply.kind == "refused"
    assert "270" in reply.say
    assert "265" in reply.say


def test_an_implausible_value_is_taken_when_it_is_repeated(begin: Begin) -> None:
    """A value far outside the norm is taken only when it is typed a second time."""
    entry = begin("peak.left", purpose="walking")
    assert entry.feed("22 23 22").kind == "again"
    assert entry.feed("22 23 22").kind == "taken"
    assert visit_of(entry.draft.tree).feet.left.rearfoot[0].peak == [22, 23, 22]


def test_another_doubtful_value_is_doubted_anew(begin: Begin) -> None:
    """Feet of 205 and 250, then 240 mm (45 and 35 apart, three sizes and more) are both asked."""
    entry = begin("foot-length.right", feet={"left": {"foot-length-mm": 205}})
    assert "differ" in entry.feed("250").say
    assert "differ" in entry.feed("240").say
    assert "differ" in entry.feed("250").say
    assert entry.feed("25 cm").kind == "taken"
    assert visit_of(entry.draft.tree).feet.right.foot_length_mm == 250
    entry.feed("<")
    assert entry.feed("207").kind == "taken"
    entry.feed("<")
    assert entry.feed("250").kind == "again"  # it was settled for then, not for good


def test_a_doubtful_angle_may_have_the_wrong_sign(begin: Begin) -> None:
    """The sign is named when the angle would be plausible with the other, and only then."""
    # sobel-1999: adults stand 6.07 degrees everted, SD 2.7; 4 SD reach from -4.7 to 16.9.
    entry = begin("standing-angle.left")
    assert "is the sign turned round?" in entry.feed("-6 -6.5").say
    assert entry.feed("6 6.5").kind == "taken"
    reply = entry.feed("20 21")
    assert reply.kind == "again"
    assert "sign" not in reply.say
    entry = begin("foot-length.left")
    assert "sign" not in entry.feed("120").say


@pytest.mark.parametrize(
    ("phase", "turned"), [("touchdown", "12"), ("peak", "-5"), ("midstance", "-6"),
                          ("propulsion", "-9"), ("standing-angle", "-5")],
)  # fmt: skip
def test_a_turned_sign_is_asked_about_in_every_phase(begin: Begin, phase: str, turned: str) -> None:
    """Rolled in is plus: what few feet have, and the other sign would mend, is asked about."""
    entry = begin(f"{phase}.left")
    reply = entry.feed(turned)
    assert reply.kind == "again"
    assert "is the sign turned round?" in reply.say


@pytest.mark.parametrize(
    ("step", "typed"),
    [("body-mass", "205"), ("foot-length.left", "383"), ("heel-width.left", "99")],
)
def test_what_hardly_anyone_has_is_asked_about(begin: Begin, step: str, typed: str) -> None:
    """A weight of 205 kg, a foot of 383 mm and a heel of 99 mm are taken when typed once more."""
    entry = begin(step, feet={"left": {"foot-length-mm": 268}}) if "heel" in step else begin(step)
    assert entry.feed(typed).kind == "again"
    assert entry.feed(typed).kind == "taken"


def test_an_implausible_value_may_be_corrected(begin: Begin) -> None:
    """The second answer counts, whatever the first was."""
    entry = begin("dorsum-standing.left", feet={"left": {"dorsum-height-mm": {"sitting": 58}}})
    assert "sinks" in entry.feed("68").say
    assert entry.feed("56").kind == "taken"
    height = visit_of(entry.draft.tree).feet.left.dorsum_height_mm
    assert height is not None
    assert (height.sitting, height.standing) == ([58], [56])


def test_enter_at_a_question_of_one_key_leaves_nothing_out(begin: Begin) -> None:
    """A key pressed too often is no answer: the same question is asked again."""
    entry = begin("age-band")
    assert entry.feed("").kind == "refused"
    assert entry.step is not None
    assert entry.step.id == "age-band"
    entry.feed("a")
    entry.feed("<")
    assert entry.feed("").kind == "kept"  # what stands in brackets is kept


def test_going_back_keeps_what_stands(begin: Begin) -> None:
    """Back shows the earlier answer, Enter keeps it, x removes it."""
    entry = begin("body-mass")
    entry.feed("78")
    entry.feed("<")
    assert entry.step is not None
    assert entry.step.standing(entry.draft.tree) == "78 kg"
    assert entry.feed("").kind == "kept"
    entry.feed("<")
    entry.feed("x")
    assert "body-mass-kg" not in entry.draft.tree


def test_help_answers_and_asks_the_same_again(begin: Begin) -> None:
    """'?' says more about the question and changes nothing."""
    entry = begin("truncated-length.left")
    assert "metatarsal" in entry.feed("?").say
    assert entry.step is not None
    assert entry.step.id == "truncated-length.left"


def test_every_step_has_help_and_a_place_of_its_own(begin: Begin) -> None:
    """No two steps write to the same place, and '?' has something to say everywhere."""
    steps = begin().steps
    assert all(step.help and step.kind.hint for step in steps)
    assert len({step.path for step in steps}) == len(steps)
    assert len({step.id for step in steps}) == len(steps)


def test_angles_carry_gait_and_zero_reference(begin: Begin) -> None:
    """Readings are kept with the gait of the purpose and the zero that was chosen."""
    entry = begin("standing-zero", purpose="running")
    assert entry.feed("r").kind == "refused"  # a standing angle from standing is 0
    for typed in ("v", "9 8.5", "", "", "s", "1 2 1.5", "", "12 11 13"):
        entry.feed(typed)
    standing, moving = visit_of(entry.draft.tree).feet.left.rearfoot
    assert (standing.gait, standing.reference) == ("standing", "vertical")
    assert (moving.gait, moving.reference) == ("running", "subtalar-neutral")
    assert (moving.touchdown, moving.peak) == ([1, 2, 1.5], [12, 11, 13])
    assert visit_of(entry.draft.tree).feet.right.rearfoot == []


def test_a_capture_file_fills_the_questions_that_follow(begin: Begin) -> None:
    """A video capture gives one angle a stride; its name and hash are kept."""
    entry = begin("capture", purpose="walking")
    assert entry.feed("catalogue_demo/captures/no-such.csv").kind == "refused"
    assert "wrote peak" in entry.feed("catalogue_demo/captures/video-left.csv").say
    assert entry.step is not None
    assert entry.step.id == "capture"
    visit = visit_of(entry.draft.tree)
    strides = visit.feet.left.rearfoot[0].peak
    assert strides is not None
    assert len(strides) > 3
    assert visit.captures[0].sha256 is not None
    step = next(step for step in entry.steps if step.id == "peak.left")
    assert step.standing(entry.draft.tree)
    entry.feed("")
    assert entry.step.id == "print-kind"


def test_the_total_is_asked_only_when_no_item_was_scored(begin: Begin) -> None:
    """A foot whose items were scored is not asked for their sum."""
    entry = begin("talar-head.left")
    entry.feed("f")
    asked = [step.id for step in entry.steps if step.asked_if(entry.draft.tree)]
    assert "fpi-total.left" not in asked
    assert "fpi-total.right" in asked


@pytest.mark.parametrize(
    "typed", ["?", "<", ">", "x", "", "y", "n", "-", "q" * 500, "\x00", "é", "２"]
)
def test_no_key_at_any_step_breaks_the_entry(begin: Begin, typed: str) -> None:
    """Whatever is pressed at whatever question, the draft stays a valid visit."""
    for step in begin().steps:
        entry = begin(step.id)
        entry.feed(typed)
        visit_of(entry.draft.tree)


@pytest.mark.parametrize(
    ("step", "resting"),
    [
        ("print-kind", "arch-index"), ("print-load", "arch-index"), ("gait", "peak"),
        ("moving-zero", "peak"), ("standing-zero", "standing-angle"),
    ],
)  # fmt: skip
def test_what_others_stand_on_is_left_out_after_them(begin: Begin, step: str, resting: str) -> None:
    """`x` where another answer stands on this one says so, and keeps both; the other goes first."""
    angles = [
        {"gait": "standing", "reference": "vertical", "angle": [4.0]},
        {"gait": "walking", "reference": "vertical", "peak": [5.0, 6.0]},
    ]
    left = {"arch-index": {"value": 0.2, "kind": "ink", "load": "static"}, "rearfoot": angles}
    entry = begin(step, purpose="walking", feet={"left": left})
    before = visit_of(entry.draft.tree)
    reply = entry.feed("x")
    called = next(one.called for one in entry.steps if one.stem == resting)
    assert reply.kind == "refused"
    assert called in reply.say
    assert visit_of(entry.draft.tree) == before
    for one in [one for one in entry.steps if one.stem == resting]:
        entry.draft.at = one.id
        entry.feed("x")
    entry.draft.at = step
    assert entry.feed("x").kind == "removed"


def test_the_order_of_asking_needs_no_rulebook_of_ours() -> None:
    """A shop's own screening questions are asked in the order of its rulebook."""

    class Own:
        ask, why, after_wear, alarming = "Is it so?", "it matters", False, "yes"
        only_if, retired = {}, False

    steps = [s.id for s in intake({"second": Own(), "first": Own()}, {}, "uk", "vertical")]
    assert steps[:4] == ["age-band", "second", "first", "pain"]
