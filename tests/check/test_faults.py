"""Forty faults that were once made in these rules: each is caught by check, or told by diff."""

import re
from functools import cache
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from recommend.check import differing
from recommend.check.changes import change_findings
from recommend.check.differing import difference
from recommend.check.finding import Finding
from recommend.check.whole import check
from recommend.check.wording import wording_findings
from recommend.extras import shipped_folder
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.contents import contents_of, edits_between
from recommend.rulebook.loading import read_rulebook
from recommend.show.rulebook import difference_blocks
from tests.check.conftest import Changed

RULES = shipped_folder("rules")
HEALTH, POSTURE = "screen/health.yaml", "screen/posture-and-motion.yaml"
CLASSIFY, ATTRIBUTES = "classify/posture-and-arch.yaml", "attributes.yaml"

# (what was done, file, was, is, how it is caught: a code of check, or an exit code of diff)
FAULTS: list[tuple[str, str, str, str, str | int]] = [
    ("gentler turned", ATTRIBUTES, "    gentler: low", "    gentler: high", 5),
    ("tolerance a hundredfold", ATTRIBUTES, "    tolerance: 8", "    tolerance: 800", 5),
    ("a sum without the shoe", ATTRIBUTES, "sum-of: [shoe.wedge, insole.wedge]",
     "sum-of: [insole.wedge]", 5),
    ("a scale turned round", ATTRIBUTES,
     "      none: leaves the foot alone\n      mild: holds a little\n",
     "      mild: holds a little\n      none: leaves the foot alone\n", "turned-scale"),
    ("a scale of two words turned", ATTRIBUTES, "scale: {no: no, yes: yes}",
     "scale: {yes: yes, no: no}", "turned-scale"),
    ("a promise deleted", "promises/safety.yaml", """  - id: one-value-on-every-axis
    title: No two rules contradict each other
    then: {at-most-one: every-axis}
    because: a foot that is told two things at once is told nothing
    basis: {kind: common-practice}
""", "", 5),
    ("guarded words deleted", "wording.yaml", "        never: [no need to see, ignore]\n", "", 5),
    ("a claim of people loosened", "claims.yaml", "share: {at-least: 0.5}",
     "share: {at-least: 0.1}", 5),
    ("a question turned by free words", "questions.yaml", "ask: Do you have diabetes?",
     "ask: Is your blood sugar as it should be?", 5),
    ("an assumption called published", "limits.yaml", "values: [{value: 5, kind: assumption}]",
     "values: [{value: 5, kind: published, source: gijon-2015}]", 5),
    ("the standing caution without its stop", "rulebook.yaml", "  - Stop wearing it and see a "
     "clinician if pain is new, grows or stays after two weeks, or if there\n    is numbness, "
     "swelling or broken skin.\n", "", 5),
    ("a referral limit half as high again", "limits.yaml",
     "values: [{value: 5, kind: assumption}]", "values: [{value: 7.5, kind: assumption}]", 2),
    ("a referral without a source of its zero", POSTURE, "is: at-least, limit: "
     "fpi-pathological-high}", "is: above, limit: fpi-pathological-high}", 2),
    ("any becomes all", HEALTH, "      any:\n        - {answer: circulation-told, is: yes}",
     "      all:\n        - {answer: circulation-told, is: yes}", 2),
    ("a note becomes a caution", HEALTH,
     "then: {note: see-clinician, say: \"Pain at one point of a bone",
     "then: {note: caution, say: \"Pain at one point of a bone", 2),
    ("a stop becomes a note", HEALTH, "then: {note: stop, say: \"One swollen",
     "then: {note: see-clinician, say: \"One swollen", "weakened-stop"),
    ("a stop for some alone", HEALTH, "    when: {answer: lost-sensation, is: yes}",
     "    when: {all: [{answer: lost-sensation, is: yes}, {visit: purpose, is: running}]}",
     "weakened-stop"),
    ("a caution of the clear case alone", POSTURE, "{measure: length-difference, is: above, limit: "
     "length-difference-split}",
     "{measure: length-difference, is: clearly-above, limit: length-difference-split}", 2),
    ("an older foot is no adult", HEALTH, "{visit: age-band, is: [child, teen]}",
     "{visit: age-band, is: child}", 2),
    ("a cure", "need/motion.yaml", "rolls in further than most feet; support",
     "support cures heel pain; support", "claim-of-cure"),
    ("a cure, in German", "translations/de.yaml", "translation: \"Ihr Fuß steht",
     "translation: \"Garantiert. Ihr Fuß steht", "claim-of-cure"),
    ("a stop that goes on", HEALTH, "One swollen or tender calf: no fitting today;",
     "One swollen or tender calf: go on with the fitting;", "weak-words"),
    ("a stop that goes on, in German", "translations/de.yaml",
     "Wade: heute keine Anpassung;", "Wade: mit der Anpassung weitermachen;", "weak-words"),
    ("a note that sends to nobody", HEALTH,
     "should be seen by a doctor within two weeks of today, whatever the age",
     "is nothing unusual, whatever the age", "weak-words"),
    ("a question turned round", "questions.yaml", "ask: Is either foot hot",
     "ask: Is neither foot hot", "question-turned"),
    ("the alarming answer turned", "questions.yaml", "ulcer on either foot?\n    alarming: yes",
     "ulcer on either foot?\n    alarming: no", "question-turned"),
    ("a rule that reads the other answer", HEALTH, "when: {answer: diabetes, is: yes}",
     "when: {answer: diabetes, is: no}", "question-turned"),
    ("inwards said for outwards", POSTURE, "say: \"Standing posture is far inside",
     "say: \"Standing posture is far outside", "turned-side"),
    ("outwards said for inwards", POSTURE, "Posture beyond the usual range, outwards",
     "Posture beyond the usual range, inwards", "turned-side"),
    ("a question that asks for less", "questions.yaml", "Is one calf swollen or tender?",
     "Is one calf swollen?", 5),
    ("a customer's sentence", "types.yaml", "comfort can lead the choice.",
     "a firm shoe should lead the choice.", 5),
    ("a sentence in German", "translations/de.yaml", "ist er stark, noch am selben Tag",
     "ist er stark, irgendwann einmal", 5),
    ("a paper", "sources.yaml", "Clin Biomech 2006;21:89-98", "Clin Biomech 2006;21:89", 5),
    ("a name at the counter", "measures.yaml", "plain: standing posture", "plain: posture", 5),
    ("an error of measuring", "measures.yaml", "error: {single: 0.85,", "error: {single: 1.85,", 5),
    ("a norm", "measures.yaml", "mean: 2.9, sd: 3.2", "mean: 3.9, sd: 3.2", 5),
    ("what can be written down", "measures.yaml", "    lowest: -12", "    lowest: -11", 5),
    ("a weight", "parameters/rank.yaml", "    value: 4\n", "    value: 3\n", 5),
    ("the norm that rules", "rulebook.yaml", "fpi-system: manual-2005",
     "fpi-system: adult-norm-2008", 5),
    ("a never becomes a wish", "need/care.yaml", "limit: wedge-none, strength: never}",
     "limit: wedge-none, strength: prefer}", 5),
    ("a wish that weighs less", "need/motion.yaml", "level: mild, strength: prefer, weight: strong",
     "level: mild, strength: prefer, weight: slight", 5),
    ("a limit of one foot type", CLASSIFY, "{measure: fpi, is: at-least, limit: fpi-pronated}",
     "{measure: fpi, is: clearly-above, limit: fpi-pronated}", 5),
    ("asked of everybody", "questions.yaml", "    after-wear: true\n", "", 5),
    ("who comes to the shop", "population.yaml", "walking: {value: 0.36", "walking: {value: 0.3",
     5),
    ("a limit of another gait", "limits.yaml", "where: {gait: running, reference: vertical}",
     "where: {gait: walking, reference: relaxed-standing}", 5),
]  # fmt: skip


def caught(folder: Path, monkeypatch: pytest.MonkeyPatch) -> set[str | int]:
    """Codes of the errors of check, and what the exit code of diff would be."""
    monkeypatch.setattr(differing, "moves_between", lambda *_: None)
    book, problems = read_rulebook(folder)
    if book is None:
        return {"not-readable"} if problems else set()
    found: set[str | int] = {f.code for f in of_check(folder) if f.level == "error"}
    told = difference((shipped(), book), (None, None), 1, 1)  # type: ignore[arg-type]
    return found | ({2} if told.weakened else set()) | ({5} if told.unread else set())


@cache
def shipped() -> Rulebook:
    """The rules before the fault."""
    return load_rulebook(RULES)


def of_check(folder: Path) -> list[Finding]:
    """The cheap part of a check: words and the change log."""
    book = load_rulebook(folder)
    return [*wording_findings(book), *change_findings(book)]


def test_shipped_rules_have_none() -> None:
    """No wrong word, no weakened note."""
    assert of_check(RULES) == []


@pytest.mark.parametrize("fault", FAULTS, ids=lambda one: one[0].replace(" ", "-"))
def test_fault_is_caught(
    fault: tuple[str, str, str, str, str | int],
    changed: Changed,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By check with its code, or by diff with a code other than 0."""
    _, file, was, now, how = fault
    found = caught(changed((file, was, now)), monkeypatch)
    assert how in found, found


def test_harmless_edits_end_with_0(changed: Changed) -> None:
    """Comments, line breaks, folded sentences and the order of rules are no difference."""
    folder = changed(
        (HEALTH, "rules:\n", "rules:\n\n  # A word on what follows.\n"),
        (POSTURE, "because: posture as far inwards as this is rare",
         "because: posture as far inwards\n      as this is rare"),
    )  # fmt: skip
    file = folder / ATTRIBUTES
    file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    blocks = re.split(r"(?m)^(?=  - id: )", (folder / CLASSIFY).read_text("utf-8"))
    (folder / CLASSIFY).write_text(blocks[0] + blocks[2] + blocks[1] + "".join(blocks[3:]), "utf-8")
    assert edits_between(contents_of(RULES), contents_of(load_rulebook(folder).folder)) == ()


def test_a_question_asked_otherwise_is_not_said_to_change_nothing(changed: Changed) -> None:
    """No condition has changed, and yet the same answer may mean another thing."""
    folder = changed(("questions.yaml", "ask: Do you have diabetes?", "ask: Is your sugar well?"))
    told = difference((shipped(), load_rulebook(folder)), (None, None), 1, 1)  # type: ignore[arg-type]
    assert told.turned == ("diabetes",)
    out = Console(file=StringIO(), width=100)
    for block in difference_blocks(told, out.width):
        out.print(block)
    said = out.file.getvalue()  # type: ignore[attr-defined]
    assert "every outcome is what it was" not in said
    assert "diabetes" in said


def test_a_note_that_is_gone_is_told_once_with_what_names_it(changed: Changed) -> None:
    """Needs, examples and translations that name it are counted under it, not blamed."""
    folder = changed()
    file = folder / HEALTH
    rule = re.compile(r"  - id: see-bone-point-pain\n(?:    .*\n)+")
    file.write_text(rule.sub("", file.read_text("utf-8")), "utf-8")
    errors = [f for f in check(folder, []).findings if f.level == "error"]
    assert [f.code for f in errors] == ["weakened-note"]
    assert "still name" in errors[0].found
    assert errors[0].related


def test_a_note_deleted_with_its_limit_and_examples_is_told(
    changed: Changed, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing within the folder speaks of it any more; diff has the old one and a foot."""
    folder = changed()
    rule = re.compile(r"  - id: see-bone-point-pain\n(?:    .*\n)+")
    file = folder / HEALTH
    text = file.read_text("utf-8")
    assert rule.search(text)
    file.write_text(rule.sub("", text), "utf-8")
    changed(("need/care.yaml", "when: {note: see-bone-point-pain}",
             "when: {answer: bone-point-pain, is: yes}"))  # fmt: skip
    monkeypatch.setattr(differing, "moves_between", lambda *_: None)
    books = shipped(), load_rulebook(folder)
    told = difference(books, (None, None), 1, 1)  # type: ignore[arg-type]
    (finding,) = told.weakened
    assert "`see-bone-point-pain`" in finding.found
    assert "bone-point-pain: 'yes'" in finding.visit
