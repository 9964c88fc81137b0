"""`import recommend`: what the manual's page shows is what happens, and nothing else is needed."""

import doctest
import re
import subprocess
import sys

import pytest

import recommend
from recommend import library
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
