"""Small invented records for the tests of the store."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.catalogue import Catalogue
from recommend.infer.assess import Assessment
from recommend.match.outcome import Outcome
from recommend.match.shortlist import shortlist
from recommend.match.sureness import WhatIf
from recommend.records.store import Store, forget
from recommend.rulebook import Rulebook
from recommend.visit import Visit, read_visit
from tests.trail.entries import entry


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a store may be made."""
    return tmp_path / "records.sqlite"


@pytest.fixture
def filled(path: Path) -> Path:
    """A store of five records, the third of them forgotten."""
    with Store(path, write=True) as store:
        for number in range(1, 5):
            store.append(entry(f"A-{number}", number + 0.5))
        forget(store, "A-3")
    return path


TOP = Path(__file__).parents[2]
DEMO = sorted((TOP / "catalogue_demo" / "visits").glob("*.yaml"))


def in_pain(*entries: dict[str, object]) -> Visit:
    """The plain visit of an adult with these pains."""
    visit = read_visit(TOP / "catalogue_demo" / "visits" / "plain-neutral.yaml")
    data = visit.model_dump(mode="json", by_alias=True, exclude_unset=True)
    return Visit.model_validate(data | {"pain": list(entries)})


def whatif_of(assessment: Assessment, book: Rulebook, catalogue: Catalogue) -> WhatIf:
    """What-ifs about an assessed visit, ranked by its readings as they stand."""
    ranked = None if assessment.stopped else shortlist(assessment, book, catalogue)
    return WhatIf(Outcome(assessment, ranked, book, catalogue))
