"""Every write goes one way: whole, held, through links, with its rights, over nothing else."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from recommend.atomic import write_atomically
from recommend.cli import app, main
from recommend.errors import InputError
from recommend.output import FINDINGS, PAGE, PICTURE, SVG, table, write_output
from recommend.visit.shelf import Draft, Shelf

ROOT = Path(__file__).resolve().parent.parent
VISIT = ROOT / "catalogue_demo" / "visits" / "pronated.yaml"
CAPTURE = ROOT / "catalogue_demo" / "captures" / "walk-left.csv"
SUPPLIER = ROOT / "catalogue_demo" / "supplier"
WRITERS = 6


@pytest.fixture(autouse=True)
def _own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))


def test_writers_of_one_visit_lose_nothing(tmp_path: Path) -> None:
    """Six programs that add a stride each at once to one visit: all six strides are in it."""
    visit = tmp_path / "v.yaml"
    visit.write_bytes(VISIT.read_bytes())
    there = {**os.environ, "PYTHONPATH": str(ROOT)}

    def add(number: int) -> int:
        words = ["trial", str(visit), "--shoe", "own", f"left.contact={4 + number / 10}"]
        run = [sys.executable, "-m", "recommend", *words]
        return subprocess.run(run, env=there, capture_output=True, check=False).returncode

    with ThreadPoolExecutor(WRITERS) as pool:
        assert list(pool.map(add, range(WRITERS))) == [0] * WRITERS
    ((step,),) = [yaml.safe_load(visit.read_text("utf-8"))["trials"]]
    strides = step["feet"]["left"]["rearfoot"][0]["contact"]
    assert sorted(strides) == [4 + number / 10 for number in range(WRITERS)]
    assert {one.name for one in tmp_path.iterdir()} <= {"v.yaml", "cache"}


def test_a_link_stays_and_what_it_points_to_is_written(tmp_path: Path) -> None:
    """Writing through a symbolic link changes the file behind it, and its rights stay."""
    real, link = tmp_path / "real.yaml", tmp_path / "link.yaml"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_atomically(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_what_is_of_a_customer_is_private(tmp_path: Path) -> None:
    """A new file is for its owner alone unless it is not private; a page of a customer is."""
    write_atomically(tmp_path / "a", "x")
    write_atomically(tmp_path / "b", "x", private=False)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o600
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE((tmp_path / "b").stat().st_mode) == 0o666 & ~mask
    page = tmp_path / "page.html"
    done = CliRunner().invoke(app, ["sheet", str(VISIT), "--to", str(page)])
    assert done.exit_code == 0, done.output
    assert stat.S_IMODE(page.stat().st_mode) == 0o600


def test_halves_of_killed_programs_are_cleared_at_the_next_write(tmp_path: Path) -> None:
    """What was begun in a folder and never finished goes with the next write there, not before."""
    (tmp_path / ".a.yaml.abc123.part").write_text("half")
    (tmp_path / ".b.yaml.abc123.part").write_text("another's half")
    (tmp_path / ".c.yaml.abc123.part").write_text("being written")
    code = "import sys, pathlib; from recommend.atomic import held\n"
    code += "with held(pathlib.Path(sys.argv[1])): print(1, flush=True); input()"
    words = [sys.executable, "-c", code, str(tmp_path / "c.yaml")]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        other.stdout.readline()
        write_atomically(tmp_path / "a.yaml", "whole")
        other.communicate(b"\n")
    names = {one.name for one in tmp_path.iterdir()}
    assert names == {"a.yaml", ".c.yaml.abc123.part", "cache"}


SUPPLIED = [str(SUPPLIER / "list.csv"), "--mapping", str(SUPPLIER / "mapping.yaml"), "--replace"]


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["visit", "form", "--to"], "v.html"),
        (["visit", "form", "--to"], "v.yaml"),
        (["sheet", str(VISIT), "--to"], "v.html"),
        (["trial", str(VISIT), "--svg"], "v.svg"),
        (["coverage", "--customers", "100", "--csv"], "v.csv"),
        (["rulebook", "book", "--to"], "v.html"),
        (["check", "--sarif"], "v.sarif"),
        (["measure", str(CAPTURE), "--plot"], "v.svg"),
        (["import", *SUPPLIED, "--into"], "v.yaml"),
        (["explain", "last", "--html"], "v.html"),
    ],
)
def test_no_command_writes_over_a_file_of_another_kind(
    words: list[str], name: str, tmp_path: Path
) -> None:
    """A visit is refused as the target whatever it is called, and stays as it was."""
    if "--plot" in words:
        pytest.importorskip("matplotlib", reason="matplotlib is in the extra `plot`")
    target = tmp_path / name
    target.write_bytes(VISIT.read_bytes())
    done = CliRunner().invoke(app, [*words, str(target)])
    assert isinstance(done.exception, InputError), done.output
    assert "another kind" in str(done.exception)
    assert target.read_bytes() == VISIT.read_bytes()


@pytest.mark.parametrize(
    "words",
    [
        ["check", "--sarif"],
        ["explain", "last", "--html"],
        ["sheet", str(VISIT), "--to"],
        ["rulebook", "book", "--to"],
    ],
)
def test_a_place_that_cannot_be_written_to_is_told_before_anything_is_reckoned(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Links in a circle, and a folder that is not there, are one sentence each."""
    monkeypatch.setenv("RECOMMEND_RULEBOOK", str(tmp_path / "no-rules"))
    (tmp_path / "loop.html").symlink_to(tmp_path / "loop.html")
    for target in (tmp_path / "loop.html", tmp_path / "none" / "a.html"):
        done = CliRunner().invoke(app, [*words, str(target)])
        assert isinstance(done.exception, InputError)
        assert str(target) in str(done.exception)


@pytest.mark.parametrize(
    ("kind", "name", "old"),
    [
        (PAGE, "a.html", "<!DOCTYPE html>\n<p>old"),
        (SVG, "a.svg", "<svg>"),
        (PICTURE, "a.png", "\x89PNG"),
        (FINDINGS, "a.sarif", '{"$schema": "https://example.org/sarif-2.1.0.json"}'),
        (table("foot-type"), "a.csv", "foot-type,sizes\n"),
    ],
)
def test_what_is_ours_is_written_anew(kind, name: str, old: str, tmp_path: Path) -> None:
    """A file of the same kind is replaced; of another kind only with force."""
    file = tmp_path / name
    file.write_bytes(old.encode("latin-1"))
    write_output(file, "new", kind)
    with pytest.raises(InputError, match="another kind"):
        write_output(file, "newer", kind)
    write_output(file, "newer", kind, force=True)
    assert file.read_text() == "newer"


def test_one_damaged_draft_hides_no_other_and_leads_nowhere(tmp_path: Path) -> None:
    """Drafts that are no drafts, or name another customer's file, are told and passed over."""
    shelf = Shelf(tmp_path / "visits")
    shelf.save(Draft({"reference": "A-1"}))
    for name, text in (
        ("B-1", "{}"), ("B-2", "[" * 100_000), ("B-3", '{"tree": 3, "doubted": {}}'),
        ("B-4", '{"tree": {"reference": "../../x"}, "doubted": {}}'), ("B-5", "\x00"),
    ):  # fmt: skip
        (shelf.folder / "drafts" / f"{name}.json").write_text(text)
    (shelf.folder / "drafts" / "B-6.json").symlink_to(tmp_path / "nothing")
    assert [one.reference for one in shelf.drafts()] == ["A-1"]
    assert len(shelf.damaged()) == 6
    done = CliRunner().invoke(app, ["visit", "list", "--visits", str(shelf.folder)])
    assert done.exit_code == 0, done.output
    assert "A-1" in done.output
    told = ("cannot be read", "control character", "no such file")
    assert sum(done.output.count(words) for words in told) == 6


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this platform has no named pipes")
@pytest.mark.parametrize("variable", ["RECOMMEND_STOCK", "RECOMMEND_SETTINGS"])
def test_a_pipe_is_refused_and_not_waited_for(
    variable: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pipe as stock list or settings is one sentence at once."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    monkeypatch.setenv(variable, str(pipe))
    done = CliRunner().invoke(app, ["shortlist", str(VISIT)])
    assert isinstance(done.exception, InputError)
    assert "device or a pipe" in str(done.exception)


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="names are text here")
def test_names_whose_bytes_are_no_text_are_used_or_refused_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A rulebook, a visit and its page may be called so; what would be written with it may not."""
    odd = Path(os.fsdecode(os.fsencode(str(tmp_path)) + b"/\xff\xfe"))
    shutil.copytree(ROOT / "catalogue_demo" / "products", odd)
    visit, capture = tmp_path / "v\udcff.yaml", odd / "c\udcff.csv"
    (odd.parent / "v.yaml").write_bytes(VISIT.read_bytes())
    capture.write_bytes(CAPTURE.read_bytes())
    visit.write_bytes(VISIT.read_bytes())
    for words in (["shortlist", str(VISIT), "--catalogue", str(odd)], ["sheet", str(visit)]):
        with pytest.raises(SystemExit) as ended:
            main([*words, "--store", str(tmp_path / "r.sqlite"), "--keep"])
        assert ended.value.code == 0
    into = str(tmp_path / "v.yaml")
    for words in (["measure", str(capture), "--into", into], ["setup", "--set", f"visits={odd}"]):
        with pytest.raises(SystemExit) as ended:
            main(words)
        assert ended.value.code == 2
        assert "text in UTF-8" in capsys.readouterr().err
