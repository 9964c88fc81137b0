"""Feet about which hardly anything is known, many of them, through the reference engine."""

import subprocess
import sys

import pytest

from recommend.infer.engine import is_built

_MANY_BARE_VISITS = """
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.infer.one import DurableRules
from recommend.rulebook import load_rulebook
from recommend.visit.models import Visit

book = load_rulebook(shipped_folder("rules"))
engine = DurableRules(book)
for _ in range(30):
    assess(Visit(reference="a"), book, engine)
    assess(Visit(reference="a", answers={"open-wound": "no"}), book, engine)
print("done")
"""


@pytest.mark.skipif(not is_built(), reason="durable-rules is not installed")
def test_visits_that_decide_nothing_leave_the_process_alive():
    """A visit with one answer or none is assessed again and again without harm."""
    run = subprocess.run(
        [sys.executable, "-c", _MANY_BARE_VISITS], capture_output=True, text=True, check=False
    )
    assert (run.returncode, run.stdout.strip()) == (0, "done")
