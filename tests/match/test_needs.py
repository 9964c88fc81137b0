"""Two feet, one pair: musts add up, nevers bind, contradictions are settled and said."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Mapping
from operator import ge, gt, le, lt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommend.extras import shipped_folder
from recommend.match.needs import Need, PairNeeds, contradict, need_words, needs_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.models import NeedsThen
from tests import shipped

RULES = sorted(rule.id for rule in shipped.book().rules if isinstance(rule.rule.then, NeedsThen))
SOME_RULES = st.sets(st.sampled_from(RULES), max_size=8)


def needs(book: Rulebook, left: set[str], right: set[str]) -> PairNeeds:
    """Needs of a pair whose feet fired these rules."""
    fired: Mapping[Side, set[str]] = {"left": left, "right": right}
    return needs_of(book, fired)


def of_rule(book: Rulebook, rule: str) -> list[Need]:
    """Needs of one rule for the left foot alone."""
    return list(needs(book, {rule}, set()).needs)


@given(left=SOME_RULES, right=SOME_RULES)
def test_nothing_a_foot_asks_is_lost(book: Rulebook, left: set[str], right: set[str]) -> None:
    """Every need of either foot stands in the pair's, with its rule and its foot."""
    whole = needs(book, left, right)
    for side, rules in zip(SIDES, (left, right), strict=True):
        for rule in rules:
            for need in of_rule(book, rule):
                same = [
                    n
                    for n in whole.needs
                    if (n.attribute, n.comparison, n.target)
                    == (need.attribute, need.comparison, need.target)
                    and rule in n.rules
                    and side in n.sides
                ]
                assert same, (rule, need)
                eased = [c.eased for c in whole.conflicts]
                kept = [n.strength for n in same]
                assert need.strength in kept or any(
                    e.attribute == need.attribute and e.strength == need.strength for e in eased
                )


@given(left=SOME_RULES, right=SOME_RULES)
def test_a_never_is_never_given_up(book: Rulebook, left: set[str], right: set[str]) -> None:
    """A never of either foot binds the pair, whatever a must of the other asks."""
    whole = needs(book, left, right)
    alone = {
        (n.attribute, n.comparison, n.target)
        for rule in left | right
        for n in of_rule(book, rule)
        if n.strength == "never"
    }
    assert {(n.attribute, n.comparison, n.target) for n in whole.of("never")} == alone


@given(left=SOME_RULES, right=SOME_RULES)
def test_what_is_left_binding_can_be_met_or_says_so(
    book: Rulebook, left: set[str], right: set[str]
) -> None:
    """No two musts, and no must with a never, still contradict after reconciling."""
    whole = needs(book, left, right)
    for one, other in itertools.combinations((*whole.of("must"), *whole.of("never")), 2):
        if contradict(one, other):
            assert one.strength == other.strength == "never"
            assert any("nothing suits" in conflict.text for conflict in whole.conflicts)


@given(left=SOME_RULES, right=SOME_RULES)
def test_left_and_right_are_alike(book: Rulebook, left: set[str], right: set[str]) -> None:
    """Exchanging the feet exchanges the sides of the needs and nothing else."""
    other: dict[Side, Side] = {"left": "right", "right": "left"}

    def plain(one: PairNeeds, turned: bool) -> list[object]:
        return [
            (
                n.attribute, n.comparison, n.target, n.strength, n.weight,
                {other[s] if turned else s for s in n.sides}, set(n.rules), set(n.because),
            )
            for n in one.needs
        ]  # fmt: skip

    assert plain(needs(book, left, right), False) == plain(needs(book, right, left), True)


def _need(attribute: str, comparison: str, target: float, strength: str, side: Side) -> Need:
    return Need(attribute, comparison, target, strength, 0.0, (side,), ("r",), ("b",))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("one", "other", "clash"),
    [
        (("at-least", 3, "must"), ("at-most", 2, "must"), True),
        (("at-least", 2, "must"), ("at-most", 2, "must"), False),
        (("above", 2, "must"), ("at-most", 2, "must"), True),
        (("at-least", 2, "must"), ("below", 2, "must"), True),
        (("at-least", 2, "must"), ("at-least", 9, "must"), False),
        (("above", 0, "never"), ("at-least", 2, "must"), True),
        (("above", 0, "never"), ("at-most", 0, "must"), False),
        (("below", 0, "never"), ("above", 0, "never"), False),
        (("at-least", 0, "never"), ("at-most", 0, "never"), True),
    ],
)
def test_contradictions_are_those_of_the_number_line(
    one: tuple[str, float, str], other: tuple[str, float, str], clash: bool
) -> None:
    """Two bounds contradict exactly when no number lies within both (worked by hand)."""
    first, second = _need("insole.wedge", *one, "left"), _need("insole.wedge", *other, "right")
    assert contradict(first, second) is clash
    assert contradict(second, first) is clash


@given(
    pair=st.tuples(
        *[
            st.tuples(
                st.sampled_from(["at-least", "at-most", "above", "below"]),
                st.integers(-3, 3),
                st.sampled_from(["must", "never"]),
            )
        ]
        * 2
    )
)
def test_contradictions_agree_with_trying_every_level(
    pair: tuple[tuple[str, int, str], tuple[str, int, str]],
) -> None:
    """Brute force over a grid finer than the targets finds the same contradictions."""
    one, other = (_need("insole.wedge", *p, "left") for p in pair)

    def holds(need: Need, level: float) -> bool:
        return OF[need.comparison](level, need.target) == (need.strength == "must")

    grid = [step / 4 for step in range(-40, 41)]
    possible = any(holds(one, level) and holds(other, level) for level in grid)
    assert contradict(one, other) is not possible


OF = {"at-least": ge, "at-most": le, "above": gt, "below": lt}

OPPOSED = """title: Rules that contradict each other, for this test
rules:
  - id: t-high
    title: x
    when: {axis: posture, is: pronated}
    then: {needs: [{attribute: insole.arch-height, is: at-least, level: high, strength: must}]}
    because: x
    basis: {kind: assumption}
  - id: t-low
    title: x
    when: {axis: posture, is: supinated}
    then: {needs: [{attribute: insole.arch-height, is: at-most, level: low, strength: must}]}
    because: x
    basis: {kind: assumption}
  - id: t-wedge
    title: x
    when: {axis: posture, is: pronated}
    then: {needs: [{attribute: insole.wedge, is: at-least, limit: wedge-largest, strength: must}]}
    because: x
    basis: {kind: assumption}
  - id: t-no-wedge
    title: x
    when: {axis: posture, is: supinated}
    then: {needs: [{attribute: insole.wedge, is: above, limit: wedge-none, strength: never}]}
    because: x
    basis: {kind: assumption}
"""


@pytest.fixture(scope="module")
def opposed(tmp_path_factory: pytest.TempPathFactory) -> Rulebook:
    """The shipped rulebook with rules that contradict each other; it has none of its own."""
    folder = tmp_path_factory.mktemp("opposed") / "rules"
    shutil.copytree(shipped_folder("rules"), folder)
    (folder / "need" / "opposed.yaml").write_text(OPPOSED, encoding="utf-8")
    return load_rulebook(folder)


def test_of_two_musts_the_gentler_is_kept_and_the_other_becomes_a_wish(opposed: Rulebook) -> None:
    """The lower arch does less to a foot; the high one is wished for, and the words say so."""
    pair = needs(opposed, {"t-high"}, {"t-low"})
    (conflict,) = pair.conflicts
    assert [(n.rules, n.comparison) for n in pair.of("must")] == [(("t-low",), "at-most")]
    assert [(n.rules, n.weight) for n in pair.of("prefer")] == [
        (("t-high",), opposed.parameters.rank.weight_strong)
    ]
    assert "the left foot asks for at least high" in conflict.text
    assert "the right foot for at most low" in conflict.text
    assert "one pair cannot do both" in conflict.text
    assert "split pair" in conflict.text


def test_a_must_gives_way_to_a_never_of_the_other_foot(opposed: Rulebook) -> None:
    """The never binds the pair, whichever foot it comes from."""
    for left, right in (({"t-wedge"}, {"t-no-wedge"}), ({"t-no-wedge"}, {"t-wedge"})):
        pair = needs(opposed, left, right)
        assert [n.rules for n in pair.of("never")] == [("t-no-wedge",)]
        assert pair.of("must") == ()
        assert len(pair.conflicts) == 1


def test_one_foot_alone_can_contradict_itself(opposed: Rulebook) -> None:
    """Two rules of one foot are settled in the same way as those of two feet."""
    pair = needs(opposed, {"t-high", "t-low"}, set())
    assert len(pair.conflicts) == 1
    assert [n.rules for n in pair.of("must")] == [("t-low",)]


@given(left=SOME_RULES)
def test_needs_read_as_words(book: Rulebook, left: set[str]) -> None:
    """Words carry the comparison and the level, never a bare step number of a scale."""
    for need in needs(book, left, set()).needs:
        words = need_words(need, book)
        scale = book.attributes[need.attribute].scale
        assert words.startswith("never ") == (need.strength == "never")
        if scale:
            assert words.rpartition(" ")[2] in scale or words.split(" ", 2)[-1] in scale
