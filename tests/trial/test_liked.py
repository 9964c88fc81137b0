from __future__ import annotations

from io import StringIO
from statistics import fmean
from typing import Any

import pytest
from rich.console import Console

from recommend.measure.model import Side
from recommend.parameters import Parameters
from recommend.show.effects import liked_blocks
from recommend.trial.came_back import Liked, liked
from recommend.visit import Visit
from tests import shipped


def kinds(_visit: Visit) -> dict[Side, str | None]:
    """The left foot neutral, the right one not known."""
    return {"left": "neutral", "right": None}


def tried(left: float) -> Visit:
    """One try-on of an insole in the own shoe, rated on both feet."""
    feet = {
        "left": {"comfort": {"overall": left}},
        "right": {"comfort": {"heel": 3, "arch": 7}},
    }
    step = {"shoe": "own", "insole": "i-1", "feet": feet}
    return Visit.model_validate({"reference": f"T-{left}", "trials": [step]})


def again(before: list[Any] | None, now: list[Any] | None, **more: Any) -> Visit:
    """A customer who comes back after wearing the insole in the own shoe."""
    answers = more.pop("answers", {})
    since = {"of": "T_2026-02-05", "shoe": "own", "insole": "i-1", **more}
    since |= {} if before is None else {"pain-sites-before": before}
    read = {"reference": "T", "answers": answers, "follow-up": since}
    return Visit.model_validate(read | ({} if now is None else {"pain": now}))


def by_kind(visits: list[Visit], parameters: Parameters) -> dict[str, Liked]:
    """The rows of the one product by foot type."""
    rows = liked(visits, kinds, parameters)
    assert {one.product for one in rows} == {"i-1"}
    return {one.foot_type: one for one in rows}


def test_comfort_is_counted_by_product_and_kind_of_foot(parameters: Parameters) -> None:
    """Two visits worked by hand: means, feet and hurts; the own shoe is no product."""
    rows = by_kind([tried(8), tried(6)], parameters)
    assert [(kind, len(one.tried), one.hurt) for kind, one in rows.items()] == [
        ("", 2, 2),
        ("neutral", 2, 0),
    ]
    assert [fmean(one.tried) for one in rows.values()] == [pytest.approx(5.0), pytest.approx(7.0)]
    assert not any(one.worn or one.returned_known or one.new_pain_known for one in rows.values())


def test_returns_and_new_pain_count_on_the_foot_that_tells_of_them(parameters: Parameters) -> None:
    """Four who came back, by hand: left forefoot new and given back; none; no place; not asked."""
    heel, forefoot = ({"site": s, "side": "left", "score": 4} for s in ("heel", "forefoot"))
    visits = [
        again([heel], [heel, forefoot], returned="yes", comfort={"overall": 3}),
        again([heel], [heel], returned="no", feet={"left": {"comfort": {"overall": 9}}}),
        again(None, None, answers={"new-pain": "yes"}),  # of which the place is not known: both
        again(None, None),
    ]
    left, right = (by_kind(visits, parameters)[kind] for kind in ("neutral", ""))
    assert (left.new_pain, left.new_pain_known) == (2, 3)
    assert (right.new_pain, right.new_pain_known) == (1, 3)
    for foot in (left, right):
        assert (foot.returned, foot.returned_known) == (1, 2)
    assert (left.worn, right.worn) == ([3, 9], [3])
    assert not left.tried


def test_the_table_says_what_nobody_told_by_a_dash(parameters: Parameters) -> None:
    """A product that was tried and of which nobody came back has no count of 0 in its place."""
    out = Console(width=80, record=True, file=StringIO())
    for block in liked_blocks(liked([tried(8)], kinds, parameters), shipped.book()):
        out.print(block)
    rows = [line.split() for line in out.export_text().splitlines() if "i-1" in line]
    assert [row[-7:] for row in rows] == [
        ["1", "5.0", "1", "0", "-", "-", "-"],
        ["1", "8.0", "0", "0", "-", "-", "-"],
    ]
