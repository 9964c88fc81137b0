"""Order never matters, contradictions are errors, and what is missing is said."""

from __future__ import annotations

import shutil
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from recommend.errors import InputError
from recommend.infer.assess import assess
from recommend.infer.conclusions import ContradictionError
from recommend.infer.derivation import Lacks, derivations
from recommend.infer.engine import Engine, engine_of
from recommend.infer.many import columns_of, conclude_many
from recommend.reading import read_document
from recommend.rulebook.book import Rulebook
from recommend.rulebook.loading import STAGES
from recommend.rulebook.opened import load_rulebook
from recommend.visit.models import Visit
from tests.infer.feet import random_columns
from tests.infer.folders import add_rules, axis_rule, copied, note_rule, write


def _shuffle(folder: Path, random) -> None:
    """Deal the rules of each stage anew into files of other names, and shuffle the types."""
    for stage in STAGES:
        files = sorted((folder / stage).glob("*.yaml"))
        rules = [rule for file in files for rule in read_document(file).data["rules"]]
        random.shuffle(rules)
        for file in files:
            file.unlink()
        cut = random.randint(1, len(rules) - 1)
        for part in (rules[:cut], rules[cut:]):
            name = f"{random.choice('abcxyz')}-{len(part)}-{random.randint(0, 9)}.yaml"
            write(folder / stage / name, {"title": "Dealt", "rules": part})
    types = read_document(folder / "types.yaml").data
    random.shuffle(types["types"])
    write(folder / "types.yaml", types)


@given(random=st.randoms(use_true_random=False))
@settings(
    max_examples=5,
    deadline=None,
    phases=[Phase.generate],  # a smaller shuffle would tell no more
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_order_of_rules_and_files_changes_nothing(
    book: Rulebook, tmp_path_factory: pytest.TempPathFactory, random
) -> None:
    """Rules dealt anew into other files conclude the same for every one of 3,000 feet."""
    folder = copied(tmp_path_factory.mktemp("dealt"))
    _shuffle(folder, random)
    dealt = load_rulebook(folder)
    columns = random_columns(book, 3000, np.random.default_rng(67))
    one = conclude_many(book, columns, 3000, fails=True)
    other = conclude_many(dealt, columns, 3000, fails=True)
    assert one.holds.keys() == other.holds.keys()
    for rule in one.holds:
        assert np.array_equal(one.holds[rule], other.holds[rule]), rule
        assert np.array_equal(one.fails[rule], other.fails[rule]), rule
    for axis in book.axes:  # codes follow the order of the axis; types were shuffled
        words = np.array([*book.axes[axis].values, ""])
        again = np.array([*dealt.axes[axis].values, ""])
        assert np.array_equal(words[one.axes[axis]], again[other.axes[axis]]), axis
    shutil.rmtree(folder.parent)


def test_order_changes_nothing_at_the_counter(book: Rulebook, engine: Engine, tmp_path) -> None:
    """The assessment of a visit is the same with the rules in the opposite order."""
    folder = copied(tmp_path)
    for stage in STAGES:
        for file in (folder / stage).glob("*.yaml"):
            data = read_document(file).data
            write(file, data | {"rules": data["rules"][::-1]})
    turned = load_rulebook(folder)
    visit = Visit.model_validate(_VISIT)
    one, other = assess(visit, book, engine), assess(visit, turned)
    assert one.notes == other.notes
    assert one.to_ask == other.to_ask
    for side in ("left", "right"):
        assert one.feet[side].conclusions == other.feet[side].conclusions
        assert one.feet[side].lacking == other.feet[side].lacking
        names = [d.rule for d in one.feet[side].derivations]
        assert names == [d.rule for d in other.feet[side].derivations]


_VISIT = {
    "reference": "T-1",
    "age-band": "adult",
    "purpose": "walking",
    "answers": {"diabetes": "yes"},
    "feet": {"left": {"fpi": {"total": 8}}, "right": {"fpi": {"total": 2}}},
}


def _clashing(tmp_path: Path) -> tuple[Rulebook, Path]:
    """The shipped rules, and one that calls feet neutral which another calls pronated."""
    folder = copied(tmp_path)
    when = {"measure": "fpi", "is": "at-least", "limit": "fpi-pronated"}
    file = add_rules(folder, "classify", [axis_rule("always-neutral", when, "posture", "neutral")])
    return load_rulebook(folder), file


_PRONATED = {
    "side": "left", "known_fpi": "yes", "fpi": 7.0, "fpi_low": 6.0, "fpi_high": 8.0,
    "fpi_age": "grown",
}  # fmt: skip


def test_a_contradiction_names_both_rules(tmp_path) -> None:
    """Both engines say which two rules, where they stand, which axis and which values."""
    book, file = _clashing(tmp_path)
    words = (f"`always-neutral` ({file}:", "`posture-pronated` (", "`posture`", "`neutral`")
    with pytest.raises(ContradictionError) as one:
        engine_of(book).conclude(_PRONATED)
    columns = columns_of([_PRONATED | {"fpi": 1.0}, _PRONATED], book.vocabulary)
    with pytest.raises(ContradictionError) as many:
        conclude_many(book, columns, 2)
    assert str(one.value) == str(many.value)
    for word in (*words, "`pronated`"):
        assert word in str(one.value)


def test_no_contradiction_without_such_a_foot(tmp_path) -> None:
    """Rules that could clash conclude in peace for the feet on which they do not."""
    book, _ = _clashing(tmp_path)
    fine = _PRONATED | {"fpi": 1.0}
    assert engine_of(book).conclude(fine).axes["posture"] == "neutral"
    many = conclude_many(book, columns_of([fine], book.vocabulary), 1)
    assert list(book.axes["posture"].values)[many.axes["posture"][0]] == "neutral"


def test_a_contradiction_is_found_in_the_second_block(tmp_path, monkeypatch) -> None:
    """The one foot among many on which two rules clash is found, wherever it stands."""
    book, _ = _clashing(tmp_path)
    monkeypatch.setattr("recommend.infer.many.CHUNK", 10)
    rows = [_PRONATED | {"fpi": 1.0}] * 17 + [_PRONATED] + [_PRONATED | {"fpi": 1.0}] * 9
    with pytest.raises(ContradictionError, match="always-neutral"):
        conclude_many(book, columns_of(rows, book.vocabulary), len(rows))


def test_rules_that_say_the_same_may_both_be_true(tmp_path) -> None:
    """Two true rules with one value are no contradiction."""
    folder = copied(tmp_path)
    when = {"measure": "fpi", "is": "at-least", "limit": "fpi-pronated"}
    add_rules(folder, "classify", [axis_rule("same-again", when, "posture", "pronated")])
    book = load_rulebook(folder)
    one = engine_of(book).conclude(_PRONATED)
    assert (one.truth["same-again"], one.axes["posture"]) == (True, "pronated")
    conclude_many(book, columns_of([_PRONATED], book.vocabulary), 1)


def test_rules_in_a_circle_are_refused(tmp_path) -> None:
    """Two axes that wait for each other are refused when loaded, with the circle."""
    folder = copied(tmp_path)
    rules = [
        axis_rule("width-by-arch", {"axis": "arch", "is": "low"}, "width", "wide"),
        axis_rule("arch-by-width", {"axis": "width", "is": "wide"}, "arch", "low"),
    ]
    add_rules(folder, "classify", rules)
    with pytest.raises(InputError, match=r"circle: .*width-by-arch") as caught:
        load_rulebook(folder)
    assert "arch-by-width" in str(caught.value)


def test_strata_read_only_what_lower_ones_conclude(book: Rulebook) -> None:
    """A rule runs after every rule that concludes an axis it reads."""
    for rule in book.rules:
        for other in book.rules:
            axis = getattr(other.rule.then, "axis", None)
            if {f"axis_{axis}", f"decided_{axis}"} & rule.facts:
                assert other.stratum < rule.stratum, (rule.id, other.id)


def test_an_axis_no_rule_concludes_is_undetermined(tmp_path) -> None:
    """`undetermined` is never unknown, even where no rule says anything about the axis."""
    folder = copied(tmp_path)
    axes = read_document(folder / "axes.yaml").data
    axes["axes"]["unsaid"] = {"title": "made up", "values": {"one": "one", "two": "two"}}
    write(folder / "axes.yaml", axes)
    rules = [
        note_rule("unsaid-open", {"axis": "unsaid", "is": "undetermined"}),
        note_rule("unsaid-one", {"axis": "unsaid", "is": "one"}),
    ]
    add_rules(folder, "screen", rules)
    book = load_rulebook(folder)
    one = engine_of(book).conclude(_PRONATED)
    assert (one.truth["unsaid-open"], one.truth["unsaid-one"]) == (True, None)
    many = conclude_many(book, columns_of([_PRONATED], book.vocabulary), 1, fails=True)
    assert many.holds["unsaid-open"][0]
    assert not many.holds["unsaid-one"][0]
    assert not many.fails["unsaid-one"][0]


def test_a_derivation_tells_facts_limits_and_sources(book: Rulebook, engine: Engine) -> None:
    """A firing names the facts matched and the limits compared with, with value and source."""
    concluded = engine.conclude(_PRONATED)
    found = {d.rule: d for d in derivations(book, concluded, "left")}
    assert found.keys() == {name for name, truth in concluded.truth.items() if truth}
    one = found["posture-pronated"]
    assert one.concludes == "axis posture = pronated"
    # As `rules/need/motion.yaml` writes it: two musts, each at most the limit of no wedge (0).
    asks = found["need-no-wedge-without-reason"].concludes
    assert asks.count("must be at most 0°") == 2
    assert one.facts == {"fpi": 7.0, "fpi_age": "grown"}
    limits = {limit.id: (limit.sign, limit.value, limit.unit) for limit in one.limits}
    assert limits == {
        "fpi-pronated": (">=", book.limits["fpi-pronated"].values[0].value, "score"),
        "fpi-highly-pronated": ("<", book.limits["fpi-highly-pronated"].values[0].value, "score"),
    }
    assert all(limit.cite for limit in one.limits)
    assert one.version == book.heading.version


def test_what_is_lacking_is_named(book: Rulebook, engine: Engine) -> None:
    """An undetermined axis names what to measure, down through the axes it rests on."""
    lacks = Lacks(book, engine.conclude(_PRONATED))
    assert lacks.for_axis("posture").measures == frozenset()  # it is decided
    amount, timing = (lacks.for_axis(axis).measures for axis in ("amount", "timing"))
    assert "peak-angle" in amount
    assert "rearfoot-return" in timing
    assert amount | timing <= lacks.for_axis("foot-type").measures
    assert "fpi" not in lacks.for_axis("foot-type").measures
    assert lacks.for_rule(book.by_id["see-diabetes"]).answers == {"diabetes"}


def test_another_reference_is_incomparable_not_missing(book: Rulebook, engine: Engine) -> None:
    """An angle against a reference without a limit is said to be incomparable."""
    angle = {"standing-angle": 5.0, "standing-angle_low": 3.0, "standing-angle_high": 7.0}
    facts = _PRONATED | angle | {"known_standing-angle": "yes"}
    facts["standing-angle_reference"] = "subtalar-neutral"
    concluded = engine.conclude(facts)
    assert concluded.axes["standing"] is None
    lacking = Lacks(book, concluded).for_axis("standing")
    assert lacking.incomparable == {"standing-angle"}
    assert lacking.measures == frozenset()
    vertical = engine.conclude(facts | {"standing-angle_reference": "vertical"})
    assert vertical.axes["standing"] == "ordinary"
