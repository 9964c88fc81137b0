# ruff: noqa: E501 - rules, products and the arithmetic stand in lines of their own, to be read as tables
"""The order worked on paper, and again in exact fractions from the written definitions.

The definitions are those of the manual's page on ranking, which are ours (assumptions); the
arithmetic here shares no code with the program's.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from pathlib import Path
from typing import Any

import pytest
import yaml

from recommend.catalogue import Catalogue, Item, load_catalogue
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.match.needs import Need, needs_of
from recommend.match.shortlist import Candidate, needs_fired, shortlist
from recommend.rulebook import Rulebook, load_rulebook
from recommend.visit import Visit
from tests import shipped
from tests.bench.ranking_agreement import disagreements
from tests.trail.random_visits import random_visit

# Needs that read nothing but what is told, so that they can be worked without any classification.
NEEDS = """
title: Needs of the paper examples
rules:
  - {id: walks, title: walks, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.for-walking, is: at-least, level: yes, strength: must}]}}
  - {id: stands, title: stands, when: {visit: purpose, is: standing-work}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.for-standing-work, is: at-least, level: yes, strength: must}]}}
  - {id: rolls, title: rolls, when: {pain: ankle-inner, is: yes}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.stability, is: at-least, level: mild, strength: prefer, weight: strong}]}}
  - {id: ball, title: ball, when: {pain: forefoot, is: yes}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.forefoot-rocker, is: at-least, level: mild, strength: prefer, weight: usual}]}}
  - {id: tendon, title: tendon, when: {pain: achilles, is: yes}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.drop, is: at-least, limit: drop-moderate, strength: prefer, weight: usual}]}}
  - {id: heavy, title: heavy, when: {measure: body-mass, is: above, limit: body-mass-heavy}, because: x,
     basis: {kind: assumption},
     then: {needs: [{attribute: shoe.torsion, is: at-least, level: medium, strength: prefer, weight: slight}]}}
  - {id: wide, title: wide, when: {visit: age-band, is: older}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: shoe.width, is: at-least, level: wide, strength: prefer, weight: strong}]}}
  - {id: heel, title: heel, when: {pain: heel, is: yes}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.cushion-heel, is: at-least, level: soft, strength: prefer, weight: strong},
                    {attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: prefer, weight: usual}]}}
  - {id: knee, title: knee, when: {pain: knee-inner, is: yes}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.wedge, is: above, limit: wedge-none, strength: never}]}}
"""
PRODUCTS = """
title: Invented products of the paper examples
products:
  - {id: ash, kind: shoe, title: Ash, stock: {265: 1}, attributes: {stability: none, wedge: 0, drop: 8,
     torsion: flexible, width: regular, forefoot-rocker: none, for-walking: yes, for-running: no,
     for-standing-work: no, for-children: no}}
  - {id: birch, kind: shoe, title: Birch, stock: {265: 1}, attributes: {stability: mild, wedge: 0, drop: 10,
     torsion: medium, width: wide, forefoot-rocker: mild, for-walking: yes, for-running: no,
     for-standing-work: no, for-children: no}}
  - {id: cedar, kind: shoe, title: Cedar, stock: {265: 1}, attributes: {stability: marked, wedge: 0, drop: 12,
     torsion: stiff, width: regular, forefoot-rocker: none, for-walking: yes, for-running: yes,
     for-standing-work: yes, for-children: no}}
  - {id: dogwood, kind: shoe, title: Dogwood, stock: {267.5: 1}, attributes: {stability: none, wedge: 0,
     drop: 6, torsion: medium, width: wide, forefoot-rocker: none, for-walking: yes, for-running: no,
     for-standing-work: no, for-children: no}}
  - {id: pine, kind: insole, title: Pine, stock: {265: 1}, attributes: {wedge: 0, arch-medial: none,
     arch-lateral: none, arch-transverse: none, arch-firmness: soft, arch-height: low,
     cushion-heel: soft, heel-cup: 14}}
  - {id: quince, kind: insole, title: Quince, stock: {265: 1}, attributes: {wedge: 2, arch-medial: full,
     arch-lateral: none, arch-transverse: none, arch-firmness: medium, arch-height: medium,
     cushion-heel: medium, heel-cup: 12}}
  - {id: rowan, kind: insole, title: Rowan, stock: {265: 1}, attributes: {wedge: 0, arch-medial: full,
     arch-lateral: none, arch-transverse: none, arch-firmness: soft, arch-height: low,
     cushion-heel: soft, heel-cup: 10}}
"""

# What each does that nobody asked for, by weight x share of the tolerance:
#   birch   stability mild 2 x 1/2 + rocker mild 2 x 1/2            = 2
#   cedar   stability marked 2 x 2/2 + running 1 + standing work 1  = 4
#   dogwood one step of 2.5 mm too long: 2, and that is fit; it does nothing unasked. Up to 2 a shoe
#           fits well, so it stands where the sum of fit and the rest puts it; of two alike the one
#           that fits better comes first
#   quince  wedge 4 x 2/4 + inner arch 1 x 2/2 + firmness 1/2 + height 1/2 = 4
#   rowan   inner arch 1 x 2/2                                      = 1
# Where nothing asks for a shoe, or an insole, each of the shop's is 1 more.
PAPER: list[tuple[dict[str, Any], str, list[tuple[str, float, float]]]] = [
    # nothing asked but a shoe to walk in: 0 + 1, 2 + 1, 4 + 1; the long one 2 + 1, behind birch,
    # which weighs as much and fits better. All fit well: none has more than 2 against its fit
    ({}, "shoe", [("own-shoes", 0, 0), ("ash", 0, 1), ("birch", 0, 3), ("dogwood", 2, 1), ("cedar", 0, 5)]),
    # stability mild, strong: ash and dogwood are one step of two short, 4 x 1/2 = 2; of birch only
    # the rocker is left, 1; cedar is one step beyond, 2 x 1/2, with its two uses 3
    ({"pain": "ankle-inner"}, "shoe", [("birch", 0, 1), ("ash", 0, 2), ("cedar", 0, 3), ("dogwood", 2, 2)]),
    # a mild rocker, usual: ash is one of two steps short, 2 x 1/2 = 1; birch has its stability, 1;
    # the same weight, so the wish decides; cedar 1 + 4
    ({"pain": "forefoot"}, "shoe", [("birch", 0, 1), ("ash", 0, 1), ("dogwood", 2, 1), ("cedar", 0, 5)]),
    # drop 10, tolerance 6: 8 is 2/6 short, met by 4/6, told as 2/4: 2 x 1/2 = 1; 6 is 4/6 short,
    # met by 2/6, told as 1/4: 2 x 3/4 = 1.5
    ({"pain": "achilles"}, "shoe", [("ash", 0, 1), ("birch", 0, 2), ("dogwood", 2, 1.5), ("cedar", 0, 4)]),
    # twist stiffness medium, slight: only ash is one of two steps short, 1 x 1/2
    ({"body-mass-kg": 110}, "shoe", [("ash", 0, 0.5), ("birch", 0, 2), ("dogwood", 2, 0), ("cedar", 0, 4)]),
    # wide, strong, and that is fit: regular is one of two steps short, 4 x 1/2 = 2; ash and dogwood
    # are even; nothing asks for another shoe: 1 more each
    ({"age-band": "older"}, "shoe",
     [("own-shoes", 0, 0), ("birch", 0, 3), ("ash", 2, 1), ("dogwood", 2, 1), ("cedar", 2, 5)]),
    # only cedar is made for standing work, which then is asked for: 4 - 1 + 1
    ({"purpose": "standing-work"}, "shoe", [("own-shoes", 0, 0), ("cedar", 0, 4)]),
    # soft heel 4, cup of 14 mm 2, tolerance 8: quince 4 x 1/2 + 2 x 1/4 + 4; rowan 2 x 1/2 + 1
    ({"pain": "heel"}, "insole", [("pine", 0, 0), ("rowan", 0, 2), ("quince", 0, 6.5)]),
    # and a wedge is out with pain inside the knee
    ({"pain": "heel knee-inner"}, "insole", [("pine", 0, 0), ("rowan", 0, 2)]),
    # nothing asks for an insole: 1 more for each, and none at all comes first
    ({}, "insole", [("no-insole", 0, 0), ("pine", 0, 1), ("rowan", 0, 2), ("quince", 0, 5)]),
]  # fmt: skip


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> tuple[Rulebook, Catalogue]:
    """The shipped rulebook with the needs above in place of its own, and the products."""
    folder = tmp_path_factory.mktemp("paper") / "rules"
    shutil.copytree(shipped_folder("rules"), folder)
    shutil.rmtree(folder / "need")
    shutil.rmtree(folder / "translations", ignore_errors=True)
    (folder / "need").mkdir()
    (folder / "need" / "paper.yaml").write_text(NEEDS, "utf-8")
    shop = folder.parent / "shop"
    shop.mkdir()
    (shop / "paper.yaml").write_text(PRODUCTS, "utf-8")
    book = load_rulebook(folder)
    read = load_catalogue(shop, book.attributes)
    return book, replace(read, items=tuple(_plain(item, book) for item in read.items))


def _plain(item: Item, book: Rulebook) -> Item:
    """The product, plain in every attribute that the paper does not speak of."""
    plain = {
        name: one.plain_level
        for name, one in book.attributes.items()
        if name.startswith(f"{item.product.kind}.") and one.plain_level is not None
    }
    return replace(item, levels={**plain, **item.levels})


@pytest.mark.parametrize(("told", "group", "expected"), PAPER)
def test_the_order_worked_on_paper(
    paper: tuple[Rulebook, Catalogue],
    told: dict[str, Any],
    group: str,
    expected: list[tuple[str, float, float]],
) -> None:
    """Fit and function of every product in order, as reckoned by hand above."""
    book, catalogue = paper
    told = dict(told)
    pain = [{"site": site, "side": "both", "score": 2} for site in told.pop("pain", "").split()]
    foot = {"foot-length-mm": 265}
    visit = Visit.model_validate(
        {"reference": "P-1", "purpose": "walking", "age-band": "adult", "pain": pain,
         "answers": {name: one.calm for name, one in book.questions.items()},
         "feet": {"left": foot, "right": foot}, **told}
    )  # fmt: skip
    ranked = shortlist(assess(visit, book), book, catalogue).ranked[group]  # type: ignore[index]
    assert [(one.id, one.fit, one.function) for one in ranked] == expected


# --- again, in exact fractions ------------------------------------------------------------------


class Written:
    """What the files of the shipped rulebook say, read as plain YAML."""

    def __init__(self) -> None:
        folder = shipped_folder("rules")
        attributes = yaml.safe_load((folder / "attributes.yaml").read_text("utf-8"))
        self.attributes = {
            f"{kind}.{name}": one
            for kind in ("shoe", "insole", "pair")
            for name, one in attributes[kind].items()
        }
        self.rank = self._values(folder / "parameters" / "rank.yaml")
        self.sizing = self._values(folder / "parameters" / "sizing.yaml")

    def _values(self, file: Path) -> dict[str, Fraction]:
        values = yaml.safe_load(file.read_text("utf-8"))["values"]
        return {name: Fraction(str(one["value"])) for name, one in values.items()}

    def level(self, attribute: str, stated: Any) -> Fraction:
        """A level as a number: its value, or the step of its scale."""
        words = {True: "yes", False: "no", None: "none"}
        scale = [words.get(step, step) for step in self.attributes[attribute].get("scale", {})]
        stated = words.get(stated, stated) if scale else stated
        return Fraction(scale.index(stated)) if scale else Fraction(str(stated))

    def missed(self, need: Need, level: float | None) -> Fraction:
        """How much of a wish is missed, told in steps."""
        if level is None:
            return Fraction(1)
        short = Fraction(str(level)) - Fraction(str(need.target))
        if need.comparison in ("at-least", "above"):
            short = -short
        if short < 0 or (short == 0 and need.comparison in ("at-least", "at-most")):
            return Fraction(0)
        near = max(
            Fraction(0), 1 - short / Fraction(str(self.attributes[need.attribute]["tolerance"]))
        )
        steps = self.rank["met-steps"]
        return 1 - Fraction(floor(near * steps)) / steps

    def beyond(self, candidate: Candidate, needs: tuple[Need, ...]) -> Fraction:
        """Weight of what a candidate does that nobody asked for."""
        total = Fraction(0)
        for part in candidate.parts:
            if part.offered != "shop":
                continue
            for name, one in self.attributes.items():
                if name.startswith(f"{part.product.kind}.") and "plain" in one:
                    total += self._beyond(name, one, part.levels.get(name), needs)
        return total

    def _beyond(
        self, name: str, one: Any, level: float | None, needs: tuple[Need, ...]
    ) -> Fraction:
        low = high = self.level(name, one["plain"])
        for need in needs:
            if need.attribute == name and need.strength != "never":
                if need.comparison in ("at-least", "above"):
                    high = max(high, Fraction(str(need.target)))
                else:
                    low = min(low, Fraction(str(need.target)))
        weight = self.rank[f"weight-{one['unasked']}"]
        if level is None:
            return weight
        at = Fraction(str(level))
        part = min(1, max(0, at - high, low - at) / Fraction(str(one["tolerance"])))
        steps = self.rank["met-steps"]
        return weight * -Fraction(floor(-part * steps)) / steps


WRITTEN = Written()


def _on_paper(
    candidate: Candidate, needs: tuple[Need, ...], wanted: Fraction
) -> tuple[Fraction, Fraction]:
    """Fit and function of one of the shop's candidates, but for the weight of buying at all."""
    fit = function = Fraction(0)
    for verdict in candidate.judgement.verdicts:
        need = verdict.need
        if need.strength == "prefer" and need in needs:
            missed = Fraction(str(need.weight)) * WRITTEN.missed(need, verdict.level)
            if WRITTEN.attributes[need.attribute].get("about") == "fit":
                fit += missed
            else:
                function += missed
    for part, sized in zip(candidate.parts, candidate.sized, strict=True):
        if part.product.kind == "insole":
            continue  # it is cut to the shoe
        over = Fraction(str(sized.size)) - wanted
        steps = max(0, floor(over / WRITTEN.sizing["length-step"]))
        fit += WRITTEN.rank["weight-length"] * steps
    return fit, function + WRITTEN.beyond(candidate, needs)


def _keys(fit: Fraction, function: Fraction) -> tuple[int, Fraction, Fraction]:
    """What orders them: the tier of fit, the sum of all that speaks against, then the fit."""
    well = WRITTEN.rank["fits"]
    return max(0, ceil((fit - well) / well)), fit + function, fit


@pytest.mark.parametrize("start", range(0, 200, 20))
def test_the_order_is_that_of_exact_fractions(start: int) -> None:
    """Of 200 random visits, what the shop has stands in the order of fit, then all else."""
    book, shop = shipped.book(), shipped.shop()
    for seed in range(start, start + 20):
        assessment = assess(random_visit(book, seed, calm=True), book)
        listed = shortlist(assessment, book, shop)
        needs = needs_of(book, needs_fired(assessment)).needs
        if listed.wanted.length is None:
            assert not any(listed.ranked.values())
            continue
        wanted = Fraction(str(listed.wanted.length))
        for ranked in (listed.ranked["shoe"], listed.ranked["insole"], listed.ranked["pair"][:60]):
            bought = [c for c in ranked if all(part.offered == "shop" for part in c.parts)]
            reckoned = [_keys(*_on_paper(one, needs, wanted)) for one in bought]
            assert reckoned == sorted(reckoned)


def test_many_are_ranked_as_one_visit_is() -> None:
    """Forty drawn customers: the same groups in the same order by columns and by the written visit.

    `python -m tests.bench.ranking_agreement` does so for 2,000.
    """
    assert disagreements(40) == []
