"""The decision: written into the visit, off the stock list, back again, and on to the follow-up."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from unittest import mock

import pytest

from recommend.visit import read_visit
from tests.reading.corpus import Result, run_in_process
from tests.shipped import book

DEMO = (
    Path(__file__).parents[2] / "catalogue_demo" / "visits" / "pronated-high-arch-late-medial.yaml"
)


@pytest.fixture
def visits(tmp_path: Path) -> Iterator[Path]:
    """A folder of visits with one visit, and a stock list, empty yet, that the settings name."""
    code = "QB-0105"
    (tmp_path / "stock.csv").write_text("product,size,count\n", "utf-8")
    (tmp_path / f"{code}_2026-03-05.yaml").write_text(DEMO.read_text("utf-8"), "utf-8")
    named = {
        "RECOMMEND_VISITS": str(tmp_path),
        "RECOMMEND_STOCK": str(tmp_path / "stock.csv"),
        "RECOMMEND_SETTINGS": str(tmp_path / "settings.toml"),
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
    }
    with mock.patch.dict(os.environ, named):
        yield tmp_path


def offered() -> tuple[str, str, float]:
    """Shoe, insole and size of the first choice, from the JSON of the shortlist."""
    import json

    shown = json.loads(run_in_process(["shortlist", "QB-0105", "--json"]).stdout)
    first = shown["shortlist"]["pair"]["groups"][0]["members"][0]
    shoe, insole = first["id"].split("+")
    return shoe, insole, first["sizes"][0]["size"]


def stock(folder: Path, shoe: str, insole: str, size: float, count: int) -> Path:
    """A stock list with a comment column, as a shop's till might write it."""
    file = folder / "stock.csv"
    rows = [f"{shoe},{size:g},{count},shelf 3", f"{insole},{size:g},{count},drawer"]
    file.write_text(
        "product,size,count,where\r\n" + "\r\n".join(rows) + "\r\n", "utf-8", newline=""
    )
    return file


def decide(*answers: str) -> Result:
    """Write a decision without being asked."""
    options = [part for one in answers for part in ("--answer", one)]
    return run_in_process(["visit", "decide", "QB-0105", *options])


def test_what_is_sold_leaves_the_stock_list_and_stands_in_the_visit(visits: Path) -> None:
    """One pair of each off the list, every other byte as it was; the visit holds all of it."""
    shoe, insole, size = offered()
    file = stock(visits, shoe, insole, size, 4)
    done = decide("decision=sold", "chosen-shoe=a", "chosen-insole=a", "fitter=F2", "back-on=3")
    assert done.code == 0, done.stderr
    assert file.read_bytes().decode() == (
        f"product,size,count,where\r\n{shoe},{size:g},3,shelf 3\r\n{insole},{size:g},3,drawer\r\n"
    )
    decision = read_visit(visits / "QB-0105_2026-03-05.yaml").decision
    assert decision is not None
    assert (decision.outcome, decision.shoe, decision.insole) == ("sold", shoe, insole)
    assert (decision.shoe_size.left, decision.fitter) == (size, "F2")
    assert decision.stock_file == "lowered"
    again = decide("decision=sold", "chosen-shoe=a", "chosen-insole=a")
    assert again.code == 2
    assert "--undo" in again.stderr


def test_undo_puts_the_stock_back(visits: Path) -> None:
    """After --undo the list is byte for byte what it was before."""
    file = stock(visits, *offered(), 4)
    before = file.read_bytes()
    assert decide("decision=sold", "chosen-shoe=a", "chosen-insole=a").code == 0
    assert file.read_bytes() != before
    assert run_in_process(["visit", "decide", "QB-0105", "--undo"]).code == 0
    assert file.read_bytes() == before


@pytest.mark.parametrize("outcome", ["ordered", "reserved", "to-try", "nothing"])
def test_what_is_not_sold_leaves_the_stock_alone(visits: Path, outcome: str) -> None:
    """Ordered, reserved, taken to try or nothing: no count changes."""
    file = stock(visits, *offered(), 4)
    before = file.read_bytes()
    chosen = () if outcome == "nothing" else ("chosen-shoe=a", "chosen-insole=a")
    assert decide(f"decision={outcome}", *chosen).code == 0
    assert file.read_bytes() == before


def test_two_sizes_take_two_pairs(visits: Path) -> None:
    """A shoe in a size for each foot leaves the list in both sizes."""
    shoe, _, size = offered()
    file = visits / "stock.csv"
    file.write_text(f"product;size;count\n{shoe};{size:g};2\n{shoe};{size - 5:g};1\n", "utf-8")
    done = decide("decision=sold", f"chosen-shoe={shoe}", f"chosen-shoe-size={size - 5:g} {size:g}")
    assert done.code == 0, done.stderr
    counts = re.findall(r";(\d+)$", file.read_text("utf-8"), re.MULTILINE)
    assert counts == ["1", "0"]


def test_a_letter_is_the_whole_pair_and_a_box_is_called_as_on_the_box(
    visits: Path,
) -> None:
    """`b` takes the insole of b, not of a; `EU 43` is the size whose box says so."""
    import json

    shown = json.loads(run_in_process(["shortlist", "QB-0105", "--json"]).stdout)
    screen = run_in_process(["shortlist", "QB-0105"]).stdout
    assert re.search(r"\bb  ", screen)
    groups = shown["shortlist"]["pair"]["groups"]
    second = [one["id"] for group in groups for one in group["members"]][1]
    assert decide("decision=reserved", "chosen-shoe=b", "chosen-shoe-size=EU 43").code == 0
    decision = read_visit(visits / "QB-0105_2026-03-05.yaml").decision
    assert decision is not None
    assert f"{decision.shoe}+{decision.insole}" == second
    # Paris points are 2/3 cm of the last, which is longer than the foot by the shop's allowance.
    allowance = book().parameters.sizing.toe_allowance
    assert decision.shoe_size.left is not None
    assert abs((decision.shoe_size.left + allowance) * 3 / 20 - 43) <= 0.25


def test_what_is_not_there_is_not_sold_and_nothing_is_written(visits: Path) -> None:
    """More sold than the list holds: exit code 2 with its line; visit and list as before."""
    shoe, insole, size = offered()
    file = stock(visits, shoe, insole, size, 0)
    visit = visits / "QB-0105_2026-03-05.yaml"
    before = file.read_bytes(), visit.read_bytes()
    done = decide("decision=sold", f"chosen-shoe={shoe}", f"chosen-shoe-size={size:g}")
    assert done.code == 2
    assert "stock.csv:2" in done.stderr
    assert (file.read_bytes(), visit.read_bytes()) == before


def test_the_follow_up_offers_what_was_sold_and_the_page_names_it(visits: Path) -> None:
    """What left the shop stands in the next visit's brackets and on the customer's page."""
    from datetime import date

    from recommend.visit.coming_back import begun_again

    shoe, insole, _ = offered()
    done = decide("decision=to-try", "chosen-shoe=a", "chosen-insole=a", "back-on=2026-12-20")
    assert done.code == 0, done.stderr
    file = visits / "QB-0105_2026-03-05.yaml"
    begun = begun_again(read_visit(file), file.stem, date(2026, 12, 20))
    assert (begun["follow-up"]["shoe"], begun["follow-up"]["insole"]) == (shoe, insole)
    assert run_in_process(["sheet", "QB-0105", "--to", str(visits / "page.html")]).code == 0
    page = (visits / "page.html").read_text("utf-8")
    assert "20 December 2026" in page


def test_ten_edits_of_one_visit_at_once_all_land(visits: Path) -> None:
    """Each program reads, changes and writes under a lock: no confirmed change is lost."""
    names = [
        "foot-length.left", "foot-length.right", "heel-width.left", "heel-width.right",
        "forefoot-width.left", "forefoot-width.right", "body-mass", "navicular-sitting.left",
    ]  # fmt: skip
    values = ["271", "268", "64", "65", "101", "100", "79", "57"]
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "recommend", "visit", "edit", "QB-0105", name, value],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for name, value in zip(names, values, strict=True)
    ]  # fmt: skip
    for one in running:
        assert one.wait(timeout=120) == 0, one.communicate()
    visit = read_visit(visits / "QB-0105_2026-03-05.yaml")
    left, right = visit.feet.left, visit.feet.right
    assert left.navicular_height_mm is not None
    assert left.navicular_height_mm.sitting
    found = [
        left.foot_length_mm, right.foot_length_mm, left.heel_width_mm, right.heel_width_mm,
        left.forefoot_width_mm, right.forefoot_width_mm, visit.body_mass_kg,
        left.navicular_height_mm.sitting[0],
    ]  # fmt: skip
    assert found == [float(value) for value in values]


def test_an_old_remark_with_a_number_sign_is_replaced_whole(visits: Path) -> None:
    """A ` #` inside quotes belongs to the remark; a comment behind the value stays."""
    file = visits / "QB-0105_2026-03-05.yaml"
    text = file.read_text("utf-8") + '\nremarks: "asked for shoe #3 again" # told twice\n'
    file.write_text(text, "utf-8")
    done = run_in_process(["visit", "edit", "QB-0105", "remarks", "wants a soft shoe"])
    assert done.code == 0, done.stderr
    last = file.read_text("utf-8").splitlines()[-1]
    assert last == 'remarks: "wants a soft shoe" # told twice'


def test_the_page_names_the_size_of_each_foot(visits: Path) -> None:
    """What was handed over in two sizes stands in two sizes on the page, not in the larger."""
    shoe, _, size = offered()
    told = (f"chosen-shoe={shoe}", f"chosen-shoe-size={size - 5:g} {size:g}")
    assert decide("decision=ordered", *told).code == 0
    page = visits / "page.html"
    assert run_in_process(["sheet", "QB-0105", "--to", str(page)]).code == 0
    text = page.read_text("utf-8")
    assert f"Mondopoint {size - 5:g} mm" in text
    assert f"Mondopoint {size:g} mm" in text
