"""The malformed-input corpus: how a case becomes files and arguments, and how it is run."""

from __future__ import annotations

import contextlib
import functools
import io
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from recommend.catalogue import shop
from recommend.catalogue.shop import open_rulebook
from recommend.cli import main
from recommend.extras import shipped_folder
from tests.reading.good_visit import BASE
from tests.reading.malformed_catalogues import CATALOGUES
from tests.reading.malformed_rules import RULES
from tests.reading.malformed_visits import VISITS

MARK = "§"
# Whoever runs the tests may have settings of their own; the cases are about what they say.
NO_SETTINGS = {"RECOMMEND_SETTINGS": str(Path(tempfile.gettempdir()) / "no-settings-here.toml")}


@dataclass(frozen=True)
class Case:
    """One malformed input.

    `write` makes the files in a folder and returns the arguments of ``recommend``; `words` must
    stand in the message, and so must `file` with `line` (when a line is known).
    """

    name: str
    write: Callable[[Path], list[str]]
    words: tuple[str, ...]
    file: str
    line: int | None = None

    def arguments(self, folder: Path) -> list[str]:
        """Write the files of the case into `folder`."""
        return self.write(folder)

    @property
    def place(self) -> str:
        """How the message must name the place."""
        return f"{self.file}:{self.line}" if self.line else self.file


@dataclass(frozen=True)
class Result:
    """What a run left behind."""

    code: int
    stdout: str
    stderr: str


def all_cases() -> list[Case]:
    """Every case made from the tables."""
    return [*_visit_cases(), *_rule_cases(), *_catalogue_cases()]


def _marked(content: str | bytes) -> tuple[bytes, int | None]:
    """The bytes without the mark, and the line it stood on."""
    if isinstance(content, bytes):
        return content, None
    line = content[: content.index(MARK)].count("\n") + 1 if MARK in content else None
    return content.replace(MARK, "").encode("utf-8"), line


def _visit_cases() -> Iterator[Case]:
    for name, (content, words) in VISITS.items():
        body, line = _marked(content)

        def write(folder: Path, body: bytes = body) -> list[str]:
            (folder / "visit.yaml").write_bytes(body)
            return ["shortlist", str(folder / "visit.yaml")]

        yield Case(f"visit-{name}", write, words, "visit.yaml", line)


def _edited(text: str, old: str, new: str) -> tuple[str, int | None]:
    assert old in text, f"`{old}` no longer stands in the shipped file"
    changed = text.replace(old, new, 1)
    body, line = _marked(changed)
    return body.decode(), line


def _rule_cases() -> Iterator[Case]:
    shipped = shipped_folder("rules")
    for name, (file, old, new, words) in RULES.items():
        text, line = _edited((shipped / file).read_text(encoding="utf-8"), old, new)

        def write(folder: Path, file: str = file, text: str = text) -> list[str]:
            shutil.copytree(shipped, folder / "rules")
            (folder / "rules" / file).write_text(text, encoding="utf-8")
            (folder / "visit.yaml").write_text(BASE, encoding="utf-8")
            return ["shortlist", str(folder / "visit.yaml"), "--rules", str(folder / "rules")]

        yield Case(f"rules-{name}", write, words, file, line)


def _catalogue_cases() -> Iterator[Case]:
    for name, (content, words) in CATALOGUES.items():
        body, line = _marked(content)

        def write(folder: Path, body: bytes = body) -> list[str]:
            (folder / "shop").mkdir()
            (folder / "shop" / "shoes.yaml").write_bytes(body)
            (folder / "visit.yaml").write_text(BASE, encoding="utf-8")
            return ["shortlist", str(folder / "visit.yaml"), "--catalogue", str(folder / "shop")]

        yield Case(f"catalogue-{name}", write, words, "shoes.yaml", line)


@functools.cache
def _shipped_book() -> object:
    return open_rulebook(None)


def _open(folder: Path | None) -> object:
    """Open a rulebook; the shipped one is read once for all cases."""
    return _shipped_book() if folder is None else open_rulebook(folder)


def run_in_process(arguments: list[str]) -> Result:
    """Run the command line in this process."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with (
        mock.patch.object(shop, "open_rulebook", _open),
        mock.patch.dict(os.environ, NO_SETTINGS),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main(arguments)
        except SystemExit as stop:
            code = int(stop.code or 0)
    return Result(code, out.getvalue(), err.getvalue())
