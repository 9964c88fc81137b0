"""A version that was released stays what it was: its notes over all feet, its words by hash."""

from pathlib import Path

import pytest
import yaml

from recommend.check.finding import Finding
from recommend.check.released import released_findings, write_released
from recommend.errors import InputError
from recommend.infer.assess import assess
from recommend.rulebook import load_rulebook
from recommend.visit.models import Visit
from tests.check.conftest import Changed

HEALTH, POSTURE = "screen/health.yaml", "screen/posture-and-motion.yaml"
LATER = (
    ("rulebook.yaml", "version: 2.0.0", "version: 3.0.0"),
    ("changes.yaml", "changes:\n", "changes:\n  - version: 3.0.0\n    date: 2026-12-01\n"
     "    says: [Strong pain is told later.]\n    accepts:\n"
     "      - {note: see-strong-pain, reason: agreed with the clinic, by: F7}\n"),
)  # fmt: skip
LIMIT = ("limits.yaml", "values: [{value: 5, kind: assumption}]",
         "values: [{value: 7.5, kind: assumption}]")  # fmt: skip


@pytest.fixture
def released(changed: Changed) -> Changed:
    """Copies of the shipped rules, released as they are before anything is changed."""
    folder = changed()
    for old in (folder / "released").glob("*.yaml"):
        old.unlink()
    write_released(load_rulebook(folder), "F7", draft=False)
    return changed


def found(folder: Path, *, but: str = "") -> list[Finding]:
    """What check says of the released version."""
    return [f for f in released_findings(load_rulebook(folder)) if f.code != but]


def test_what_was_just_released_stands(released: Changed) -> None:
    """Nothing is found, also when comments and line breaks change."""
    assert (
        found(released(("limits.yaml", "title: Limits\n", "# A comment.\ntitle: Limits\n"))) == []
    )


def test_a_limit_raised_by_half_weakens_its_note(released: Changed) -> None:
    """Whatever examples say: a foot that had the note has none as grave, and is shown."""
    folder = released(LIMIT)
    (one,) = found(folder, but="released-edited")
    assert (one.code, "`see-strong-pain`" in one.found) == ("weakened-note", True)
    seen = assess(Visit.model_validate(yaml.safe_load(one.visit)), load_rulebook(folder))
    assert "see-clinician" not in {note.level for note in seen.notes}


def test_a_note_that_is_gone_is_found(released: Changed) -> None:
    """The rule is not there any more, and no other speaks for its feet."""
    folder = released()
    file = folder / HEALTH
    text = file.read_text("utf-8")
    start = text.index("  - id: caution-pregnancy")
    file.write_text(text[:start] + text[text.index("  - id: ", start + 5) :], "utf-8")
    assert [(f.code, "`caution-pregnancy`: it is gone" in f.found)
            for f in found(folder, but="released-edited")] == [("weakened-note", True)]  # fmt: skip


def test_another_way_to_classify_weakens_the_notes_that_stand_on_it(released: Changed) -> None:
    """The limits of posture are raised; the caution that reads posture comes for fewer feet."""
    folder = released(
        ("limits.yaml", "value: 6, where: {age: grown}", "value: 7, where: {age: grown}")
    )
    codes = {(f.code, f.found.split("`")[1]) for f in found(folder, but="released-edited")}
    assert ("weakened-note", "caution-stands-in-moves-out") in codes


def test_a_later_version_accepts_the_loss_by_code(released: Changed) -> None:
    """With a version of its own and an `accepts` line nothing is left to find."""
    assert found(released(LIMIT, *LATER)) == []


@pytest.mark.parametrize(
    ("change", "step"),
    [
        ((HEALTH, "it can be a clot.", "it may be a clot."), "2.0.1"),
        (("parameters/rank.yaml", "    value: 4\n", "    value: 3\n"), "2.1.0"),
    ],
)
def test_an_edit_asks_for_a_version_of_its_own(
    released: Changed, change: tuple[str, str, str], step: str
) -> None:
    """Words alone ask for the smallest step, what decides for a greater one."""
    (one,) = found(released(change))
    assert one.code == "released-edited"
    assert step in one.mend


def test_a_note_for_more_feet_is_told(released: Changed) -> None:
    """Not as an error, but so that it is written down and guarded too."""
    folder = released(("limits.yaml", LIMIT[1], LIMIT[1].replace("5", "4")))
    (one,) = found(folder, but="released-edited")
    assert (one.code, one.level) == ("stronger-note", "note")


def test_a_version_is_released_once(released: Changed) -> None:
    """A draft may be written anew; what was released may not."""
    folder = released()
    with pytest.raises(InputError, match="was released already"):
        write_released(load_rulebook(folder), "F7", draft=False)
    (folder / "released/2.0.0.yaml").unlink()
    for draft in (True, True, False):
        write_released(load_rulebook(folder), "F7", draft=draft)
