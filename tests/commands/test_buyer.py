"""The buyer's commands: what they print, write and refuse."""

import csv
import json
import os
import shutil
from pathlib import Path

import pytest

from recommend.cli import main
from recommend.extras import shipped_folder
from tests.reading.corpus import run_in_process

SUPPLIER = shipped_folder("catalogue_demo") / "supplier"
FEW = ["--customers", "400"]
QUICK = [*FEW, "--no-sensitivity"]
LIST = ["--candidates", str(SUPPLIER / "list.csv"), "--mapping", str(SUPPLIER / "mapping.yaml")]


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of one command."""
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    out = capsys.readouterr()
    return int(ended.value.code or 0), out.out, out.err


def test_coverage_fits_eighty_columns_and_leads_with_the_headline(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The share served with its interval stands before everything it rests on."""
    code, out, _ = run(capsys, "coverage", *FEW, "--full")
    lines = out.splitlines()
    assert code == 0
    assert max(map(len, lines)) <= 80
    headline = out.index("95 % interval")
    for later in ("Where most are lost", "correlations", "Foot type by size", "Sizes missing"):
        assert headline < out.index(later)
    assert "No visit of this shop stands behind them" in " ".join(out.split())
    assert "\x1b" not in out
    first = lines[:24]
    assert "Where most are lost" in first
    assert any(line.startswith("  2. ") for line in first)


def test_the_buyer_gets_an_answer_of_one_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """Unasked, coverage, gaps and orders fill no more than one screen, and say how to see all."""
    for name, told in (
        ("coverage", ("  3. ", "Leans most")),
        ("gaps", ("  1. ",)),
        ("order --season 400", ("Order ", "more: --full")),
    ):
        _, out, _ = run(capsys, *name.split(), *FEW)
        assert len(out.splitlines()) < 24
        assert "--full" in out
        assert all(words in out for words in told)
    _, across, _ = run(capsys, "coverage", *QUICK, "--split", "size,foot-type")
    assert "Foot type by size" in across
    _, split, _ = run(capsys, "coverage", *QUICK, "--split", "sex,size")
    assert "female" in split
    assert "Sizes missing" not in split


@pytest.mark.parametrize("show", ["share", "choices", "products", "prices", "stock"])
def test_the_matrix_shows_each_number_within_eighty_columns(
    capsys: pytest.CaptureFixture[str], show: str
) -> None:
    """Every number of a cell can be had on the screen."""
    code, out, _ = run(capsys, "coverage", *QUICK, "--matrix", show)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "upright foot" in out


def test_json_csv_and_picture_hold_the_same_matrix(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Cells of the JSON form are the rows of the CSV; the picture is drawn."""
    pytest.importorskip("matplotlib")
    table, picture = tmp_path / "cells.csv", tmp_path / "map.svg"
    code, out, _ = run(
        capsys, "coverage", *QUICK, "--json", "--csv", str(table), "--picture", str(picture)
    )
    document = json.loads(out)
    with table.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert code == 0
    assert document["format"] == 2
    assert len(rows) == len(document["cells"])
    shares = [cell["share"] for cell in document["cells"]]
    assert [float(row["share"]) for row in rows] == pytest.approx(shares)
    assert document["served"]["low"] <= document["served"]["value"] <= document["served"]["high"]
    assert picture.read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_the_shops_visits_are_named_on_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    """Alone, or moving the modelled population."""
    visits = str(shipped_folder("catalogue_demo") / "visits")
    count = len(list(Path(visits).glob("*.yaml")))
    alone, both = (
        run(capsys, "coverage", *counted, "--visits", visits, "--full")[1]
        for counted in (["--population", "shop"], QUICK)
    )
    assert f"Only the shop's own visits: {count}" in alone
    assert f"Moved towards {count} visits of this shop" in " ".join(both.split())


def test_against_another_catalogue_or_rulebook(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A table of what is won and lost by foot type."""
    shop = tmp_path / "shop"
    shop.mkdir()
    products = shipped_folder("catalogue_demo") / "products"
    for name in ("shoes-walking", "insoles-zero-wedge"):
        shutil.copy(products / f"{name}.yaml", shop)
    _, catalogue, _ = run(capsys, "coverage", *QUICK, "--against", str(shop))
    rules = str(shipped_folder("rules"))
    _, rulebook, _ = run(capsys, "coverage", *QUICK, "--against-rules", rules)
    # A long path is wrapped anywhere, also right after the words before it.
    assert "".join(f"Compared with {shop}".split()) in "".join(catalogue.split())
    won = next(line for line in catalogue.splitlines() if "all feet" in line).split("%")
    assert float(won[3].split()[-1]) > 0
    assert float(won[4].split()[-1]) == 0
    line = next(line for line in rulebook.splitlines() if "all feet" in line)
    assert line.split()[-4:] == ["0.0", "%", "0.0", "%"]


def test_gaps_briefs_candidates_and_lines_to_drop(capsys: pytest.CaptureFixture[str]) -> None:
    """Each question is answered in sentences, within eighty columns."""
    code, out, _ = run(capsys, "gaps", *FEW, "--briefs", "2")
    assert code == 0
    assert "What to look for" in out
    _, chosen, _ = run(capsys, "gaps", *FEW, *LIST, "--lines", "2")
    assert "integer program" in chosen
    _, bought, _ = run(capsys, "gaps", *FEW, *LIST, "--budget", "1500")
    assert "EUR" in bought
    _, gone, _ = run(capsys, "gaps", *FEW, "--drop", "2")
    assert "Without these 2 lines" in gone
    _, one, _ = run(capsys, "gaps", *FEW, *LIST, "--lines", "1")
    assert "with this 1 line." in one
    assert "cost" not in one
    assert "cost" in bought
    for text in (out, chosen, bought, gone):
        assert max(map(len, text.splitlines())) <= 80
        assert "rulebook 2." in " ".join(text.split())
    _, data, _ = run(capsys, "gaps", *FEW, *LIST, "--lines", "2", "--json")
    assert json.loads(data)["selection"]["method"] == "exact"


def test_import_writes_a_catalogue_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The invented list becomes a catalogue that can be covered with."""
    into = tmp_path / "supplier.yaml"
    args = ["import", str(SUPPLIER / "list.csv"), "--mapping", str(SUPPLIER / "mapping.yaml")]
    code, out, _ = run(capsys, *args, "--into", str(into))
    assert (code, "10 products" in out) == (0, True)
    code, out, _ = run(capsys, "coverage", *QUICK, "--catalogue", str(tmp_path))
    assert "6 shoes, 4 insoles" in " ".join(out.split())
    code, _, problem = run(capsys, *args, "--into", str(into))
    assert (code, "exists already" in problem) == (2, True)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["coverage", "--population", "shop"], "--visits"),
        (["coverage", "--against", "a", "--against-rules", "b"], "exclude each other"),
        (["coverage", *QUICK, "--picture", "map.txt"], "is no picture"),
        (["coverage", "--feet", "none.parquet", "--no-sensitivity"], "no such file"),
        (["coverage", "--feet", "none.parquet", "--population", "both"], "leave out"),
        (["coverage", "--catalogue", "nowhere"], "nowhere"),
        (["gaps", *LIST], "--lines N and --budget"),
        (["gaps", "--lines", "3"], "--candidates"),
        (["gaps", *LIST, "--lines", "1", "--drop", "1"], "exclude each other"),
        (["gaps", "--candidates", str(SUPPLIER / "list.csv"), "--lines", "1"], "--mapping"),
        (
            ["import", "none.csv", "--mapping", str(SUPPLIER / "mapping.yaml"), "--into", "x"],
            "none.csv",
        ),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str], args: list[str], words: str
) -> None:
    """Exit code 2, one line on stderr, no traceback."""
    code, _, problem = run(capsys, *args)
    assert code == 2
    assert words in problem
    assert "Traceback" not in problem


def test_a_stock_without_a_line_and_a_table_that_is_none_are_told(tmp_path: Path) -> None:
    """A heading alone names no product; a text, a pipe and a device are no Parquet."""
    stock, pipe = tmp_path / "stock.csv", tmp_path / "pipe"
    stock.write_text("product,size,count\n")
    os.mkfifo(pipe)
    done = run_in_process(["coverage", "--customers", "20", "--stock", str(stock)])
    assert (done.code, "no product is in this stock" in done.stderr) == (2, True)
    for one in (stock, pipe, Path("/dev/zero")):
        done = run_in_process(["coverage", "--feet", str(one)])
        assert done.code == 2
        assert len(done.stderr.splitlines()) == 1


def test_a_season_of_more_customers_than_there_are_is_refused() -> None:
    """What would fill the memory is one sentence that says what is allowed, not a traceback."""
    for words in (["order", "--season"], ["gaps", "--season"], ["store", "list", "--limit"]):
        done = run_in_process([*words, "9" * 30])
        assert done.code == 2
        assert "allowed: a whole number from 1 to" in done.stderr
    assert run_in_process(["visit", "new", "A-1", "--minutes", "inf"]).code == 2
