"""Words of the machine stay on the auditor's screens: no id, hash or jargon before a fitter."""

from __future__ import annotations

import os
import re
from html import unescape
from pathlib import Path
from unittest import mock

import pytest

from recommend.rulebook import shipped_folder
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
    ("compare", "visits/pronated.yaml", "a", "b"),
    ("visit", "form"),
    ("setup", "show"),
]


@pytest.mark.parametrize("screen", SCREENS, ids=lambda one: " ".join(one[:2]))
def test_a_fitter_reads_no_word_of_the_machine(screen: tuple[str, ...], tmp_path: Path) -> None:
    """Rules, foot types and measures stand in words, products by title, on every screen."""
    args = [str(DEMO / one) if one.endswith(".yaml") else one for one in screen]
    with mock.patch.dict(os.environ, {"RECOMMEND_SETTINGS": str(tmp_path / "none.toml")}):
        text = said_by(*args)
    if screen[:2] == ("visit", "form"):
        text = unescape(re.sub(r"(?s)<style>.*?</style>|<[^>]+>", " ", text))
    text = text.replace(str(DEMO), "").replace(str(tmp_path), "")
    assert machine_words(text) == []


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
