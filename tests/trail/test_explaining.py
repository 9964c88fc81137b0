"""Explanations reach from the shortlist line down to the source, and tell the truth."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from recommend.catalogue import Catalogue
from recommend.errors import RecommendError
from recommend.explain.explaining import Explanation
from recommend.explain.node import Node, Truth
from recommend.infer.engine import Engine
from recommend.match.outcome import Outcome
from recommend.rulebook import Rulebook
from recommend.show.explain import tree_lines
from recommend.visit import read_visit
from recommend.way import outcome_of
from tests.trail.conftest import DEMO
from tests.trail.random_visits import random_visit

GROUPS = {"all of these", "at least one of these", "none of these"}


def kleene(words: str, parts: list[Truth]) -> Truth:
    """Three-valued logic by its truth tables (Kleene 1952), written apart from the rulebook's."""
    if words == "none of these":
        return kleene("all of these", [None if p is None else not p for p in parts])
    if words == "at least one of these":
        opposite = kleene("all of these", [None if p is None else not p for p in parts])
        return None if opposite is None else not opposite
    if False in parts:
        return False
    return None if None in parts else True


def nodes(top: Node, kind: str) -> Iterator[Node]:
    """All nodes of a kind below `top`."""
    return (node for node in top.walk() if node.kind == kind)


@pytest.fixture(scope="module", params=DEMO, ids=lambda path: path.stem)
def outcome(
    request: pytest.FixtureRequest, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> Outcome:
    """Each demo visit in turn."""
    return outcome_of(read_visit(request.param), book, catalogue, engine)


def test_groups_follow_three_valued_logic(
    book: Rulebook, catalogue: Catalogue, engine: Engine
) -> None:
    """Each group of conditions has the truth that Kleene's tables give its parts."""
    count = 0
    for seed in range(15):
        visit = random_visit(book, seed)
        explanation = Explanation(outcome_of(visit, book, catalogue, engine))
        for rule in book.by_id:
            for node in nodes(explanation.rule(rule), "group"):
                if node.children:
                    assert node.truth == kleene(node.text, [c.truth for c in node.children])
                    count += 1
    assert count > 5_000


def test_a_rules_verdict_is_that_of_its_condition(outcome: Outcome) -> None:
    """What the engine said of a rule is what its condition, laid open, says."""
    explanation = Explanation(outcome)
    for rule in outcome.book.by_id:
        for foot in explanation.rule(rule).children:
            conditions = [
                c for c in foot.children if c.kind in ("group", "comparison", "axis", "answer")
            ]
            assert [c.truth for c in conditions] == [foot.truth]


def test_every_line_of_the_shortlist_is_explained(outcome: Outcome) -> None:
    """Each need of the first products rests on a fired rule with its basis."""
    if outcome.shortlist is None:
        pytest.skip("a stop withholds this shortlist")
    explanation = Explanation(outcome)
    for ranked in outcome.shortlist.ranked.values():
        for candidate in ranked[:1]:
            top = explanation.product(candidate.id)
            assert len(top.children) == len(candidate.judgement.verdicts)
            for need in top.children:
                assert need.children, need.text
                assert all(rule.truth is True for rule in need.children)
                assert all(any(nodes(rule, "basis")) for rule in need.children)


def test_a_type_reaches_down_to_reading_limit_and_source(outcome: Outcome) -> None:
    """Below a determined foot type stand readings with margins, limits with unit, and sources."""
    for side, foot in outcome.assessment.feet.items():
        if foot.foot_type is None:
            continue
        top = Explanation(outcome).feet[side].axis("foot-type")
        margins = [n for n in nodes(top, "comparison") if "margin" in n.facts]
        assert margins
        for node in margins:
            assert {child.kind for child in node.children} == {"measure", "limit"}
            assert node.facts["margin"] == node.facts["value"] - node.facts["limit"]
        assert any(nodes(top, "source"))


def test_an_undetermined_axis_says_what_to_measure(
    book: Rulebook, catalogue: Catalogue, engine: Engine
) -> None:
    """Where a type is undetermined, the explanation names what would decide it."""
    path = next(p for p in DEMO if p.stem == "half-measured")
    made = outcome_of(read_visit(path), book, catalogue, engine)
    text = "\n".join(n.text for n in Explanation(made).feet["left"].axis("foot-type").walk())
    assert "to decide it: score all six items in relaxed standing" in text


def test_a_stop_names_no_product(book: Rulebook, catalogue: Catalogue, engine: Engine) -> None:
    """Under a stop nothing of the catalogue is explained."""
    path = next(p for p in DEMO if p.stem == "red-flag-stop")
    explanation = Explanation(outcome_of(read_visit(path), book, catalogue, engine))
    assert not any(nodes(explanation.whole(), "product"))
    with pytest.raises(RecommendError, match="a stop withholds"):
        explanation.why_not("grommelstead-ward")


def test_why_not_accounts_for_the_whole_difference(outcome: Outcome) -> None:
    """The points lost and gained need by need add up to the difference of the two scores.

    Scores are out of 100 and lines are rounded to a tenth, so half a tenth a line may be lost.
    """
    if outcome.shortlist is None:
        pytest.skip("a stop withholds this shortlist")
    explanation = Explanation(outcome)
    if outcome.shortlist.unplaced:
        pytest.skip("nothing has a place while a question that can stop is open")
    for group in ("shoe", "insole"):
        first, *others = outcome.shortlist.ranked[group]  # type: ignore[index]
        for other in others[:8]:
            lost = 0.0
            lines = explanation.why_not(other.id).children
            for line in lines:
                words = line.text.rsplit(": ", 1)[-1].split()
                if words[1:] in (["points", "lost"], ["points", "gained"]):
                    lost += float(words[0]) * (1 if words[2] == "lost" else -1)
            assert lost == pytest.approx(first.score - other.score, abs=0.05 * (len(lines) + 1))


@pytest.mark.parametrize(
    ("name", "words"),
    [("grommelstead-wart", "did you mean `grommelstead-ward`"), ("zzz", "SHOE\\+INSOLE")],
)
def test_an_unknown_product_gets_the_nearest_spelling(
    book: Rulebook, catalogue: Catalogue, engine: Engine, name: str, words: str
) -> None:
    """A product that is not there is answered with the nearest one, or how to write it."""
    made = outcome_of(random_visit(book, 1, calm=True), book, catalogue, engine)
    with pytest.raises(RecommendError, match=words):
        Explanation(made).product(name)


@pytest.mark.parametrize("width", [80, 120])
def test_a_tree_keeps_to_its_width(outcome: Outcome, width: int) -> None:
    """No line is wider than the terminal, and each source is laid open exactly once."""
    lines = list(tree_lines(Explanation(outcome).whole(), width))
    assert max(map(len, lines)) <= width
    says = [line.split("says: ")[1] for line in lines if "says: " in line]
    assert len(says) == len(set(says))


@pytest.mark.parametrize("depth", [1, 2, 3, 5, 50])
def test_a_tree_that_is_cut_says_how_much_is_left_out(outcome: Outcome, depth: int) -> None:
    """What stands there and what is said to be below it make up the whole, counted by hand."""
    whole = Explanation(outcome).whole()
    cut = list(whole.cut(depth).walk())
    below = [re.search(r"\[(\d+) more below\]$", node.text) for node in cut]
    assert len(cut) + sum(int(found[1]) for found in below if found) == len(list(whole.walk()))
    assert max(_depths(whole.cut(depth))) <= depth


def _depths(node: Node, depth: int = 0) -> Iterator[int]:
    yield depth
    for child in node.children:
        yield from _depths(child, depth + 1)


class Page(HTMLParser):
    """Collects what a page is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.links: list[str] = []
        self.anchors: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag, its links and anchors."""
        self.tags.add(tag)
        known = dict(attrs)
        if tag not in ("meta", "br"):
            self.open.append(tag)
        if "id" in known:
            self.anchors.add(str(known["id"]))
        self.links += [str(v) for k, v in attrs if k in ("href", "src")]

    def handle_endtag(self, tag: str) -> None:
        """Every end must fit the last beginning."""
        assert self.open.pop() == tag


def check_page(text: str) -> None:
    """A page is well formed, self-contained, without script, and its links lead somewhere."""
    page = Page()
    page.feed(text)
    assert page.open == []
    assert "script" not in page.tags
    assert all(link.startswith("#") and link[1:] in page.anchors for link in page.links)
    assert "http" not in text
    assert "url(" not in text
    assert "not a diagnosis" in text


def write_page(path: Path, text: str) -> Path:
    """Write a page and check it first."""
    check_page(text)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_rule_says_how_strongly_it_asks(outcome: Outcome) -> None:
    """A never is told from a must, and a wish comes with its weight, as the files write them."""
    explanation = Explanation(outcome)

    def then(rule: str) -> str:
        return next(nodes(explanation.rule(rule), "remark")).text

    assert "must never be less than 0°" in then("need-no-lateral-wedge-without-reason")
    assert "must be at most 0°" in then("need-no-wedge-without-reason")
    assert "is wished (slight) to be at least 14 mm" in then("need-much-support")


def test_what_makes_no_difference_is_said_once_for_each_need(outcome: Outcome) -> None:
    """Every need of a product stands in exactly one line, with direction and limit."""
    if outcome.shortlist is None:
        pytest.skip("a stop withholds this shortlist")
    for other in outcome.shortlist.ranked["shoe"][1:9]:
        tree = Explanation(outcome).why_not(other.id)
        needs = [one.text for one in tree.children if one.kind == "need"]
        for one in tree.children:
            if one.text == "no difference in points:":
                needs += [alike.text for alike in one.children]
        assert len(needs) == len(set(needs)) == len(other.judgement.verdicts)
        for verdict in other.judgement.verdicts:
            of_it = [text for text in needs if f" {verdict.need.attribute} " in f" {text} "]
            assert any(text.startswith(verdict.need.strength) for text in of_it)
            assert all(re.search("at least|at most|more than|less than", text) for text in of_it)


def test_equals_are_told_with_the_prices_that_order_them(outcome: Outcome) -> None:
    """Of products of one group it is said that they serve alike, with the prices; of no others."""
    if outcome.shortlist is None:
        pytest.skip("a stop withholds this shortlist")
    for group in outcome.shortlist.groups["shoe"]:
        for other in group.members[1:]:
            said = " ".join(one.text for one in Explanation(outcome).why_not(other.id).children)
            assert ("both serve alike" in said) == (group is outcome.shortlist.groups["shoe"][0])
            if "both serve alike" in said:
                costs = [f"{one.parts[0].product.price:.2f}" for one in (group.first, other)]
                assert all(cost in said for cost in costs)
