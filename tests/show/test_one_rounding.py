"""One number has one rounding, whichever screen or page it stands on."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import recommend.catalogue.shop as catalogue
from recommend.cli import main
from recommend.infer.assess import assess
from recommend.measure.named import read_measured_visit
from tests.reading.corpus import run_in_process
from tests.shipped import book
from tests.shipped import shop as demo_shop

DEMO = Path(__file__).parents[2] / "catalogue_demo"
NUMBER = re.compile(r"(?<![\w.,])[-−+]?(\d+\.\d+)(?![\w.])")
DRAWN = re.compile(r"(?s)<svg.*?</svg>|<style.*?</style>|<[^>]*>")  # coordinates are no readings


@pytest.mark.parametrize("name", ["visits/pronated.yaml", "trials/three-much-alike.yaml"])
def test_a_reading_has_as_many_decimals_on_every_screen(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No screen or page of a visit prints a reading, or its error, finer than the others do."""
    for key, value in {"STORE": tmp_path / "r.sqlite", "VISITS": tmp_path}.items():
        monkeypatch.setenv(f"RECOMMEND_{key}", str(value))
    monkeypatch.setattr(catalogue, "prepared_rulebook", lambda _folder: book())
    monkeypatch.setattr(catalogue, "prepared_catalogue", lambda *_: demo_shop())
    visit = tmp_path / "A-1_2025-05-12.yaml"
    shutil.copy(DEMO / name, visit)
    known = list(readings(visit))
    wrong, seen = [], 0
    for words in screens(visit, tmp_path, tried="trials" in name):
        with pytest.raises(SystemExit):
            main(words)
        pages = [file.read_text("utf-8") for file in tmp_path.glob("*.html")]
        text = DRAWN.sub(" ", "\n".join([capsys.readouterr().out, *pages]))
        for found in NUMBER.finditer(text):
            places, value = len(found[1].partition(".")[2]), float(found[1])
            for what, reading, usual in known:
                near = abs(value - reading) <= 0.5 * 10.0**-places + 1e-9
                seen += near and places == usual
                if near and places > usual and float(f"{reading:.{usual}f}") != value:
                    around = text[max(0, found.start() - 50) : found.end() + 20]
                    wrong.append(f"{' '.join(words[:2])}: {what} as {found[1]} in {around!r}")
    assert seen > len(known)  # they are printed at all
    assert not wrong


def readings(visit: Path) -> Iterator[tuple[str, float, int]]:
    """Every numeric reading of a visit and its error: name, size, decimals that it is shown with.

    Only those that cannot be taken for another number: with more decimals than are shown.
    """
    seen = read_measured_visit(
        visit, book().questions, book().parameters, book().measures, book().purposes
    )
    for side, foot in assess(seen, book()).feet.items():
        for name, one in foot.measures.items():
            places = book().measures[name].decimals
            if isinstance(one.value, (int, float)):
                yield f"{side} {name}", abs(float(one.value)), places
            if one.error:
                yield f"error of {side} {name}", float(one.error), max(places, 1)


def screens(visit: Path, folder: Path, *, tried: bool) -> Iterator[list[str]]:
    """The command lines that show a visit: what was `tried`, or why something was listed."""
    yield ["sheet", str(visit), "--to", str(folder / "page.html")]
    yield ["compare", str(visit), "own-shoes", "--full"]
    if tried:
        yield ["trial", str(visit), "--full", "--no-pager"]
        yield ["trial", "plan", str(visit)]
        return
    yield ["shortlist", str(visit), "--keep"]
    yield ["shortlist", str(visit), "--full", "--no-pager"]
    yield ["explain", "last"]
    yield ["explain", "last", "--full"]
    yield ["explain", "last", "--html", str(folder / "why.html")]
    yield ["visit", "history", "A-1"]


def test_what_a_product_did_has_one_decimal_wherever_it_is_told() -> None:
    """A change in degrees is told to a tenth, on the screen of effects as on a customer's."""
    trials = str(DEMO / "trials")
    told = run_in_process(["effects", trials]).stdout
    rows = re.findall(r"^(\S+) +peak +\d+ +(\S+) \((\S+) to (\S+)\)", told, re.MULTILINE)
    exact = [
        (one["product"], one["effects"]["peak"]["on-average"])
        for one in json.loads(run_in_process(["effects", trials, "--json"]).stdout)["effects"]
    ]
    assert sorted(rows) == sorted(
        (product, *(f"{at[key]:+.1f}".replace("-0.0", "0.0") for key in ("value", "low", "high")))
        for product, at in exact
    )
    visit = str(DEMO / "visits" / "pronated.yaml")
    shown = run_in_process(["shortlist", visit, "--learned", trials, "--full", "--no-pager"]).stdout
    assert not re.findall(r"\d\.\d\d+ ?(?:°|degrees)", told + shown)


def test_a_share_has_one_decimal_wherever_the_buyer_reads_it() -> None:
    """The share served, and not served, is one number on every screen; none is finer than 0.1 %."""
    asked = ["--customers", "300"]
    short, full, gaps, told = (
        run_in_process(words).stdout
        for words in (
            ["coverage", *asked],
            ["coverage", *asked, "--full"],
            ["gaps", *asked],
            ["coverage", *asked, "--json"],
        )
    )
    served = 100 * json.loads(told)["served"]["value"]
    assert 0.1 < served * 10 % 1 < 0.9  # a whole number of tenths would tell nothing
    found = [re.findall(r"Serves ([\d.]+) %|as written +([\d.]+) %", one) for one in (short, full)]
    said = [one or other for pairs in found for one, other in pairs]
    assert said == [f"{served:.1f}"] * 3
    assert re.findall(r"([\d.]+) % of customers are not served", gaps) == [f"{100 - served:.1f}"]
    assert not re.findall(r"\d+\.\d\d+ %", short + full + gaps)
