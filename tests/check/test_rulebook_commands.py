"""Showing, starting, printing and comparing rules, as it is typed."""

import json
import math
import re
import subprocess
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from shutil import which

import jsonschema
import pytest
import yaml

from recommend.check.authoring import SCHEMAS, schema_of
from recommend.check.whole import check
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.rulebook import load_rulebook
from recommend.rulebook.models import NoteThen
from recommend.show.book_page import decision_map, map_axes, type_of
from recommend.visit.models import Visit
from tests.check.conftest import Changed
from tests.shipped import run

RULES = shipped_folder("rules")


def test_rule_show_says_it_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    """Conclusion, reason, source in full, reach and examples, within 80 columns."""
    assert run("rule", "show", "need-slow-support") == 0
    out = capsys.readouterr().out
    for word in (
        "later than most feet",
        "medial arch support",
        "common practice",
        "% of 20000 feet",
    ):
        assert word in out
    assert "need-usual-basics holds for 100 % of these feet too" in out
    longest = max((line for line in out.splitlines() if ".yaml" not in line), key=len)
    assert len(longest) <= 80


def test_rule_show_of_an_unknown_rule_names_the_nearest(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2 and the spelling that was probably meant."""
    assert run("rule", "show", "need-slow-suport") == 2
    assert "did you mean `need-slow-support`?" in capsys.readouterr().err.lower()


@pytest.mark.parametrize("stage", ["screen", "classify", "need"])
def test_rule_new_writes_what_passes_the_check(changed: Changed, stage: str) -> None:
    """A rule that was just started, and its examples, leave the check without an error."""
    folder = changed()
    assert run("rule", "new", stage, "my-own-rule", "--rules", str(folder)) == 0
    report = check(folder, [])
    assert [f.found for f in report.findings if f.level == "error"] == []
    book = load_rulebook(folder)
    assert "my-own-rule" in (book.axes if stage == "classify" else book.by_id)


def test_rule_new_never_overwrites(changed: Changed, capsys: pytest.CaptureFixture[str]) -> None:
    """An id that is taken, or a stage without scaffold, is refused and nothing is written."""
    folder = changed()
    before = sorted(folder.rglob("*.yaml"))
    assert run("rule", "new", "need", "need-slow-support", "--rules", str(folder)) == 2
    assert run("rule", "new", "classify", "posture", "--rules", str(folder)) == 2
    assert run("rule", "new", "need", "Not An Id", "--rules", str(folder)) == 2
    assert run("rule", "new", "need", "../outside", "--rules", str(folder)) == 2
    assert sorted(folder.rglob("*.yaml")) == before


def test_diff_says_moved_limits_and_shows_feet_that_change(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every foot shown as changing type does so when its visit file is taken through both."""
    folder = changed(
        ("limits.yaml", "value: 6, where: {age: grown}", "value: 5, where: {age: grown}")
    )
    args = ("rulebook", "diff", str(RULES), str(folder), "--customers", "500", "--json")
    assert run(*args) == 5
    told = json.loads(capsys.readouterr().out)
    assert told["said"] == ["limit fpi-pronated, grown manual-2005: 6 becomes 5"]
    assert told["moves"]["types"]
    old, new = load_rulebook(RULES), load_rulebook(folder)
    for move in told["moves"]["types"]:
        data = yaml.safe_load(move["visit"])
        visit, (side,) = Visit.model_validate(data), data["feet"]
        assert (assess(visit, old).feet[side].foot_type or "undetermined") == move["was"]
        assert (assess(visit, new).feet[side].foot_type or "undetermined") == move["now"]


def test_diff_counts_both_ways_and_fails_on_a_weakened_stop(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """A note at a lower limit is gained one way and lost the other; less of one is exit code 2."""
    folder = changed(
        ("limits.yaml", "{value: 10, where: {age: grown}, kind: published, source: gijon-2015}",
         "{value: 7, where: {age: grown}, kind: published, source: gijon-2015}"),
    )  # fmt: skip
    forth = ("rulebook", "diff", str(RULES), str(folder), "--customers", "300", "--json")
    back = ("rulebook", "diff", str(folder), str(RULES), "--customers", "300", "--json")
    assert run(*forth) == 5
    there = json.loads(capsys.readouterr().out)
    assert run(*back) == 2
    again = json.loads(capsys.readouterr().out)
    assert there["moves"]["gained"]["see-posture-far-inwards"]["count"] > 0
    assert there["moves"]["lost"] == again["moves"]["gained"] == {}
    assert there["moves"]["gained"] == again["moves"]["lost"]
    assert there["stronger"] == ["see-posture-far-inwards"]
    assert [f["code"] for f in again["weakened"]] == ["weakened-note"]
    wound, runners = "{answer: open-wound, is: yes}", "{visit: purpose, is: running}"
    changed(("screen/health.yaml", f"when: {wound}", f"when: {{all: [{wound}, {runners}]}}"))
    assert run(*forth) == 2


def test_diff_of_a_rulebook_with_itself_is_silent(book, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing changed is nothing said, and the exit code is 0."""
    assert run("rulebook", "diff", str(RULES), str(RULES), "--customers", "50", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert not any(told[key] for key in ("said", "moves", "weakened", "unread", "same_version"))


def test_diff_asks_each_rulebook_how_it_reads_the_catalogue(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """A scale turned round reaches the order of products."""
    steps = ["none: leaves the foot alone", "mild: holds a little", "marked: holds clearly",
             "strong: holds as much as a shoe can"]  # fmt: skip
    was, now = ("".join(f"      {step}\n" for step in some) for some in (steps, steps[::-1]))
    folder = changed(("attributes.yaml", was, now))
    args = ("rulebook", "diff", str(RULES), str(folder), "--customers", "60", "--json",
            "--catalogue", str(shipped_folder("catalogue_demo")))  # fmt: skip
    assert run(*args) == 5
    told = json.loads(capsys.readouterr().out)
    assert told["unread"] == ["decides"]
    assert told["moves"]["ranked"]["shoe"]["order"]["count"] > 0


def test_words_need_a_reader_until_the_log_says_who(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 5; the line that diff gives, signed, ends it; another edit asks anew."""
    folder = changed(("screen/health.yaml", "no fitting today; a doctor", "go on, and a doctor"))
    args = ("rulebook", "diff", str(RULES), str(folder), "--customers", "50", "--json")
    assert run(*args) == 5
    told = json.loads(capsys.readouterr().out)
    assert told["unread"] == ["words"]
    line = "    " + told["sign"].replace("CODE", "F7") + "\n    says:\n"
    changed(("changes.yaml", "    says:\n", line))
    assert run(*args) == 0
    changed(("screen/health.yaml", "go on, and a doctor", "carry on, and a doctor"))
    assert run(*args) == 5


def test_less_of_a_note_passes_when_a_new_version_accepts_it(
    changed: Changed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Diff fails as check does, and no more once the new change log gives reason and code."""
    limit = ("limits.yaml", "{value: 10, where: {age: grown}, kind: published, source: gijon-2015}",
             "{value: 11, where: {age: grown}, kind: published, source: gijon-2015}")  # fmt: skip
    folder = changed(limit)
    args = ("rulebook", "diff", str(RULES), str(folder), "--customers", "50", "--json")
    assert run(*args) == 2
    entry = (
        "changes:\n  - version: 2.1.0\n    date: 2026-12-01\n    says: [Posture is told late.]\n"
        "    accepts: [{note: see-posture-far-inwards, reason: agreed with a doctor, by: F7}]\n"
    )
    changed(("changes.yaml", "changes:\n", entry))
    capsys.readouterr()
    assert run(*args) == 5
    assert json.loads(capsys.readouterr().out)["accepted"] == ["see-posture-far-inwards"]


def test_book_holds_every_rule_limit_source_and_type(tmp_path: Path, book) -> None:
    """One page without scripts or outside files; each id is an anchor that stands once."""
    page = tmp_path / "book.html"
    assert run("rulebook", "book", "--to", str(page)) == 0
    text = page.read_text()
    ids = re.findall(r"id='([^']+)'", text)
    assert len(ids) == len(set(ids))
    assert {f"rule-{r.id}" for r in book.rules} <= set(ids)
    assert {f"limit-{name}" for name in book.limits} <= set(ids)
    assert {f"source-{name}" for name in book.sources} <= set(ids)
    assert {f"attribute-{name}" for name in book.attributes} <= set(ids)
    assert {f"measure-{name}" for name in book.measures} <= set(ids)
    assert {f"parameter-{name}" for name in book.parameters.sourced} <= set(ids)
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert not re.search(r"<script|<link|@import|url\(|src=", text)
    HTMLParser().feed(text)


def test_book_begins_with_what_may_hurt(tmp_path: Path, book) -> None:
    """Stops come before notes, notes before cautions, these before the rest; the log is there.

    What stands on sources never says that it has none.
    """
    page = tmp_path / "book.html"
    assert run("rulebook", "book", "--to", str(page)) == 0
    text = page.read_text()
    levels = {r.id: r.rule.then.note for r in book.rules if isinstance(r.rule.then, NoteThen)}
    order = re.findall(r"<article id='rule-([^']+)'", text)
    told = [levels.get(name, "rule") for name in order]
    assert told == sorted(told, key=["stop", "see-clinician", "caution", "rule"].index)
    changes = yaml.safe_load((RULES / "changes.yaml").read_text("utf-8"))["changes"]
    for change in changes:
        assert all(escape(" ".join(line.split())) in text for line in change["says"])
    for article in re.findall(r"<article id='rule-.*?</article>", text):
        assert ("no source" in article) <= ("[" not in article.split("Stands on:")[1])


def test_map_names_the_type_that_the_engine_finds(book) -> None:
    """A cell of the decision map and a foot of that combination agree."""
    values = {"posture": "pronated", "arch": "high", "amount": "usual", "timing": "delayed"}
    kind = type_of(book, values)
    assert kind is not None
    assert kind.id == "pronated-high-arched-slow"
    sizes = [len(book.axes[axis].values) for axis in map_axes(book)]
    drawn = decision_map(book)
    assert drawn.count("<rect") == math.prod(sizes)
    assert ">(none)<" not in drawn


@pytest.mark.parametrize("name", SCHEMAS)
def test_shipped_files_fit_the_schemas_that_editors_use(name: str) -> None:
    """JSON Schema 2020-12, checked by an independent validator on every shipped file."""
    schema = schema_of(name)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    _, patterns = SCHEMAS[name]
    base = shipped_folder("catalogue_demo") if name in ("products", "visit") else RULES
    files = [file for pattern in patterns for file in base.glob(pattern)]
    assert files or name == "survivors"
    for file in files:
        data = plain(file)
        assert list(validator.iter_errors(data)) == [], file


def test_schema_of_a_visit_knows_the_questions_of_the_rulebook(tmp_path: Path, book) -> None:
    """An answer to no question is marked, true and false are as good as yes and no."""
    assert run("rulebook", "schemas", str(tmp_path)) == 0
    schema = json.loads((tmp_path / "visit.schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    for answer, fits in (("yes", True), (True, True), ("maybe", False)):
        visit = {"reference": "Q-0001", "feet": {}, "answers": {"open-wound": answer}}
        assert validator.is_valid(visit) is fits
    assert not validator.is_valid({"reference": "Q-0001", "feet": {}, "answers": {"wound": "yes"}})


def test_the_published_schema_of_a_visit_is_current(tmp_path: Path) -> None:
    """The schema beside the demo visits is the one that `recommend rulebook schemas` writes."""
    assert run("rulebook", "schemas", str(tmp_path), "--rules", str(RULES)) == 0
    published = shipped_folder("catalogue_demo") / "visit.schema.json"
    assert published.read_text("utf-8") == (tmp_path / "visit.schema.json").read_text("utf-8")


def test_rule_list_names_every_rule(capsys: pytest.CaptureFixture[str], book) -> None:
    """What to type after `rule show`."""
    assert run("rule", "list") == 0
    out = capsys.readouterr().out
    assert all(rule.id in out for rule in book.rules if rule.stage == "need")


def plain(file: Path) -> object:
    """What a file says by YAML 1.2, as the tool reads it."""
    from recommend.reading import read_document

    return read_document(file).data


SERVER = Path(__file__).parents[2] / ".cache/node_modules/yaml-language-server/bin"


def test_yaml_language_server_finds_a_misspelt_key(changed: Changed) -> None:
    """The server that editors run marks it, given the published schema, and offers completions."""
    server = SERVER / "yaml-language-server"
    if not (which("node") and server.exists()):
        pytest.skip("yaml-language-server is not installed: npm install --prefix .cache "
                    "yaml-language-server")  # fmt: skip
    folder = changed(("need/motion.yaml", "    because:", "    becaus:"))
    assert run("rulebook", "schemas", str(folder / "schemas")) == 0
    file = folder / "need" / "motion.yaml"
    text = "# yaml-language-server: $schema=../schemas/rules.schema.json\n" + file.read_text()
    file.write_text(text)
    with Server(server, file) as speaking:
        messages = [one["message"] for one in speaking.diagnostics()]
        assert any("becaus" in message for message in messages), messages
        line = next(i for i, one in enumerate(text.splitlines()) if "becaus:" in one)
        assert "because" in speaking.completions(line, 4)


class Server:
    """A language server spoken to over standard input and output."""

    def __init__(self, program: Path, file: Path) -> None:
        self.file, self.number = file, 0
        self.process = subprocess.Popen(
            ["node", str(program), "--stdio"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def __enter__(self) -> "Server":
        root = self.file.parent.parent.as_uri()
        self.ask("initialize", {"processId": None, "rootUri": root, "capabilities": {}})
        self.say("initialized", {})
        document = {"uri": self.file.as_uri(), "languageId": "yaml", "version": 1,
                    "text": self.file.read_text()}  # fmt: skip
        self.say("textDocument/didOpen", {"textDocument": document})
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()

    def say(self, method: str, params: object, **more: object) -> None:
        """Send one message."""
        body = json.dumps({"jsonrpc": "2.0", "method": method, "params": params, **more}).encode()
        assert self.process.stdin is not None
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n%s" % (len(body), body))
        self.process.stdin.flush()

    def hear(self) -> dict:
        """Receive one message."""
        stream = self.process.stdout
        assert stream is not None
        length = 0
        while (line := stream.readline()) not in (b"\r\n", b""):
            name, _, value = line.partition(b":")
            if name.lower() == b"content-length":
                length = int(value)
        return json.loads(stream.read(length))

    def ask(self, method: str, params: object) -> object:
        """Send a request and wait for its result, answering what the server asks meanwhile."""
        self.number += 1
        self.say(method, params, id=self.number)
        while True:
            message = self.hear()
            if message.get("id") == self.number and "method" not in message:
                return message["result"]
            self.answer(message)

    def answer(self, message: dict) -> None:
        """Answer a request of the server with nothing of note."""
        if "id" in message and "method" in message:
            items = message.get("params", {}).get("items", [])
            body = {"jsonrpc": "2.0", "id": message["id"], "result": [{} for _ in items]}
            data = json.dumps(body).encode()
            assert self.process.stdin is not None
            self.process.stdin.write(b"Content-Length: %d\r\n\r\n%s" % (len(data), data))
            self.process.stdin.flush()

    def diagnostics(self) -> list[dict]:
        """The first diagnostics of the file that are not empty."""
        while True:
            message = self.hear()
            self.answer(message)
            told = message.get("method") == "textDocument/publishDiagnostics"
            if told and message["params"]["diagnostics"]:
                return message["params"]["diagnostics"]

    def completions(self, line: int, column: int) -> set[str]:
        """Labels offered at a place."""
        where = {"textDocument": {"uri": self.file.as_uri()},
                 "position": {"line": line, "character": column}}  # fmt: skip
        result = self.ask("textDocument/completion", where)
        items = result["items"] if isinstance(result, dict) else result or []
        return {item["label"] for item in items}
