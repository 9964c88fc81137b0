"""The README and the manual: short enough, true to the rules, and every command line works."""

from __future__ import annotations

import re
import shlex
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from recommend.cli import app
from recommend.rulebook import load_rulebook
from recommend.show import manual
from tests import command_lines
from tests.command_lines import DOCUMENTS, ROOT

SMALL_TERMINAL = 80
README_BYTES = 6 * 1024


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("RECOMMEND_VISITS", str(tmp_path / "visits"))
    monkeypatch.setenv("RECOMMEND_STORE", str(tmp_path / "store.sqlite"))


def test_the_readme_is_short_and_every_page_is_listed() -> None:
    """The README is at most 6 KB, and `recommend help` lists what ships in the folder."""
    assert len((ROOT / "README.md").read_bytes()) <= README_BYTES
    listed = CliRunner().invoke(app, ["help"]).output
    files = {one.stem for one in (ROOT / "recommend" / "manual").glob("*.md")}
    assert files == set(re.findall(r"^  (\S+)  ", listed, re.MULTILINE)) == set(manual.names())


@pytest.mark.parametrize("topic", [None, *manual.names()])
def test_every_page_fits_eighty_columns(topic: str | None) -> None:
    """A page is plain text that a small terminal holds, and nothing in it is left to fill in."""
    shown = CliRunner().invoke(app, ["help", *([topic] if topic else [])])
    assert shown.exit_code == 0, shown.output
    assert max(map(len, shown.output.splitlines())) <= SMALL_TERMINAL
    assert "{{" not in shown.output
    if topic:
        for line in re.findall(r"```\w*\n(.*?)```", manual.pages()[topic].text, re.DOTALL):
            assert max(map(len, line.splitlines())) < SMALL_TERMINAL - 1, "would be broken"


@pytest.mark.parametrize("name", manual.names())
def test_a_number_in_a_page_comes_from_the_rules_or_is_named_as_its_own(name: str) -> None:
    """A figure is `{{group.name}}`, or its words stand under `own-numbers` at the page's head."""
    page = manual.pages()[name]
    prose = re.sub(r"```.*?```", "", page.text, flags=re.DOTALL)
    prose = re.sub(r"`[^`]+`|\{\{[^}]+\}\}|^\d+\. ", "", prose, flags=re.MULTILINE)
    prose = " ".join(prose.split())
    for words in page.own_numbers:
        assert words in prose, f"{name}.md no longer says {words!r}: take it off `own-numbers`"
    for words in page.own_numbers:
        prose = prose.replace(words, "")
    found = re.findall(r".{0,30}(?<![A-Za-z0-9])\d.{0,20}", prose)
    assert not found, (
        f"{name}.md: {found}: does it stand in rules/? Then write {{{{group.name}}}}; "
        "if not, add the words to `own-numbers` at the head of the page"
    )


def test_a_page_follows_the_rulebook() -> None:
    """With other figures in the rules, a page says the others: parameter, limit, error, share."""
    book = load_rulebook(ROOT / "rules")
    limit = book.limits["fpi-pronated"]
    other = limit.model_copy(
        update={"values": [one.model_copy(update={"value": 5.25}) for one in limit.values]}
    )
    changed = replace(
        book,
        parameters=book.parameters.changed({"coverage.choice": 61.5, "trial.confidence": 0.875}),
        limits={**book.limits, "fpi-pronated": other},
    )
    text = "{{coverage.choice}} {{trial.confidence\npercent}} {{limits.fpi-pronated}}"
    assert manual.filled(text, changed) == "61.5 87.5 5.25"
    assert "choice of 61.5" in manual.filled(manual.pages()["buyer"].text, changed)


def test_the_two_ways_to_class_a_posture_are_those_of_the_limits() -> None:
    """The page of the visit file says what is normal as `fpi-supinated` and `fpi-pronated` do."""
    limits = yaml.safe_load((ROOT / "rules" / "limits.yaml").read_text("utf-8"))["limits"]
    text = " ".join(manual.pages()["visit-file"].text.split())
    for system, words in (("manual-2005", "normal"), ("adult-norm-2008", "about")):
        below, above = (
            next(one["value"] for one in limits[name]["values"] if one.get("system") == system)
            for name in ("fpi-supinated", "fpi-pronated")
        )
        low, high = (f"{one:+d}".replace("+0", "0") for one in (below + 1, above - 1))
        assert f"`{system}`, {words} {low} to {high}" in text


def test_a_page_without_numbers_needs_no_settings(tmp_path: Path) -> None:
    """The page on settings can be read while the settings are broken."""
    (tmp_path / "settings.toml").write_text("sizes = [")
    shown = CliRunner().invoke(app, ["help", "settings"])
    assert shown.exit_code == 0, shown.output
    assert "recommend setup show" in shown.output


def test_the_rule_that_the_manual_shows_is_one_of_the_rules() -> None:
    """The example on the page of the rules is read by YAML as the rule of that id is."""
    block = re.search(r"```yaml\n(.*?)```", manual.pages()["rules"].text, re.DOTALL)
    assert block
    (shown,) = yaml.safe_load(block[1])
    rules = {
        rule["id"]: rule
        for file in (ROOT / "rules").glob("[cns]*/*.yaml")
        for rule in yaml.safe_load(file.read_text("utf-8")).get("rules", [])
    }
    assert rules[shown["id"]] == shown


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda one: str(one.relative_to(ROOT)))
def test_every_command_line_parses(document: Path) -> None:
    """The real command takes every line and every option that README, manual and guides show."""
    wrong = {line: command_lines.parse(line) for line in command_lines.fenced(document)}
    for line in command_lines.called(document):
        told = command_lines.parse(line)  # a sentence may leave out what a command needs
        wrong[line] = "" if told.startswith(("MissingParameter", "BadOptionUsage")) else told
    assert {line: why for line, why in wrong.items() if why} == {}
    known = command_lines.options() | ELSEWHERE
    named = {
        option
        for span in command_lines.spans(document)
        for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*", span)
    }
    assert named <= known
    pages = {
        words[2] for line in wrong if (words := line.split())[1:2] == ["help"] and len(words) > 2
    }
    assert pages <= set(manual.names())


def test_the_pages_to_read_on_are_there() -> None:
    """Each name after `Read on` in the README is a page of the manual."""
    lines = re.findall(r"^Read on: `recommend help (.+)\.$", (ROOT / "README.md").read_text(), re.M)
    assert len(lines) == 3
    assert {name for line in lines for name in re.findall(r"[a-z-]+", line)} <= set(manual.names())


ELSEWHERE = {"--prefix", "--check"}  # options of other programs
# Not run here: they ask questions, or take many seconds, or speak of what only a shop has.
NOT_RUN = (
    "setup", "visit", "trial step", "coverage", "gaps", "check", "rulebook diff", "explain",
    "replay", "store",
)  # fmt: skip
RUN_ALL_THE_SAME = ("setup show", "setup --set", "visit repeatability", "visit form")


def _run_here(line: str) -> bool:
    words = line.removeprefix("recommend ")
    if words.startswith(NOT_RUN) and not words.startswith(RUN_ALL_THE_SAME):
        return False
    files = [one for one in words.split() if re.search(r"\.(csv|npz|c3d|mp4|yaml)$", one)]
    known = {"my-visit.yaml", "step.yaml", "supplier.yaml"}
    return all("*" in one or one in known or Path(one).exists() for one in files)


LINES = sorted({line for one in DOCUMENTS for line in command_lines.fenced(one)})


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with what the examples in the documents speak of."""
    for name in ("rules", "catalogue_demo"):
        (tmp_path / name).symlink_to(ROOT / name)
    shutil.copytree(ROOT / "rules", tmp_path / "my-rules")
    trial = ROOT / "catalogue_demo" / "trials" / "three-much-alike.yaml"
    shutil.copy(trial, tmp_path / "my-visit.yaml")
    (step, *_) = yaml.safe_load(trial.read_text("utf-8"))["trials"]
    (tmp_path / "step.yaml").write_text(yaml.safe_dump({"feet": step["feet"]}))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("line", [line for line in LINES if _run_here(line)])
def test_the_cheap_command_lines_run(line: str, shop: Path) -> None:
    """A line that can be pasted does what it is for, and ends with exit code 0."""
    if "--plot" in line:
        pytest.importorskip("matplotlib", reason="matplotlib is in the extra `plot`")
    filled_in = line.replace(" VISIT", " my-visit.yaml").replace(" TOPIC", " limits")
    words = [
        str(found)
        for one in shlex.split(filled_in)[1:]
        for found in (sorted(shop.glob(one)) if "*" in one else [one])
    ]
    run = CliRunner().invoke(app, words, env={"COLUMNS": "80"})
    assert run.exit_code == 0, f"{run.output}\n{run.exception!r}"


def test_a_long_page_opens_in_the_pager_and_a_short_one_does_not(tmp_path: Path) -> None:
    """At a terminal of 40 lines; away from one, nothing is ever paged."""
    pytest.importorskip("pty", reason="this platform has no pseudo-terminals")
    from tests.visit.terminal import Terminal, environment

    pager = tmp_path / "pager"
    pager.write_text('#!/bin/sh\necho PAGED\ncat "$@"\n')
    pager.chmod(0o755)
    around = {**environment(tmp_path), "PAGER": str(pager), "TERM": "xterm"}
    for topic, paged in (("numbers", True), ("exit-codes", False)):
        terminal = Terminal(["help", topic], around)
        assert terminal.end() == 0
        assert ("PAGED" in terminal.seen) is paged
    piped = CliRunner().invoke(app, ["help", "numbers"], env={"PAGER": str(pager)})
    assert "PAGED" not in piped.output
