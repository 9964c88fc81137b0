"""Catalogues over one another, and stock of today over what they say."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.errors import InputError
from recommend.extras import shipped_folder

OWN = """title: Own shelf
currency: EUR
products:
  - id: own-insole
    kind: insole
    title: Own insole
    price: 30
    attributes: {wedge: 0}
    stock: {"260": 1, "265": 0}
"""


@pytest.fixture(autouse=True)
def _own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "shelf.yaml").write_text(OWN)


def _stock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    (tmp_path / "stock.csv").write_text(text)
    monkeypatch.setenv("RECOMMEND_STOCK", str(tmp_path / "stock.csv"))


def test_a_later_catalogue_adds_to_and_replaces_an_earlier_one(tmp_path: Path) -> None:
    """All products of both are there; of one id, the later catalogue's."""
    book = open_rulebook()
    demo = open_catalogue(book, [shipped_folder("catalogue_demo")])
    taken = demo.insoles[0].id
    text = OWN.replace("own-insole", taken).replace("EUR", demo.currency)
    (tmp_path / "own" / "shelf.yaml").write_text(
        text + text.partition("products:\n")[2].replace(taken, "own-insole")
    )
    both = open_catalogue(book, [shipped_folder("catalogue_demo"), tmp_path / "own"])
    assert len(both.items) == len(demo.items) + 1
    assert both.name == f"{demo.folder} + {tmp_path / 'own'}"
    assert demo.name == demo.folder
    assert both.item(taken).product.title == "Own insole"
    assert both.item("own-insole").stock == {260.0: 1, 265.0: 0}


def test_different_currencies_are_not_stacked(tmp_path: Path) -> None:
    """Prices that cannot be compared are refused, naming both."""
    (tmp_path / "own" / "shelf.yaml").write_text(OWN.replace("EUR", "XXX"))
    with pytest.raises(InputError, match="XXX"):
        open_catalogue(open_rulebook(), [shipped_folder("catalogue_demo"), tmp_path / "own"])


def test_stock_of_today_changes_counts_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A size in the list has its count; every other size and all attributes stand."""
    book = open_rulebook()
    before = open_catalogue(book, [tmp_path / "own"])
    _stock(tmp_path, monkeypatch, "product,size,count\nown-insole,265,7\n")
    after = open_catalogue(book, [tmp_path / "own"])
    assert after.item("own-insole").stock == {260.0: 1, 265.0: 7}
    assert after.item("own-insole").levels == before.item("own-insole").levels
    assert after.digest != before.digest


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("product,size\n", "count"),
        ("product,size,count\nown-insol,265,1\n", "did you mean `own-insole`"),
        ("product,size,count\nown-insole,270,1\n", "not made in size"),
        ("product,size,count\nown-insole,265,-1\n", "whole number"),
        ("product,size,count\nown-insole,265,\n", "whole number"),
        ("product;size;count\nown-insole;265;1\nown-insole;265;2\n", "stands twice"),
    ],
)
def test_a_stock_list_that_does_not_fit_names_its_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, words: str
) -> None:
    """Nothing is guessed from a stock list."""
    _stock(tmp_path, monkeypatch, text)
    with pytest.raises(InputError) as caught:
        open_catalogue(open_rulebook(), [tmp_path / "own"])
    assert "stock.csv:" in str(caught.value)
    assert words in str(caught.value).lower()
