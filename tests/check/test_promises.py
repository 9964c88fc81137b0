"""Promises are proved for every possible foot, or broken by a foot that the engine confirms."""

from pathlib import Path

import pytest
import yaml

pytest.importorskip("z3", reason="the prover is the optional extra `prove`")
import z3

from recommend.catalogue.loading import Item
from recommend.catalogue.models import Product
from recommend.check.encoding import FormulaFoot, number
from recommend.check.examples import load_examples
from recommend.check.promises import PromiseResult, load_promises
from recommend.check.proving import promise_findings, prove
from recommend.extras import shipped_folder
from recommend.infer.assess import Assessment, assess
from recommend.infer.conclusions import ContradictionError
from recommend.infer.engine import engine_of
from recommend.match.judge import judge
from recommend.match.needs import needs_of
from recommend.rulebook import Rulebook, load_rulebook
from recommend.visit.models import Visit
from tests.check.conftest import Changed


def verdicts(book: Rulebook, *only: str) -> dict[str, PromiseResult]:
    """Verdicts by promise id, of those that are named."""
    promises, problems = load_promises(book)
    assert problems == ()
    chosen = [one for one in promises if not only or one.promise.id in only]
    return {one.given.promise.id: one for one in prove(book, chosen)}


def shown(verdict: PromiseResult, book: Rulebook) -> Assessment:
    """The visit file of a verdict taken through the engine for one visit."""
    return assess(Visit.model_validate(yaml.safe_load(verdict.visit)), book)


def insole(wedge: float) -> Item:
    """An insole with everything stated that a wedge rule could ask for."""
    product = Product(id="one", kind="insole", title="One", attributes={}, stock={"260": 1})
    return Item(product, {"insole.wedge": wedge}, {})


def let_through(seen: Assessment, wedge: float, book: Rulebook) -> bool:
    """Whether matching lets an insole with this wedge through for the assessed visit."""
    fired = {s: [r for r, t in f.conclusions.truth.items() if t] for s, f in seen.feet.items()}
    return judge((insole(wedge),), needs_of(book, fired), book).suitable


def test_every_promise_of_the_shipped_rulebook_is_proved(book: Rulebook) -> None:
    """No possible foot breaks any of them."""
    assert {name for name, one in verdicts(book).items() if one.outcome != "proved"} == set()


def test_the_formulas_agree_with_the_engine_on_the_examples(book: Rulebook) -> None:
    """Put the facts of an example into the prover: each rule holds there as in the engine."""
    cases, _ = load_examples(book)
    engine, foot = engine_of(book), FormulaFoot(book)
    for case in cases[::23]:
        solver = z3.Solver()
        solver.add(*foot.possible, *(pinned(foot, case.facts, book)))
        assert solver.check() == z3.sat
        model, truth = solver.model(), engine.conclude(case.facts).truth
        for rule in book.rules:
            holds = z3.is_true(model.eval(foot.holds(rule), model_completion=True))
            assert holds == (truth[rule.id] is True), (case.example.name, rule.id)


def pinned(foot: FormulaFoot, facts, book: Rulebook):
    """Constraints that leave the prover exactly one foot."""
    for name, known in foot.known.items():
        if name in book.measures:
            yield known == (facts[f"known_{name}"] == "yes")
        elif name == "pain":
            yield known == any(fact.startswith("pain_") for fact in facts)
        elif name.startswith(("answer_", "visit_")):
            yield known == (name in facts)
    for name, value in foot.value.items():
        if name in facts:
            yield value == number(facts[name])
            yield foot.margin[name] == number(round(facts[name] - facts[f"{name}_low"], 4))
    for fact, code in foot.word.items():
        if fact in facts:
            yield code == book.vocabulary.words[fact].index(facts[fact])


def test_two_values_on_an_axis_come_with_a_foot_the_engine_trips_over(changed: Changed) -> None:
    """The visit of the counterexample makes the engine contradict itself."""
    book = load_rulebook(changed(("classify/posture-and-arch.yaml",
        "is: below, limit: fpi-pronated}", "is: at-most, limit: fpi-pronated}")))  # fmt: skip
    one = verdicts(book, "one-value-on-every-axis")["one-value-on-every-axis"]
    assert one.outcome == "broken"
    assert one.foot in ("fpi 6 (grown)", "fpi 7 (child); age-band child"), "limits of either age"
    with pytest.raises(ContradictionError):
        shown(one, book)


def test_a_foot_without_a_type_is_found(changed: Changed) -> None:
    """Leave a combination out of the types, and a measured foot of it is shown."""
    book = load_rulebook(changed(
        ("types.yaml", "is: high}\n        - {axis: amount, is: [usual, much]}",
         "is: high}\n        - {axis: amount, is: usual}")
    ))  # fmt: skip
    try:
        for seed in range(6):  # whichever foot the solver comes upon can be written down
            z3.set_param("smt.random_seed", seed)
            one = verdicts(book, "one-foot-type")["one-foot-type"]
            assert one.outcome == "broken"
            foot = shown(one, book).feet["left"]
            assert foot.foot_type is None
            assert foot.conclusions.axes["amount"] == "much"
    finally:
        z3.reset_params()


def test_a_wedge_that_reaches_a_laterally_loaded_foot_is_found(changed: Changed) -> None:
    """Take one condition from the rule that guards it; matching lets the wedge through."""
    guard = "{attribute: insole.wedge, is: above, limit: wedge-none, strength: never}"
    then = f"        - {{axis: amount, is: little}}\n    then:\n      needs:\n        - {guard}"
    lateral = "        - {axis: load-path, is: lateral}\n"
    book = load_rulebook(changed(("need/motion.yaml", lateral + then, then)))
    name = "no-insole-wedge-under-an-outward-foot"
    one = verdicts(book, name)[name]
    assert one.outcome == "broken"
    seen = shown(one, book)
    assert seen.feet["left"].conclusions.axes["load-path"] == "lateral"
    assert any(let_through(seen, wedge, book) for wedge in (0.5, 1, 2, 3, 4))


def test_a_sum_of_wedge_beyond_its_bound_is_found(changed: Changed) -> None:
    """Loosen the bound of one rule, and the promise that names the bound of all breaks."""
    book = load_rulebook(changed(("need/motion.yaml",
        "{attribute: pair.wedge, is: at-most, limit: wedge-sum-pronated, strength: must}",
        "{attribute: pair.wedge, is: at-most, limit: wedge-sum-pronated, strength: prefer}",
    )))  # fmt: skip
    assert verdicts(book, "wedge-sum-bounded")["wedge-sum-bounded"].outcome == "broken"


def test_a_stop_that_can_be_talked_away_is_found(changed: Changed) -> None:
    """A stop that asks for an age band besides does not stop a visit without one."""
    book = load_rulebook(changed(("screen/health.yaml", "when: {answer: open-wound, is: yes}",
        "when: {all: [{answer: open-wound, is: yes}, {visit: age-band, is: [adult, older]}]}",
    )))  # fmt: skip
    one = verdicts(book, "stop-at-open-wound")["stop-at-open-wound"]
    assert one.outcome == "broken"
    seen = shown(one, book)
    assert seen.visit.answers["open-wound"] == "yes"
    assert not seen.stopped


def test_a_note_that_a_more_extreme_reading_loses_is_found(changed: Changed) -> None:
    """A note that asks for motion within the band goes away as the reading grows."""
    book = load_rulebook(changed(("screen/posture-and-motion.yaml",
        "when:\n      any:\n        - {measure: peak-angle, is: at-least, limit: peak-referral}\n",
        "when:\n      any:\n        - {all: [{measure: peak-angle, is: at-least, limit: "
        "peak-referral}, {axis: amount, is: usual}]}\n",
    )))  # fmt: skip
    one = verdicts(book, "more-peak-angle-keeps-its-notes")["more-peak-angle-keeps-its-notes"]
    assert one.outcome == "broken"
    assert "`see-pronation-beyond-limit`" in one.why


def test_silence_that_is_bolder_than_a_no_is_found(changed: Changed) -> None:
    """A never that waits for the answer no is not there when nobody asked."""
    book = load_rulebook(changed(
        ("need/purpose-and-person.yaml", "pregnancy, is: yes}", "pregnancy, is: no}")
    ))  # fmt: skip
    one = verdicts(book, "unasked-is-not-no")["unasked-is-not-no"]
    assert one.outcome == "broken"
    assert "`pregnancy`" in one.why


def test_a_chain_can_promise_something_of_its_own(changed: Changed) -> None:
    """A promise written by a chain is proved or broken like those that ship."""
    folder: Path = changed()
    (folder / "promises" / "own.yaml").write_text(
        "title: Own\npromises:\n"
        "  - id: own\n    title: No drop above ten under a painful forefoot\n"
        "    when: {pain: forefoot, is: yes}\n"
        "    then: {forbids: {attribute: shoe.drop, is: above, limit: drop-moderate}}\n"
        "    because: b\n    basis: {kind: assumption}\n"
    )
    one = verdicts(load_rulebook(folder), "own")["own"]
    assert one.outcome == "broken"
    assert one.foot == "pain: forefoot"


def test_a_name_a_promise_misspells_is_refused_with_the_nearest(changed: Changed) -> None:
    """Axes, measures, attributes and limits of promises are looked up as those of rules are."""
    folder = changed(
        ("promises/safety.yaml", "decides: foot-type", "decides: foot-tipe"),
        ("promises/safety.yaml", "attribute: shoe.wedge", "attribute: shoe.wegde"),
        ("promises/screening.yaml", "answer: open-wound", "answer: open-wond"),
        ("promises/screening.yaml", "higher: pain-score", "higher: pain-skore"),
    )
    _, problems = load_promises(load_rulebook(folder))
    assert sorted(problem.mend for problem in problems) == [
        "did you mean `foot-type`?", "did you mean `open-wound`?",
        "did you mean `pain-score`?", "did you mean `shoe.wedge`?",
    ]  # fmt: skip


def test_a_note_that_one_more_reading_would_lose_is_found(changed: Changed) -> None:
    """A note that waits for the arch not being measured is gone when somebody measures it."""
    book = load_rulebook(changed(("screen/posture-and-motion.yaml",
        "when: {measure: fpi, is: at-least, limit: fpi-pathological-high}",
        "when: {all: [{measure: fpi, is: at-least, limit: fpi-pathological-high}, "
        "{measure: arch-height-ratio, is: not-measured}]}",
    )))  # fmt: skip
    one = verdicts(book, "adding-a-reading-keeps-its-notes")["adding-a-reading-keeps-its-notes"]
    assert one.outcome == "broken"
    assert "adding arch-height-ratio takes the note of `see-posture-far-inwards` away" in one.why


def test_a_wedge_under_a_new_clinical_note_is_found(changed: Changed) -> None:
    """Whoever adds such a note without its consequence is shown the foot that gets a wedge."""
    book = load_rulebook(changed(("screen/health.yaml",
        "then: {note: caution, say: \"Another kind",
        "then: {note: see-clinician, say: \"Another kind",
    )))  # fmt: skip
    one = verdicts(book, "no-lateral-pair-wedge-before-a-clinician",
                   "no-medial-shoe-wedge-before-a-clinician")  # fmt: skip
    assert one["no-medial-shoe-wedge-before-a-clinician"].outcome == "broken"


def test_what_cannot_be_decided_is_never_called_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where z3 gives up, a promise is undecided, and the check warns of it by name."""
    monkeypatch.setattr(z3.Solver, "check", lambda *_: z3.unknown)
    book = load_rulebook(shipped_folder("rules"))
    one = verdicts(book, "one-value-on-every-axis")["one-value-on-every-axis"]
    assert one.outcome == "undecided"
    (finding,) = promise_findings([one])
    assert (finding.code, finding.level) == ("not-decided", "warning")
    assert "`one-value-on-every-axis`" in finding.found
