"""`import recommend`: what the manual's page shows is what happens, and nothing else is needed."""

import doctest
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import recommend
from recommend import library
from recommend.cli import app
from tests.command_lines import ROOT


def test_the_examples_of_the_page_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line of Python in the manual's page gives what the page says it gives."""
    monkeypatch.chdir(ROOT)
    page = (ROOT / "recommend" / "manual" / "library.md").read_text()
    code = "\n".join(re.findall(r"```python\n(.*?)```", page, re.DOTALL))
    test = doctest.DocTestParser().get_doctest(code, {}, "library.md", None, 0)
    assert len(test.examples) > 10
    found = doctest.DocTestRunner(verbose=False).run(test)
    assert not found.failed


def test_the_surface_is_small_and_imported_when_used() -> None:
    """What is named is there, and `import recommend` alone imports nothing of it."""
    assert recommend.__all__ == library.__all__
    assert all(getattr(recommend, name) is getattr(library, name) for name in recommend.__all__)
    code = "import sys, recommend; print([m for m in sys.modules if m.startswith('recommend.')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_commands_print_what_the_library_gives(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Shortlist, coverage and the tree of why are, as JSON, those of `import recommend`."""
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("RECOMMEND_STORE", str(tmp_path / "store.sqlite"))
    folders = ("--rules", "rules", "--catalogue", "catalogue_demo")
    file = "catalogue_demo/visits/pronated.yaml"

    def printed(*words: str) -> Any:
        told = CliRunner().invoke(app, [*words, "--json"])
        assert told.exit_code == 0, told.output
        return json.loads(told.stdout)

    book = recommend.open_rulebook(ROOT / "rules")
    shop = recommend.open_catalogue(book, "catalogue_demo")
    visit = recommend.read_visit(file, book)
    found = {
        "shortlist": printed("shortlist", file, "--keep", *folders),
        "why": printed("explain", "last")["tree"],
        "coverage": printed("coverage", "--customers", "300", *folders),
    }
    given = {
        "shortlist": recommend.shortlist_of(visit, book, shop),
        "why": recommend.explanation_of(visit, book, shop),
        "coverage": recommend.coverage_of(book, shop, customers=300),
    }
    for what, one in given.items():
        assert found[what] == json.loads(json.dumps(one)), what
