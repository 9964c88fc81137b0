"""Records replay byte for byte, or say exactly what differs; the explain command shows it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

import pytest

from recommend.catalogue import Catalogue, load_catalogue
from recommend.infer.engine import Engine
from recommend.records.keeping import Archive, entry_of
from recommend.records.replay import Replayer, differences
from recommend.records.store import Store, ToRecord, forget
from recommend.records.transfer import export
from recommend.records.verify import verify
from recommend.rulebook import Rulebook, load_rulebook
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests.shipped import run
from tests.trail.conftest import DEMO, TOP
from tests.trail.random_visits import random_visit
from tests.trail.test_explaining import check_page

CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="module")
def kept(
    tmp_path_factory: pytest.TempPathFactory, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> Path:
    """A store with every demo visit."""
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    outcomes = [outcome_of(read_visit(file), book, catalogue, engine) for file in DEMO]
    with Store(path, write=True) as store:
        store.append_all([entry_of(outcome) for outcome in outcomes])
    return path


def test_every_demo_record_replays_byte_for_byte(kept: Path) -> None:
    """A record derived again from what the store holds is identical, and the store sound."""
    with Store(kept) as store:
        replayer = Replayer(Archive(store))
        replayed = [replayer.replay(record) for record in store.records()]
        assert verify(store).sound
    assert len(replayed) == len(DEMO)
    assert all(one.identical and not one.versions for one in replayed)


def test_random_records_replay_byte_for_byte(
    path: Path, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> None:
    """Visits with missing readings, answers and pain come back the same through the store."""
    with Store(path, write=True) as store:
        for seed in range(15):
            store.append(entry_of(outcome_of(random_visit(book, seed), book, catalogue, engine)))
        replayer = Replayer(Archive(store))
        assert all(replayer.replay(record).identical for record in store.records())


def test_a_record_does_not_need_the_folders_it_was_made_from(path: Path, tmp_path: Path) -> None:
    """After rulebook and catalogue have changed on the disk, a record still replays."""
    rules, products = tmp_path / "rules", tmp_path / "shop"
    shutil.copytree(TOP / "rules", rules)
    shutil.copytree(TOP / "catalogue_demo", products)
    book = load_rulebook(rules)
    made = outcome_of(read_visit(DEMO[0]), book, load_catalogue(products, book.attributes))
    with Store(path, write=True) as store:
        store.append(entry_of(made))
    shutil.rmtree(rules)
    shutil.rmtree(products)
    with Store(path) as store:
        assert Replayer(Archive(store)).replay(store.find("last")).identical


def test_rules_changed_while_keeping_do_not_get_into_the_record(path: Path, tmp_path: Path) -> None:
    """A record holds the very files that were used, whatever stands in the folder by then."""
    rules = tmp_path / "rules"
    shutil.copytree(TOP / "rules", rules)
    book = load_rulebook(rules)
    made = outcome_of(
        read_visit(DEMO[0]), book, load_catalogue(TOP / "catalogue_demo", book.attributes)
    )
    used = (rules / "limits.yaml").read_text("utf-8")
    (rules / "limits.yaml").write_text(used + "# changed\n", "utf-8")
    assert entry_of(made).documents["rulebook"]["files"]["limits.yaml"] == used


def test_a_forgotten_record_replays_and_names_nobody(kept: Path, tmp_path: Path) -> None:
    """Without reference and remarks a record still replays byte for byte."""
    copy = tmp_path / "copy.sqlite"
    shutil.copy(kept, copy)
    reference = read_visit(DEMO[0]).reference
    with Store(copy, write=True) as store:
        seq = store.of_reference(reference)[-1].seq
        forget(store, reference)
        replayed = Replayer(Archive(store)).replay(store.record(seq))
    assert replayed.identical
    assert replayed.outcome.assessment.visit.reference == "forgotten"


def test_a_forgotten_follow_up_with_captures_is_still_a_visit(
    path: Path, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> None:
    """What a visit cannot do without is filled in when it was forgotten; the rest stays away."""
    visit = random_visit(book, 5, calm=True).model_dump(mode="json", by_alias=True)
    visit |= {
        "reference": "C-1",
        "follow-up": {"of": "the visit in spring", "changed": "works standing now"},
        "captures": [{"file": "a-name.csv", "sha256": "0" * 64, "still": "b-name.csv"}],
        "remarks": "very particular",
    }
    made = outcome_of(Visit.model_validate(visit), book, catalogue, engine)
    with Store(path, write=True) as store:
        store.append(entry_of(made))
        forget(store, "C-1")
        replayed = Replayer(Archive(store)).replay(store.record(1))
        lines = b"".join(export(store)).decode()
    assert replayed.identical
    for gone in ("C-1", "in spring", "standing now", "a-name", "b-name", "particular"):
        assert gone not in lines


def test_what_differs_is_named(
    path: Path, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> None:
    """An outcome that was kept otherwise, by another version, is told value by value."""
    entry = entry_of(outcome_of(read_visit(DEMO[0]), book, catalogue, engine))
    outcome = json.loads(json.dumps(entry.documents["outcome"]))
    outcome["feet"]["left"]["axes"]["posture"] = "pronated"
    versions = {**entry.facts["versions"], "numpy": "0.1"}
    other = ToRecord({**entry.documents, "outcome": outcome}, {**entry.facts, "versions": versions})
    with Store(path, write=True) as store:
        replayed = Replayer(Archive(store)).replay(store.append(other))
    (difference,) = replayed.differences
    assert difference.path == "outcome.feet.left.axes.posture"
    assert (difference.was, difference.now) == ('"pronated"', '"neutral"')
    assert [name for name, _, _ in replayed.versions] == ["numpy"]


def test_differences_name_every_leaf() -> None:
    """Changed, added and missing values are each named by their path."""
    was = {"a": [1, 2, {"b": "x"}], "c": None, "gone": 1}
    now = {"a": [1, 3, {"b": "y"}, 4], "c": None, "new": 2}
    found = {d.path: (d.was, d.now) for d in differences(was, now)}
    assert found == {
        "a[1]": ("2", "3"),
        "a[2].b": ('"x"', '"y"'),
        "a[3]": ("nothing", "4"),
        "gone": ("1", "nothing"),
        "new": ("nothing", "2"),
    }
    assert list(differences({"a": 4}, {"a": 4.0})) == []


def test_keep_and_explain_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A kept shortlist is explained by its reference, with sureness and nearest changes."""
    store = str(tmp_path / "records.sqlite")
    visit = next(p for p in DEMO if p.stem == "two-types")
    keep = ("--keep", "--store", store)
    assert run("shortlist", str(visit), "--show", "sure", *keep) == 0
    said = capsys.readouterr()
    short = re.search(
        r"hold in (.+?) of 100, what to bring first in (.+?)\. ", " ".join(said.out.split())
    )
    assert short is not None
    assert "recommend explain 1" in said.err
    assert run("explain", read_visit(visit).reference, "--store", store) == 0
    brief = capsys.readouterr().out
    assert len(brief.splitlines()) <= 24
    assert brief.startswith("Record   1: ")
    assert "identical, byte for byte" in brief
    assert run("explain", read_visit(visit).reference, "--full", "--store", store) == 0
    text = capsys.readouterr().out
    assert "identical, byte for byte" in text
    assert "Nearest changes" in text
    assert f"both foot types hold in {short[1]} of 100" in text  # the same redraws, so the same
    assert f"what to bring first holds in {short[2]} of 100" in text
    assert "a hash of the readings and the rulebook" in " ".join(text.split())
    assert "not a diagnosis" in text
    assert run("explain", "1", "--json", "--store", store) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["record"]["identical"] is True
    assert data["tree"]["children"]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["99"], "a number from 1 to"),
        (["last", "--rule", "see-diabets"], "did you mean `see-diabetes`"),
        (["1", "--product", "grommelstead-wart"], "did you mean `grommelstead-ward`"),
        (["1", "--why-not", "x", "--rule", "y"], "name one of"),
    ],
)
def test_bad_names_give_one_sentence(
    kept: Path, args: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown record, rule or product is exit code 2 and one sentence with the nearest one."""
    assert run("explain", *args, "--store", str(kept)) == 2
    said = capsys.readouterr().err
    assert words.lower() in said.lower()
    assert said.count("\n") == 1


def test_the_page_is_self_contained(kept: Path, tmp_path: Path) -> None:
    """The page of every third demo record is well formed, without script or outside links."""
    for number in range(1, len(DEMO) + 1, 3):
        page = tmp_path / f"{number}.html"
        assert run("explain", str(number), "--html", str(page), "--store", str(kept)) == 0
        check_page(page.read_text(encoding="utf-8"))


def test_the_page_begins_with_the_visit_and_what_was_shown(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whose visit, its readings and the whole shortlist stand before hashes and derivation."""
    page = tmp_path / "page.html"
    number = 1 + next(n for n, p in enumerate(DEMO) if p.stem == "pronated")
    assert run("explain", str(number), "--html", str(page), "--store", str(kept)) == 0
    text = page.read_text(encoding="utf-8")
    shown, rest = text.split("<h2>The record</h2>")
    assert "SHA-256" in rest
    assert "SHA-256" not in shown
    capsys.readouterr()
    assert run("shortlist", str(DEMO[number - 1]), "--full", "--no-keep", "--no-pager") == 0
    printed = capsys.readouterr().out
    screen = unescape(shown.split("<pre>")[1].split("</pre>")[0])
    measured = re.findall(r"^  (\S.*?)  ", printed.split("What was measured")[1], re.MULTILINE)
    fetched = re.findall(r"^  - (.+?),", printed.split("To fetch first")[1], re.MULTILINE)
    assert measured
    assert fetched
    assert [told for told in [*measured, *fetched] if told not in screen] == []


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is here to open the page with")
def test_the_page_opens_in_a_real_browser(kept: Path, tmp_path: Path) -> None:
    """Headless Chromium shows the page down to its last caution, and prints it."""
    page, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    assert run("explain", "1", "--html", str(page), "--store", str(kept)) == 0
    command = [
        str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
        "--no-first-run", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", f"--user-data-dir={tmp_path / 'profile'}",
    ]  # fmt: skip
    shown = subprocess.run(
        [*command, "--dump-dom", page.as_uri()], capture_output=True, text=True, check=True
    )
    assert "byte for byte" in shown.stdout
    assert "</html>" in shown.stdout
    subprocess.run([*command, f"--print-to-pdf={printed}", page.as_uri()], check=True)
    assert printed.read_bytes().startswith(b"%PDF")


def test_data_and_page_are_both_given_and_the_page_is_for_its_owner(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --json and --html, JSON alone stands on standard output, and the page is private."""
    page = tmp_path / "page.html"
    assert run("explain", "1", "--json", "--html", str(page), "--store", str(kept)) == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["record"]["number"] == 1
    assert f"Written: {page}" in said.err
    assert page.stat().st_mode & 0o077 == 0
    visit = tmp_path / "visit.yaml"
    visit.write_text("kept", encoding="utf-8")
    assert run("explain", "1", "--html", str(visit), "--store", str(kept)) == 2
    assert visit.read_text(encoding="utf-8") == "kept"


def test_a_reference_of_several_records_replays_all_and_explains_the_newest(
    path: Path,
    book: Rulebook,
    catalogue: Catalogue,
    engine: Engine,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Replay takes every record of the reference; explain the newest, and names the others."""
    entry = entry_of(outcome_of(read_visit(DEMO[0]), book, catalogue, engine))
    with Store(path, write=True) as store:
        store.append_all([entry, entry, entry])
    reference = read_visit(DEMO[0]).reference
    assert run("replay", reference, "--store", str(path)) == 0
    assert "3 replayed, 3 identical, 0 differ." in capsys.readouterr().out
    assert run("explain", reference, "--store", str(path)) == 0
    said = capsys.readouterr()
    assert "3 records; this is the newest, 3." in said.err
    assert "number: 1, 2." in said.err
    assert said.out.startswith("Record   3: ")


def test_a_kept_rulebook_is_named_by_its_files(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No sentence about a kept rulebook names the folder it was laid out in for a moment."""
    with Store(kept) as store:
        book = Archive(store).book(store.record(1))
    assert {rule.place.file.partition("/")[0] for rule in book.rules} == {"rules"}
    assert run("explain", "1", "--rule", "nothing-like-it", "--store", str(kept)) == 2
    assert capsys.readouterr().err.startswith("recommend: rules: no rule is called")


@pytest.mark.parametrize(("more", "words"), [([], "--keep"), (["--no-keep"], "--keep")])
def test_a_store_that_nothing_would_be_kept_in_is_bad_usage(
    tmp_path: Path, more: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """--store without keeping would silently keep nothing: one sentence, exit code 2."""
    store = tmp_path / "records.sqlite"
    assert run("shortlist", str(DEMO[0]), "--store", str(store), *more) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err
    assert said.err.count("\n") == 1
    assert not store.exists()


def test_lines_in_a_file_end_without_blanks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What does not go to a terminal is not filled with blanks to the width of one."""
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    assert run("shortlist", str(DEMO[0])) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 20
    assert [line for line in lines if line != line.rstrip()] == []
