"""A shop's own measure needs no Python: declared in measures.yaml, it is asked, read and judged."""

import json
from pathlib import Path

import pytest

from recommend.check.authoring import schema_of
from recommend.check.cells import space_of, truths
from recommend.check.feet import visit_text
from recommend.check.whole import check
from recommend.errors import InputError
from recommend.measure.named import read_measured_visit
from recommend.rulebook import load_rulebook
from recommend.show.form import form_html
from recommend.visit.answers import RefusedError
from recommend.visit.intake import intake
from tests.check.conftest import Changed
from tests.check.conftest import changed as changed
from tests.reading.corpus import run_in_process

# An invented measure: nobody takes it, and its limit means nothing.
MEASURES = """  heel-bounce:
    title: bounce of the heel
    plain: heel bounce
    unit: mm
    lowest: 0
    highest: 40
    typed: true
    how: press the heel down and read how far it comes back
    error: {single: 1, kind: assumption}
  ball-bounce:
    title: bounce of the ball
    plain: ball bounce
    unit: mm
    lowest: 1
    highest: 40
    typed: true
    how: press the ball of the foot likewise
    error: {single: 1, kind: assumption}
  bounce-ratio:
    title: heel bounce over ball bounce
    plain: bounces, heel to ball
    unit: ratio
    decimals: 2
    derived: {ratio: [heel-bounce, ball-bounce]}
    how: take both bounces
    error: {single: 0.05, kind: assumption}
  bounce-excess:
    title: heel bounce less ball bounce
    plain: bounces, heel less ball
    unit: mm
    derived: {difference: [heel-bounce, ball-bounce]}
    how: take both bounces
    error: {single: 1.4, kind: assumption}
  bounce-sum:
    title: heel bounce and ball bounce together
    plain: bounces together
    unit: mm
    derived: {sum: [heel-bounce, ball-bounce]}
    how: take both bounces
    error: {single: 1.4, kind: assumption}
"""
LIMITS = """  heel-bounce-much:
    {title: much, unit: mm, population: adults, values: [{value: 12, kind: assumption}]}
  bounce-ratio-much:
    {title: much more, unit: ratio, population: adults, values: [{value: 2, kind: assumption}]}
  bounce-excess-much:
    {title: far more, unit: mm, population: adults, values: [{value: 10, kind: assumption}]}
  bounce-sum-much:
    {title: much of both, unit: mm, population: adults, values: [{value: 20, kind: assumption}]}
"""
RULES = """title: Bounces
rules:
  - id: caution-heel-bounce
    title: A heel that bounces
    when: {measure: heel-bounce, is: clearly-above, limit: heel-bounce-much}
    then: {note: caution, say: "The heel bounces; mind how the cushioning feels."}
    because: it came back far when it was pressed
    basis: {kind: assumption}
  - id: caution-bounce-ratio
    title: Heel and ball bounce unlike
    when: {measure: bounce-ratio, is: above, limit: bounce-ratio-much}
    then: {note: caution, say: "Heel and ball bounce unlike; mind how the cushioning feels."}
    because: one came back farther than the other
    basis: {kind: assumption}
  - id: caution-bounce-excess
    title: A heel that bounces far more than the ball
    when: {measure: bounce-excess, is: above, limit: bounce-excess-much}
    then: {note: caution, say: "The heel bounces far more; mind how the cushioning feels."}
    because: it came back much farther than the ball
    basis: {kind: assumption}
  - id: caution-bounce-sum
    title: Heel and ball bounce much
    when: {measure: bounce-sum, is: above, limit: bounce-sum-much}
    then: {note: caution, say: "Heel and ball bounce much; mind how the cushioning feels."}
    because: both came back far
    basis: {kind: assumption}
"""
EXAMPLES = """title: Bounces
tables:
  - title: heels that bounce
    given: [heel-bounce]
    expect: [caution-heel-bounce]
    rows:
      - [{value: 15, error: 1}, caution]
      - [{value: 13, error: 1}, .]
  - title: heel and ball
    given: [bounce-ratio]
    expect: [caution-bounce-ratio]
    rows:
      - [2.1, caution]
      - [2, .]
  - title: heel less ball
    given: [bounce-excess]
    expect: [caution-bounce-excess]
    rows:
      - [11, caution]
      - [10, .]
  - title: heel and ball together
    given: [bounce-sum]
    expect: [caution-bounce-sum]
    rows:
      - [21, caution]
      - [20, .]
"""
VISIT = """reference: Q-0001
feet:
  left:
    measures: {heel-bounce: [15, 16], ball-bounce: 5}
  right:
    measures: {heel-bounce: 6}
"""


@pytest.fixture
def rules(changed: Changed) -> Path:
    """A shop's rulebook with two measures of its own, and three that follow from them."""
    folder = changed(
        ("measures.yaml", "measures:\n", "measures:\n" + MEASURES),
        ("limits.yaml", "limits:\n", "limits:\n" + LIMITS),
    )
    (folder / "screen/bounce.yaml").write_text(RULES)
    return folder


def test_it_is_typed_judged_and_printed(rules: Path, tmp_path: Path) -> None:
    """The note of a rule on it comes, on the screen too; the mean of readings, and a ratio."""
    visit = tmp_path / "visit.yaml"
    visit.write_text(VISIT)
    done = run_in_process(["shortlist", str(visit), "--rules", str(rules), "--json"])
    notes = {(n["rule"], *n["sides"]) for n in json.loads(done.stdout)["notes"]}
    bounces = {one for one in notes if "bounce" in one[0]}
    # 15.5 mm of the heel and 5 mm of the ball: a ratio of 3.1, a difference of 10.5, a sum of 20.5
    forms = ("heel-bounce", "bounce-ratio", "bounce-excess", "bounce-sum")
    assert bounces == {(f"caution-{form}", "left") for form in forms}
    screen = run_in_process(["shortlist", str(visit), "--rules", str(rules), "--full"]).stdout
    assert "The heel bounces" in " ".join(screen.split())
    assert "heel bounce" in screen


def test_the_entry_the_sheet_and_the_schema_ask_for_it(rules: Path) -> None:
    """By the words of measures.yaml, within its bounds; what follows from others is not asked."""
    book = load_rulebook(rules)
    steps = {
        s.id: s
        for s in intake(book.questions, book.purposes, "eu", "vertical", None, book.measures)
    }
    step = steps["heel-bounce.left"]
    assert "bounce-ratio.left" not in steps
    assert step.kind.parse("15 16") == [15, 16]
    with pytest.raises(RefusedError, match="0 to 40 mm"):
        step.kind.parse("45")
    assert step.feeds == {"heel-bounce", "bounce-ratio", "bounce-excess", "bounce-sum"}
    assert "Bounce of the heel" in form_html(steps.values(), "", book)
    typed = schema_of("visit", book.questions, book.measures)["$defs"]["Foot"]["properties"]
    assert set(typed["measures"]["properties"]) == {"heel-bounce", "ball-bounce"}
    assert '"maximum": 40' in json.dumps(typed["measures"])


def test_what_it_cannot_be_is_refused(rules: Path, tmp_path: Path) -> None:
    """A misspelt name and a number beyond the bounds, each at its place."""
    book, visit = load_rulebook(rules), tmp_path / "visit.yaml"
    for was, now, found in (
        ("heel-bounce: 6", "heel-bonce: 6", "heel-bounce"),
        ("heel-bounce: 6", "heel-bounce: 60", "from 0 to 40 mm"),
        ("heel-bounce: 6", "bounce-ratio: 2", "no measure `bounce-ratio`"),
    ):
        visit.write_text(VISIT.replace(was, now))
        with pytest.raises(InputError, match=found) as told:
            read_measured_visit(
                visit, book.questions, book.parameters, book.measures, book.purposes
            )
        assert told.value.place.line == 6


def test_checks_know_it(rules: Path) -> None:
    """Feet that show a finding are written with it, and no rule on it goes unanswered."""
    book = load_rulebook(rules)
    for name in (one for one in book.by_id if "bounce" in one):
        rule = book.by_id[name]
        space = space_of(book, [rule])
        row = space.simplest(truths(book, (rule,), space).holds[name])
        assert "bounce:" in visit_text(space.facts(row), book, "shows it")
    (rules / "examples/bounce.yaml").write_text(EXAMPLES)
    found = {f.code for f in check(rules, []).findings if "bounce" in f.found}
    assert found == {"not-translated"}, "the German of its notes is missing, and nothing else"
