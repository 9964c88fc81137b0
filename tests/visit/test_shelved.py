"""Visits that are there: listed, changed, shown over time, and printed blank."""

from __future__ import annotations

import html.parser
import shutil
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from recommend.cli import app
from recommend.commands.shelved import steps_for
from recommend.errors import InputError
from recommend.visit import read_visit
from recommend.visit.answers import RefusedError
from recommend.visit.intake import FPI_ITEMS
from recommend.visit.shelf import Draft, Shelf
from tests.shipped import book

DEMO = Path("catalogue_demo/visits")


@pytest.fixture(autouse=True)
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shelf:
    """A shelf with one demo visit on it, and no settings of the user's own."""
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("RECOMMEND_VISITS", str(tmp_path / "visits"))
    (tmp_path / "visits").mkdir()
    shutil.copy(DEMO / "plain-neutral.yaml", tmp_path / "visits" / "QB-0101_2025-03-04.yaml")
    return Shelf(tmp_path / "visits")


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["visit", *arguments])


def test_an_edit_changes_one_answer_and_says_what_it_did(shelf: Shelf) -> None:
    """Angles raised beyond their band change how far the heel rolls in; comments stay."""
    path = shelf.newest("QB-0101").path
    before = path.read_text()
    run = _run("edit", "QB-0101", "peak.left", "14 14.2 13.8 14.1 14 14.3 13.9 14")
    assert run.exit_code == 0
    assert "left, how far the rearfoot rolls in" in run.output
    assert "->" in run.output
    after = path.read_text()
    assert after.count("#") == before.count("#")
    written = read_visit(path).feet.left.rearfoot[1].peak
    assert written == [14, 14.2, 13.8, 14.1, 14, 14.3, 13.9, 14]
    assert read_visit(path).feet.right == read_visit(DEMO / "plain-neutral.yaml").feet.right


def test_an_edit_that_brings_a_stop_says_it(shelf: Shelf) -> None:
    """A screening answer changed to yes shows the stop and that the shortlist is withheld."""
    run = _run("edit", "QB-0101", "open-wound", "y")
    assert "stop: An open wound" in run.output
    assert "withheld" in run.output


def test_an_edit_that_cannot_be_leaves_the_file_as_it_was(shelf: Shelf) -> None:
    """An impossible value is refused with exit code 2 and nothing is written."""
    path = shelf.newest("QB-0101").path
    before = path.read_bytes()
    for arguments in (
        ("foot-length.left", "26"), ("foot-lenth.left", "265"), ("purpose", "swimming"),
        ("foot-length", "265"),
    ):  # fmt: skip
        run = CliRunner().invoke(app, ["visit", "edit", "QB-0101", *arguments])
        assert isinstance(run.exception, (InputError, RefusedError))
    assert path.read_bytes() == before


def test_what_they_keep_is_told_by_an_edit_and_asked_of_nobody(shelf: Shelf) -> None:
    """Socks and an insole that stay are taken afterwards; the entry asks neither unless told."""
    for arguments in (("keeps-socks", "thick"), ("keeps-insole-thickness", "5")):
        run = _run("edit", "QB-0101", *arguments)
        assert (run.exit_code, run.exception) == (0, None), arguments
    kept = read_visit(shelf.newest("QB-0101").path).keeps
    assert kept is not None
    assert (kept.socks, kept.insole and kept.insole.attributes) == ("thick", {"thickness": 5})
    asked = [step for step in steps_for(book(), False) if step.id.startswith("keeps")]
    assert len(asked) == 2
    assert not any(step.asked_if({"reference": "T-1"}) for step in asked)


def test_an_edit_takes_negative_numbers(shelf: Shelf) -> None:
    """Scores and angles below zero need no `--`; beside one, a misspelt field is still named."""
    path = shelf.newest("QB-0101").path
    folder = str(shelf.folder)
    for arguments in (
        ("touchdown.left", "-3 -4.5"), ("touchdown.right", "-3", "--visits", folder),
        ("talar-head.left", "-2"), ("cpei.left", "--visits", folder, "--", "-4"),
    ):  # fmt: skip
        run = _run("edit", "QB-0101", *arguments)
        assert (run.exit_code, run.exception) == (0, None), arguments
    feet = read_visit(path).feet
    assert feet.left.rearfoot[1].touchdown == [-3, -4.5]
    assert feet.right.rearfoot[1].touchdown == [-3]
    assert feet.left.fpi is not None
    assert feet.left.fpi.items is not None
    assert feet.left.fpi.items.talar_head == -2
    assert feet.left.cop is not None
    assert feet.left.cop.excursion_index_percent == -4
    run = _run("edit", "QB-0101", "talar-haed.right", "-2")
    assert "Did you mean `talar-head.right`?" in str(run.exception)


@pytest.mark.parametrize(
    ("field", "value", "allowed"),
    [("foot-length.left", "410", "80 to 400 mm"), ("body-mass", "7", "8 to 300 kg")],
)
def test_what_was_not_written_has_no_line(
    shelf: Shelf, field: str, value: str, allowed: str
) -> None:
    """The message names the file and the allowed range, and no line that is not in the file."""
    said = str(_run("edit", "QB-0101", field, value).exception)
    assert said.startswith(f"{shelf.newest('QB-0101').path}: not written, because ")
    assert f"is `{value}`; allowed: a number from {allowed}. Correct it" in said


def test_an_edit_of_a_line_keeps_its_comment(shelf: Shelf) -> None:
    """A top-level value is replaced on its line; what stands behind it stays."""
    path = shelf.newest("QB-0101").path
    _run("edit", "QB-0101", "purpose", "running")
    line = next(text for text in path.read_text().splitlines() if text.startswith("purpose:"))
    assert line.startswith("purpose: running #")
    _run("edit", "QB-0101", "remarks", 'narrow "toes": #2')
    assert read_visit(path).remarks == 'narrow "toes": #2'
    _run("edit", "QB-0101", "remarks", "x")
    assert read_visit(path).remarks == ""


def test_a_draft_of_an_earlier_version_goes_on(shelf: Shelf) -> None:
    """It named doubted steps without their values; what was answered in it is all there."""
    shelf.save(Draft({"reference": "Z-9", "purpose": "running"}, at="body-mass"))
    file = next((shelf.folder / "drafts").glob("*.json"))
    file.write_text(file.read_text().replace('"doubted": {}', '"doubted": ["foot-length.left"]'))
    draft = shelf.draft("Z-9")
    assert draft is not None
    assert (draft.tree["purpose"], draft.at, draft.doubted) == ("running", "body-mass", {})


def test_today_and_what_is_under_way_are_listed(shelf: Shelf) -> None:
    """Drafts always, finished visits of the day, every day with --all."""
    shelf.save(Draft({"reference": "Z-9", "date": date.today().isoformat()}))
    today = _run("list").output
    assert "recommend visit resume Z-9" in today
    assert "QB-0101" not in today
    assert "QB-0101" in _run("list", "--all").output
    assert "usual motion" in _run("list", "--date", "2025-03-04").output


def test_visits_of_a_day_get_names_of_their_own(shelf: Shelf) -> None:
    """A second visit of the day is kept beside the first; finishing twice is finishing once."""
    tree = {"reference": "Z-9", "date": "2026-03-05", "purpose": "walking"}
    first = shelf.finish(Draft(dict(tree)))
    assert shelf.finish(Draft(dict(tree))) == first
    second = shelf.finish(Draft({**tree, "purpose": "running"}))
    assert (first.name, second.name) == ("Z-9_2026-03-05.yaml", "Z-9_2026-03-05_2.yaml")
    assert [one.path for one in shelf.finished("Z-9")] == [first, second]


def test_a_visit_file_of_the_counter_has_a_line_for_each_part(shelf: Shelf) -> None:
    """However little was answered, the file can be read, changed and extended by hand."""
    path = shelf.finish(Draft({"reference": "Z-9", "date": "2026-03-05", "pain": []}))
    assert [line.partition(":")[0] for line in path.read_text().splitlines()[1:]] == [
        "reference", "date", "pain",
    ]  # fmt: skip
    assert _run("edit", "Z-9", "purpose", "running").exit_code == 0
    assert _run("edit", "Z-9", "age-band", "o").exit_code == 0
    visit = read_visit(path)
    assert (visit.purpose, visit.age_band, visit.pain) == ("running", "older", [])


def test_history_says_which_change_is_beyond_error(shelf: Shelf) -> None:
    """Ten millimetres of foot length are beyond error, one is not."""
    source = shelf.newest("QB-0101").path.read_text()
    later = source.replace("2025-03-04", "2025-09-01")
    length = read_visit(shelf.newest("QB-0101").path).feet.left.foot_length_mm
    assert length is not None
    later = later.replace(f"foot-length-mm: {length:g}", f"foot-length-mm: {length + 10:g}", 1)
    (shelf.folder / "QB-0101_2025-09-01.yaml").write_text(later)
    output = _run("history", "QB-0101", "--measure", "foot-length").output
    left, right = output.split("right, length of the foot")
    assert "up by 10 mm, beyond error" in left
    assert "within the error" in right
    assert max(map(len, output.splitlines())) <= 80


class _Page(html.parser.HTMLParser):
    """Counts what a sheet holds, and checks that every element is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, _attrs: object) -> None:
        self.seen.append(tag)
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_blank_sheet_asks_what_the_counter_asks() -> None:
    """Well-formed, self-contained, every FPI item with its reminder, no question twice."""
    text = _run("form").output
    page = _Page()
    page.feed(text)
    assert page.open == []
    assert "script" not in page.seen
    assert "http" not in text
    for _, title, low, *_ in FPI_ITEMS:
        assert text.count(title) == 1
        assert low in text
    assert "not there before you wore it" not in text
    assert "not there before you wore it" in _run("form", "--follow-up").output
