from __future__ import annotations

import json
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.reading import validate
from recommend.reading.document import parse_document
from recommend.trial.enter_step import (
    StepEntry,
    Zero,
    add_step,
    read_angle,
    read_comfort,
    read_step_file,
)
from recommend.visit import Visit, read_visit

VISIT = """\
# A visit with comments.
reference: T-1 # a code
purpose: running
feet:
  left:
    rearfoot:
      - {gait: running, reference: vertical, contact: [6.0, 7.0]} # twice
# about what follows
remarks: none
"""
NOTHING_SAID = Zero(None, None)


@pytest.fixture
def visit_file(tmp_path: Path) -> Path:
    """A visit in a file of its own."""
    path = tmp_path / "visit.yaml"
    path.write_text(VISIT, encoding="utf-8")
    return path


def typed(visit: Visit, *readings: str, zero: Zero = NOTHING_SAID, shoe: str = "s-1") -> StepEntry:
    """An entry of typed readings."""
    entry = StepEntry(shoe)
    for text in readings:
        read_angle(entry, text, visit, zero)
    return entry


def test_a_step_is_added_and_no_other_byte_changes(visit_file: Path) -> None:
    """The rest of the file stays as it was, comments and layout included."""
    add_step(visit_file, typed(read_visit(visit_file), "left.contact=5,4.5"))
    text = visit_file.read_text(encoding="utf-8")
    assert text.startswith(VISIT)
    step = read_visit(visit_file).trials[0]
    assert step.shoe == "s-1"
    assert step.feet.left.rearfoot[0].contact == [5.0, 4.5]
    assert step.feet.left.rearfoot[0].reference == "vertical"


def test_more_strides_join_the_step_and_comments_in_it_stay(visit_file: Path) -> None:
    """The same step named again gets the further strides; `anew` starts it over."""
    add_step(visit_file, typed(read_visit(visit_file), "left.contact=5,4.5"))
    text = visit_file.read_text(encoding="utf-8")
    visit_file.write_text(text.replace("shoe: s-1", "shoe: s-1 # laces tight"), encoding="utf-8")
    entry = typed(read_visit(visit_file), "left.contact=4.8", "left.lateral-load=50.0,52.0")
    read_comfort(entry.comfort, "both.heel=8")
    visit = add_step(visit_file, entry)
    assert len(visit.trials) == 1
    assert visit.trials[0].feet.left.rearfoot[0].contact == [5.0, 4.5, 4.8]
    assert visit.trials[0].feet.left.lateral_load_percent == [50.0, 52.0]
    assert visit.trials[0].feet.right.comfort == {"heel": 8.0}
    assert "laces tight" in visit_file.read_text(encoding="utf-8")
    visit = add_step(visit_file, typed(visit, "left.contact=3"), anew=True)
    assert visit.trials[0].feet.left.rearfoot[0].contact == [3.0]


def test_a_part_before_others_is_edited_in_place(visit_file: Path) -> None:
    """Trials that stand in the middle of the file are changed there."""
    add_step(visit_file, typed(read_visit(visit_file), "left.contact=5,4.5"))
    text = visit_file.read_text(encoding="utf-8")
    trials = text[len(VISIT) :]
    head, tail = VISIT.split("# about")
    visit_file.write_text(f"{head}{trials}# about{tail}", encoding="utf-8")
    add_step(visit_file, typed(read_visit(visit_file), "left.contact=4", shoe="s-2"))
    after = visit_file.read_text(encoding="utf-8")
    assert after.startswith(head)
    assert after.endswith(f"# about{tail}")
    assert [step.shoe for step in read_visit(visit_file).trials] == ["s-1", "s-2"]


def test_a_json_visit_stays_json(tmp_path: Path) -> None:
    """A visit in JSON is written back as JSON."""
    path = tmp_path / "visit.json"
    data = {"reference": "T-2", "purpose": "walking", "feet": {}}
    path.write_text(json.dumps(data), encoding="utf-8")
    entry = typed(read_visit(path), "right.contact=3", zero=Zero("walking", "vertical"))
    add_step(path, entry)
    written = json.loads(path.read_text(encoding="utf-8"))
    assert written["trials"][0]["feet"]["right"]["rearfoot"][0]["contact"] == [3.0]


def test_what_would_not_be_a_visit_is_not_written(visit_file: Path) -> None:
    """An angle beyond its range is refused, and the file is as before."""
    entry = typed(read_visit(visit_file), "left.contact=99")
    with pytest.raises(InputError, match="contact"):
        add_step(visit_file, entry)
    assert visit_file.read_text(encoding="utf-8") == VISIT
    assert list(visit_file.parent.iterdir()) == [visit_file]


def test_another_zero_is_refused_before_it_is_written(visit_file: Path) -> None:
    """A step read from another zero than the bare foot leaves the file as it was."""
    zero = Zero("running", "relaxed-standing")
    entry = typed(read_visit(visit_file), "left.contact=3.0,4.0", zero=zero)
    with pytest.raises(InputError, match="relaxed-standing"):
        add_step(visit_file, entry)
    assert visit_file.read_text(encoding="utf-8") == VISIT


def test_a_step_can_come_from_a_file(tmp_path: Path) -> None:
    """A file with `feet` as in a step of a visit is read like typed values."""
    path = tmp_path / "step.yaml"
    path.write_text(
        "feet:\n  left:\n    rearfoot:\n"
        "      - {gait: walking, reference: vertical, contact: [3.1, 3.3], propulsion: 0.4}\n"
        "    comfort: {arch: 6}\n",
        encoding="utf-8",
    )
    entry = StepEntry("s-1")
    read_step_file(entry, path)
    assert entry.readings["left", "walking", "vertical"] == {
        "contact": [3.1, 3.3],
        "propulsion": [0.4],
    }
    assert entry.comfort == {("left", "arch"): 6.0}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("contact=5", "does not begin with a foot"),
        ("left.contct=5", "Did you mean `contact`"),
        ("left.contact=", "nothing to read"),
        ("left.contact=5.1,x", "`x`"),
        ("left.contact=5.1,nan", "`nan`"),
        ("left.contact=7,3", "in two ways"),
        ("left.contact=inf", "`inf`"),
        ("right.contact=5", "--gait and --reference"),
    ],
)
def test_typed_readings_that_are_not_understood_say_why(text: str, words: str) -> None:
    """Each refusal names what was found and what is allowed."""
    visit = validate(Visit, parse_document(VISIT, "v"))
    with pytest.raises(InputError, match=words):
        typed(visit, text)


def test_comfort_is_one_number_of_a_known_region() -> None:
    """Two ratings or an unknown region are refused."""
    with pytest.raises(InputError, match="2 ratings"):
        read_comfort({}, "left.heel=8 9")
    with pytest.raises(InputError, match="Did you mean `heel`"):
        read_comfort({}, "left.heal=8")


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("  - {insole: i-1, feet: {}}", "tried in a shoe"),
        ("  - {shoe: s-1, feet: {}}\n  - {shoe: s-1, feet: {}}", "stands twice"),
        ("  - {shoe: s-1, feet: {left: {comfort: {heel: 11}}}}", "a number from 0 to 10"),
        ("  - {shoe: s-1, feet: {left: {comfort: {knee: 5}}}}", "heel"),
        ("  - {shoe: s-1, feet: {left: {lateral-load-percent: 120}}}", "100"),
    ],
)
def test_impossible_steps_are_refused_with_their_place(step: str, words: str) -> None:
    """What cannot be is refused when the visit is read, with file and line."""
    with pytest.raises(InputError, match=words) as caught:
        validate(Visit, parse_document(f"{VISIT}trials:\n{step}\n", "v.yaml"))
    assert caught.value.place.line
