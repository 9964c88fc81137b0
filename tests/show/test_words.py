"""Words of the machine stay on the auditor's screens: no id, hash or jargon before a fitter."""

from __future__ import annotations

import os
import re
from html import unescape
from pathlib import Path
from unittest import mock

import pytest
import yaml

from recommend.extras import shipped_folder
from tests.reading.corpus import run_in_process
from tests.shipped import book, shop

DEMO = shipped_folder("catalogue_demo")
# From the shop's own list of words seen at the counter and what a fitter says instead.
JARGON = re.compile(
    r"\b([Zz]eros?|redrawn?|redraws|derivations?|null|None|nan|axis|axes|cpei|hash|SHA-?\d*|"
    r"qualifiers?|mutants?)\b|[a-z]_[a-z]|\bprint kind\b"
)


def said_by(*args: str) -> str:
    """What a command prints, as one line."""
    return " ".join(run_in_process(list(args)).stdout.split())


def ids() -> set[str]:
    """Ids of rules, foot types and measures that are no words of the language."""
    known = book()
    named = {*known.by_id, *known.types, *known.measures}
    return {one for one in named if "-" in one} - {"late-medial", "over-pronated"}


def machine_words(text: str) -> list[str]:
    """Every id and word of the machine in a text; a product's code is called a code."""
    codes = re.sub(r"\bcode [a-z0-9-]+", "", text)
    products = {item.id for item in shop().items if "-" in item.id}
    found = set(re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", codes)) & (ids() | products)
    return sorted(found | {one.group() for one in JARGON.finditer(codes)})


SCREENS = [
    ("shortlist", "visits/pronated-high-arch-late-medial.yaml"),
    ("shortlist", "visits/pronated-high-arch-late-medial.yaml", "--full"),
    ("shortlist", "visits/half-measured.yaml", "--full"),
    ("shortlist", "visits/red-flag-stop.yaml", "--full"),
    ("trial", "trials/too-much.yaml", "--full"),
    ("trial", "trials/three-much-alike.yaml"),
    ("trial", "plan", "visits/running-over-pronator.yaml"),
    ("compare", "visits/pronated.yaml", "a", "b", "--full"),
    ("visit", "history", "QB-0110"),
    ("visit", "outcomes", "--full"),
    ("visit", "list", "--all"),
    ("visit", "form"),
    ("setup", "show"),
    ("coverage", "--customers", "100", "--full"),
    ("gaps", "--customers", "100"),
    ("order", "--season", "400", "--customers", "100"),
]


# Seen at the counter, and said otherwise there: ids, doubled negations, numbers nobody measured.
CLUMSY = re.compile(
    r"\b(at least yes|(more|less) than (no|yes)|at most (no|yes)|1 (weeks|hours|days|visits)|"
    r"knee-(inner|outer|front)|ankle-(inner|outer)|the ids? of|re-measure|\d+\.\d{4,})\b"
)


@pytest.mark.parametrize("screen", SCREENS, ids=lambda one: " ".join(one[:2]))
def test_a_fitter_reads_no_word_of_the_machine(screen: tuple[str, ...], tmp_path: Path) -> None:
    """Rules, foot types and measures stand in words, products by title, on every screen."""
    args = [str(DEMO / one) if one.endswith(".yaml") else one for one in screen]
    named = {
        "RECOMMEND_SETTINGS": str(tmp_path / "none.toml"),
        "RECOMMEND_VISITS": str(came_back(tmp_path)),
        "COLUMNS": "120" if screen[0] == "order" else "80",  # narrower, it has room for codes alone
    }
    with mock.patch.dict(os.environ, named):
        text = said_by(*args)
    if screen[:2] == ("visit", "form"):
        text = unescape(re.sub(r"(?s)<style>.*?</style>|<[^>]+>", " ", text))
    text = text.replace(str(DEMO), "").replace(str(tmp_path), "")
    assert text
    assert machine_words(text) == []
    assert [one.group() for one in CLUMSY.finditer(text)] == []


def came_back(folder: Path) -> Path:
    """A folder of visits with one of a customer, and a second one three weeks later."""
    first = yaml.safe_load((DEMO / "visits" / "running-over-pronator.yaml").read_text("utf-8"))
    first |= {"reference": "QB-0110", "date": "2026-03-05", "pain": []}
    again = first | {
        "date": "2026-03-26",
        "pain": [{"site": "knee-inner", "side": "left", "score": 5}],
        "follow-up": {
            "of": "QB-0110_2026-03-05", "shoe": "mimberlow-walk", "weeks-of-wear": 1,
            "hours-a-day": 1, "pain-sites-before": [],
            "feet": {"left": {"comfort": {"overall": 5}}},
        },
    }  # fmt: skip
    for tree in (first, again):
        path = folder / f"QB-0110_{tree['date']}.yaml"
        path.write_text(yaml.safe_dump(tree), "utf-8")
    return folder


def test_what_changed_since_the_last_visit_stands_first(tmp_path: Path) -> None:
    """The new pain by its site, then what was worn and how it was, before the feet."""
    with mock.patch.dict(os.environ, {"RECOMMEND_VISITS": str(came_back(tmp_path))}):
        lines = run_in_process(["shortlist", "QB-0110"]).stdout.splitlines()
    labels = [line[:9].strip() for line in lines]
    since = lines[labels.index("Since")]
    assert "new: knee inner left 5 of 10" in since
    assert labels.index("Since") < min(
        labels.index(one) for one in ("Both", "Left") if one in labels
    )
    assert len(lines) < 24


def test_a_stop_says_what_to_do_next(tmp_path: Path) -> None:
    """Read it out, the page, and that it was heard: each with what to type."""
    said = said_by("shortlist", str(DEMO / "visits" / "red-flag-stop.yaml"))
    assert "recommend sheet" in said
    assert "recommend visit decide" in said


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_customer_reads_no_word_of_the_machine(language: str, tmp_path: Path) -> None:
    """The page names products by title, and in German what kind of thing they are in German."""
    page = tmp_path / "page.html"
    visit = str(DEMO / "trials" / "three-much-alike.yaml")
    run_in_process(["sheet", visit, "--to", str(page), "--language", language])
    text = page.read_text("utf-8")
    plain = unescape(re.sub(r"(?s)<style>.*?</style>|<[^>]+>", " ", text))
    assert machine_words(plain) == []
    assert {"en": "Insole: ", "de": "Einlage: "}[language] in plain
