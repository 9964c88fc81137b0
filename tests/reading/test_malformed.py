"""Every malformed input: exit code 2, one clear sentence on stderr, nothing else.

The cases stand in ``malformed_visits.py``, ``malformed_syntax.py``, ``malformed_rules.py`` and
``malformed_catalogues.py``; files that cannot be a table (folders, pipes, devices, rights) stand
here. ``python -m tests.reading.show_messages`` prints all messages for reading.
"""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from recommend.extras import shipped_folder
from recommend.reading.document import MAX_BYTES
from tests.reading.corpus import NO_SETTINGS, Case, Result, all_cases, run_in_process
from tests.reading.good_visit import BASE

CASES = all_cases()
# Words of the libraries underneath that mean nothing to a fitter.
JARGON = re.compile(
    r"Input should|type=|input_value|value_error|Value error|validation error|pydantic|Traceback"
    r"|literal|NoneType|\bdict\b|(?<!!)\bstr\b|\bint\b|\bfloat\b|finite_number|extra_forbidden|function-"
    r"|tag:yaml|while (scanning|parsing)|<unicode string>|did not find expected|\bAxisThen\b"
)


def assert_one_sentence(result: Result, place: str, words: tuple[str, ...] = ()) -> None:
    """Exit code 2 and one clear line on stderr that names the place."""
    assert result.code == 2, result
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 1, result.stderr
    message = lines[0]
    assert message.startswith("recommend: ")
    assert message.isprintable()
    assert message[-1] in ".?"
    assert len(message) < 700
    assert not JARGON.search(message), message
    assert not re.search(r"is `(\S+)`;.* Write \1\.$", message), "the mend repeats the fault"
    assert re.search(rf"{re.escape(place)}(?=[:,]|$)", message), f"{place} not in {message}"
    for word in words:
        assert word.casefold() in message.casefold(), f"{word} not in {message}"


def test_the_corpus_is_large() -> None:
    """At least 220 different files, of every kind of input."""
    assert len({case.name for case in CASES}) == len(CASES) >= 220
    for kind in ("visit-", "rules-", "catalogue-", "visit-json-"):
        assert sum(case.name.startswith(kind) for case in CASES) >= 15, kind


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_malformed_input_gets_one_clear_sentence(case: Case, tmp_path: Path) -> None:
    """The message names file and line, what was found and what is allowed."""
    place = case.place
    if case.name in WITHOUT_FILE:
        place = WITHOUT_FILE[case.name]
    assert_one_sentence(run_in_process(case.arguments(tmp_path)), place, case.words)


# Errors that show only when the parts are put together name what stands there instead of a line.
WITHOUT_FILE = {
    "visit-path-short-of-toes": "visit QB-1",
    "rules-measure-qualifier-lost": "measures.yaml",
    "rules-limit-qualifier-unknown": "motion.yaml",
    "rules-limit-qualifier-word": "motion.yaml",
    "rules-limit-unit": "motion.yaml",
    "rules-limit-renamed": "posture-and-arch.yaml",
    "rules-axis-renamed": "types.yaml",
    "rules-question-gone": "health.yaml",
    "rules-attribute-renamed": "motion.yaml",
}

SAMPLE = [case for index, case in enumerate(CASES) if index % 40 == 0]


def run(*arguments: str) -> Result:
    """Run the command line as its own process."""
    done = subprocess.run(
        [sys.executable, "-m", "recommend", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, **NO_SETTINGS, "PYTHONIOENCODING": "utf-8"},
        timeout=60,
        check=False,
    )
    return Result(done.returncode, done.stdout, done.stderr)


@pytest.mark.parametrize("case", SAMPLE, ids=[case.name for case in SAMPLE])
def test_the_real_command_says_the_same(case: Case, tmp_path: Path) -> None:
    """A process of its own leaves the same code and message as the run inside this one."""
    arguments = case.arguments(tmp_path)
    assert run(*arguments) == run_in_process(arguments)


def test_a_hundred_thousand_brackets_do_not_crash_the_parser(tmp_path: Path) -> None:
    """Deep nesting of every kind ends in a sentence, not in a dead process."""
    for index, text in enumerate(("[" * 100_000, '{"a":' * 100_000, "- " * 100_000)):
        visit = tmp_path / f"deep{index}.yaml"
        visit.write_text(text, encoding="utf-8")
        assert_one_sentence(run("shortlist", str(visit)), visit.name, ("nested too deeply",))


def test_a_missing_file(tmp_path: Path) -> None:
    """A path that leads nowhere."""
    result = run_in_process(["shortlist", str(tmp_path / "nobody.yaml")])
    assert_one_sentence(result, "nobody.yaml", ("no such file", "spelling"))


def test_a_path_through_a_file(tmp_path: Path) -> None:
    """A path that treats a file as a folder."""
    (tmp_path / "a.yaml").write_text(BASE)
    result = run_in_process(["shortlist", str(tmp_path / "a.yaml" / "b.yaml")])
    assert_one_sentence(result, "b.yaml", ("read",))


def test_a_folder_as_a_visit(tmp_path: Path) -> None:
    """A folder is not a file."""
    result = run_in_process(["shortlist", str(tmp_path)])
    assert_one_sentence(result, tmp_path.name, ("folder", "name a file in it"))


def test_a_pipe_is_not_waited_on(tmp_path: Path) -> None:
    """A FIFO that nobody writes to is refused at once."""
    os.mkfifo(tmp_path / "pipe.yaml")
    result = run_in_process(["shortlist", str(tmp_path / "pipe.yaml")])
    assert_one_sentence(result, "pipe.yaml", ("device or a pipe",))


@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero", "/dev/full"])
def test_a_device_is_not_read(device: str) -> None:
    """A device that never ends is not read."""
    assert_one_sentence(run_in_process(["shortlist", device]), device, ("device or a pipe",))


def test_a_link_that_leads_to_itself(tmp_path: Path) -> None:
    """A circle of links is told like any other unreadable path."""
    (tmp_path / "loop.yaml").symlink_to(tmp_path / "loop.yaml")
    assert_one_sentence(run_in_process(["shortlist", str(tmp_path / "loop.yaml")]), "loop.yaml")


def test_a_link_that_leads_nowhere(tmp_path: Path) -> None:
    """A dangling link is a missing file."""
    (tmp_path / "link.yaml").symlink_to(tmp_path / "gone.yaml")
    result = run_in_process(["shortlist", str(tmp_path / "link.yaml")])
    assert_one_sentence(result, "link.yaml", ("no such file",))


def test_a_name_that_is_too_long(tmp_path: Path) -> None:
    """A file name no file system takes; the message shortens nothing it needs."""
    result = run_in_process(["shortlist", "n" * 300 + ".yaml"])
    assert_one_sentence(result, ".yaml", ("cannot be read",))


def test_a_name_with_a_line_break(tmp_path: Path) -> None:
    """A file name cannot put a second line, or a colour, into the message."""
    (tmp_path / "two\nlines\x1b[31m.yaml").write_text("", encoding="utf-8")
    result = run_in_process(["shortlist", str(tmp_path / "two\nlines\x1b[31m.yaml")])
    assert_one_sentence(result, ".yaml:1", ("two<U+000A>lines<U+001B>",))


def test_an_enormous_file_is_not_read(tmp_path: Path) -> None:
    """A file beyond the bound is refused by its size (sparse, so that the disk stays empty)."""
    with (tmp_path / "huge.yaml").open("wb") as file:
        file.truncate(50_000_000_000)
    result = run_in_process(["shortlist", str(tmp_path / "huge.yaml")])
    assert_one_sentence(result, "huge.yaml", (f"larger than {MAX_BYTES // 1_000_000} MB",))


def test_a_large_file_of_one_line(tmp_path: Path) -> None:
    """A line of a million characters is quoted shortly."""
    (tmp_path / "wide.yaml").write_text("reference: " + "x " * 500_000, encoding="utf-8")
    result = run_in_process(["shortlist", str(tmp_path / "wide.yaml")])
    assert_one_sentence(result, "wide.yaml:1", ("characters",))


@contextmanager
def _without_rights() -> Iterator[None]:
    """As somebody without the right to read everything."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_an_unreadable_file(tmp_path: Path) -> None:
    """A file that one may not read."""
    run_in_process(["shortlist", "warm-up.yaml"])  # loads the rulebook while it may be read
    for folder in (tmp_path, *tmp_path.parents[:-2]):
        folder.chmod(folder.stat().st_mode | stat.S_IXOTH)
    secret = tmp_path / "secret.yaml"
    secret.write_text(BASE, encoding="utf-8")
    secret.chmod(0)
    with _without_rights():
        result = run_in_process(["shortlist", str(secret)])
    assert_one_sentence(result, "secret.yaml", ("may not read",))


def _rulebook(folder: Path) -> Path:
    shutil.copytree(shipped_folder("rules"), folder / "rules")
    (folder / "visit.yaml").write_text(BASE, encoding="utf-8")
    return folder / "rules"


def _with_rules(rules: Path) -> Result:
    return run_in_process(["shortlist", str(rules.parent / "visit.yaml"), "--rules", str(rules)])


@pytest.mark.parametrize(
    "file",
    [
        "rulebook.yaml", "sources.yaml", "measures.yaml", "limits.yaml", "axes.yaml",
        "questions.yaml", "attributes.yaml", "types.yaml",
    ],
)  # fmt: skip
def test_a_rulebook_with_a_file_missing(file: str, tmp_path: Path) -> None:
    """Each file of a rulebook is missed by its name (or its folder, for the heading)."""
    rules = _rulebook(tmp_path)
    (rules / file).unlink()
    assert_one_sentence(_with_rules(rules), "rules" if file == "rulebook.yaml" else file)


@pytest.mark.parametrize("folder", ["screen", "classify", "need", "parameters"])
def test_a_rulebook_with_a_folder_empty(folder: str, tmp_path: Path) -> None:
    """Each folder of a rulebook holds at least one file."""
    rules = _rulebook(tmp_path)
    shutil.rmtree(rules / folder)
    assert_one_sentence(_with_rules(rules), folder, ("no", "files"))


@pytest.mark.parametrize("where", ["screen", "parameters", "."])
def test_a_rulebook_with_a_pipe_in_it(where: str, tmp_path: Path) -> None:
    """A pipe among the rules is refused and not waited on, even where nothing reads it."""
    rules = _rulebook(tmp_path)
    os.mkfifo(rules / where / "zz.yaml")
    assert_one_sentence(_with_rules(rules), "zz.yaml", ("device or a pipe",))


def test_a_rulebook_with_a_folder_called_like_a_file(tmp_path: Path) -> None:
    """A folder called rules.yaml among the rules is told."""
    rules = _rulebook(tmp_path)
    (rules / "screen" / "zz.yaml").mkdir()
    assert_one_sentence(_with_rules(rules), "zz.yaml", ("folder",))


def test_a_folder_that_is_no_rulebook(tmp_path: Path) -> None:
    """A folder without rulebook.yaml."""
    (tmp_path / "visit.yaml").write_text(BASE, encoding="utf-8")
    (tmp_path / "other").mkdir()
    assert_one_sentence(_with_rules(tmp_path / "other"), "other", ("no rulebook",))
    assert_one_sentence(_with_rules(tmp_path / "nowhere"), "nowhere", ("no rulebook",))


def test_a_folder_that_is_no_catalogue(tmp_path: Path) -> None:
    """A folder without product files, and one that is not there."""
    (tmp_path / "visit.yaml").write_text(BASE, encoding="utf-8")
    for name in (".", "nowhere"):
        shop = str(tmp_path / name / "shop")
        result = run_in_process(["shortlist", str(tmp_path / "visit.yaml"), "--catalogue", shop])
        assert_one_sentence(result, "shop", ("no product files",))


def test_a_catalogue_of_two_currencies(tmp_path: Path) -> None:
    """Prices of two currencies cannot be compared."""
    (tmp_path / "visit.yaml").write_text(BASE, encoding="utf-8")
    product = "products: [{id: %s, kind: shoe, title: x, attributes: {}, stock: {265: 1}}]\n"
    (tmp_path / "a.yaml").write_text("title: a\ncurrency: EUR\n" + product % "a")
    (tmp_path / "b.yaml").write_text("title: b\ncurrency: USD\n" + product % "b")
    (tmp_path / "visit.yaml").rename(tmp_path / "visit.yml")
    result = run_in_process(
        ["shortlist", str(tmp_path / "visit.yml"), "--catalogue", str(tmp_path)]
    )
    assert_one_sentence(result, "b.yaml:2", ("`USD`", "`EUR`"))
