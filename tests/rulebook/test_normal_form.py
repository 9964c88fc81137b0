"""The normal form of any condition means what Kleene's logic says of the condition as written."""

from __future__ import annotations

from typing import Any, get_args

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from pydantic import TypeAdapter

from recommend.measure.definitions import MeasureDef
from recommend.reading.texts import Texts
from recommend.rulebook.compiling import CannotRunError, Compiler
from recommend.rulebook.conditions import ORDERS, Condition
from recommend.rulebook.loading import digest_of
from recommend.rulebook.models import AxisDef, Limit, Question
from recommend.rulebook.terms import Number, conjoin, satisfied
from recommend.rulebook.vocabulary import about, vocabulary_of
from recommend.visit.models import PainSite
from tests import shipped
from tests.infer.kleene import truth_of

CONDITION = TypeAdapter(Condition)
MEASURES = {
    "score": MeasureDef(title="t", unit="score", plain="p"),
    "angle": MeasureDef(
        title="t", unit="deg", plain="p", qualifiers={"reference": ["vertical", "relaxed", "other"]}
    ),
    "path": MeasureDef(title="t", unit="class", plain="p", values=["central", "lateral", "medial"]),
}
AXES = {
    "posture": AxisDef(title="t", values={"in": "i", "even": "e", "out": "o"}),
    "arch": AxisDef(title="t", values={"low": "l", "high": "h"}),
}
VOCABULARY = vocabulary_of(MEASURES, AXES, {"wound": Question(ask="a", why="w")}, ("walking",))


def _limit(unit: str, *values: dict[str, Any]) -> Limit:
    whole = {"title": "t", "unit": unit, "population": "p"}
    guess = {"kind": "assumption"}
    return Limit.model_validate(whole | {"values": [value | guess for value in values]})


LIMITS = {
    "score-small": _limit("score", {"value": 1}),
    "score-large": _limit("score", {"value": 2}),
    "angle-usual": _limit(
        "deg",
        {"value": 1, "where": {"reference": "vertical"}},
        {"value": 2, "where": {"reference": "relaxed"}},
    ),
    "angle-far": _limit("deg", {"value": 2, "where": {"reference": "vertical"}}),
}
COMPILER = Compiler(LIMITS, VOCABULARY)


def _ordered(measure: str, limits: list[str]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {
            "measure": st.just(measure),
            "is": st.sampled_from(ORDERS),
            "limit": st.sampled_from(limits),
        }
    )


def _words(key: str, name: str, words: list[str], ask: str = "is") -> st.SearchStrategy[Any]:
    some = st.lists(st.sampled_from(words), min_size=1, unique=True)
    return st.fixed_dictionaries({key: st.just(name), ask: some})


LEAVES = st.one_of(
    _ordered("score", ["score-small", "score-large"]),
    _ordered("angle", ["angle-usual", "angle-far"]),
    _words("measure", "path", ["central", "lateral", "medial"]),
    st.sampled_from(list(MEASURES)).map(lambda m: {"measure": m, "is": "not-measured"}),
    _words("axis", "posture", ["in", "even", "out", "undetermined"]),
    _words("axis", "posture", ["in", "even", "out", "undetermined"], "is-not"),
    _words("axis", "arch", ["low", "high", "undetermined"]),
    st.sampled_from(["yes", "no", "not-answered"]).map(
        lambda word: {"answer": "wound", "is": word}
    ),
    st.sampled_from(["yes", "no"]).map(lambda word: {"pain": "heel", "is": word}),
    _words("visit", "purpose", ["walking", "running", "standing-work"]),
)
CONDITIONS = st.recursive(
    LEAVES,
    lambda inner: st.tuples(
        st.sampled_from(["all", "any", "none"]), st.lists(inner, min_size=1, max_size=3)
    ).map(lambda pair: {pair[0]: pair[1]}),
    max_leaves=7,
)


@st.composite
def feet(draw: st.DrawFn) -> tuple[dict[str, float | str], dict[str, str | None]]:
    """Facts of a foot and the values of its axes; half of everything is missing."""
    facts: dict[str, float | str] = {"side": "left"}
    for name in MEASURES:
        there = draw(st.booleans())
        facts[f"known_{name}"] = "yes" if there else "no"
        if there and name == "path":
            facts[name] = draw(st.sampled_from(MEASURES["path"].values))
        elif there:
            near = st.sampled_from([0.9999, 1.0, 1.0001, 1.5, 1.9999, 2.0, 2.0001])
            low, value, high = sorted(draw(st.tuples(near, near, near)))
            facts |= {f"{name}_low": low, name: value, f"{name}_high": high}
    if "angle" in facts and draw(st.integers(0, 3)):
        facts["angle_reference"] = draw(st.sampled_from(["vertical", "relaxed", "other"]))
    axes: dict[str, str | None] = {}
    for axis, one in AXES.items():
        axes[axis] = draw(st.none() | st.sampled_from(list(one.values)))
        facts[f"decided_{axis}"] = "no" if axes[axis] is None else "yes"
        if axes[axis] is not None:
            facts[f"axis_{axis}"] = axes[axis]
    for name in ("answer_wound", "pain_heel", "visit_purpose"):
        word = draw(st.none() | st.sampled_from(VOCABULARY.words[name]))
        if word is not None:
            facts[name] = word
    facts["asked_wound"] = "yes" if "answer_wound" in facts else "no"
    return facts, axes


@given(CONDITIONS, feet())
@settings(max_examples=1500, deadline=None)
def test_the_normal_form_is_kleenes_logic(written: dict[str, Any], foot: Any) -> None:
    """For any condition and any foot: true, false and unknown exactly as written."""
    facts, axes = foot
    condition = CONDITION.validate_python(written)
    holds, fails = COMPILER.normal_form(condition)
    truth = truth_of(condition, facts, axes, LIMITS)
    assert any(satisfied(branch, facts) for branch in holds) == (truth is True)
    assert any(satisfied(branch, facts) for branch in fails) == (truth is False)


def _truth(written: dict[str, Any], **facts: float | str) -> bool | None:
    holds, fails = COMPILER.normal_form(CONDITION.validate_python(written))
    if any(satisfied(branch, facts) for branch in holds):
        return True
    return False if any(satisfied(branch, facts) for branch in fails) else None


def test_kleenes_tables() -> None:
    """And, or and none of true, false and unknown, as in Kleene 1952, section 64."""
    words = {"yes": {"pain": "heel", "is": "yes"}, "no": {"pain": "heel", "is": "no"}}
    unknown = {"answer": "wound", "is": "yes"}
    table = [
        ({"all": [words["yes"], unknown]}, None),
        ({"all": [words["no"], unknown]}, False),
        ({"any": [words["yes"], unknown]}, True),
        ({"any": [words["no"], unknown]}, None),
        ({"none": [words["yes"], unknown]}, False),
        ({"none": [words["no"], unknown]}, None),
        ({"none": [unknown]}, None),
        ({"any": [unknown, {"none": [unknown]}]}, None),  # no excluded middle
        ({"all": [unknown, {"none": [unknown]}]}, None),
    ]
    for written, expected in table:
        assert _truth(written, pain_heel="yes") is expected, written


def test_another_zero_reference_is_unknown_never_false() -> None:
    """An angle against a reference that the limit has no value for is not compared at all."""
    for order in ORDERS:
        rule = {"measure": "angle", "is": order, "limit": "angle-far"}
        angle = {"angle": 1.0, "angle_low": 1.0, "angle_high": 1.0}
        assert _truth(rule, **angle, angle_reference="vertical") is not None
        assert _truth(rule, **angle, angle_reference="relaxed") is None
        assert _truth({"none": [rule]}, **angle, angle_reference="relaxed") is None
        assert _truth(rule, **angle) is None  # the reference was not said


def test_each_reference_has_its_own_value() -> None:
    """1.5 degrees is above the limit of 1 against vertical, below that of 2 against relaxed."""
    rule = {"measure": "angle", "is": "above", "limit": "angle-usual"}
    assert _truth(rule, angle=1.5, angle_reference="vertical") is True
    assert _truth(rule, angle=1.5, angle_reference="relaxed") is False


def test_on_the_limit() -> None:
    """Exactly on the limit is `at-least` and `at-most`, neither `above` nor `below`."""
    on = {"score": 1.0, "score_low": 1.0, "score_high": 1.0}
    for order, expected in zip(ORDERS, (False, True, False, True, False, False), strict=True):
        assert _truth({"measure": "score", "is": order, "limit": "score-small"}, **on) is expected


def test_clearly_asks_for_more_than_the_error() -> None:
    """A reading beyond the limit whose error reaches back over it is not clearly beyond."""
    rule = {"measure": "score", "is": "clearly-above", "limit": "score-small"}
    assert _truth(rule, score=1.5, score_low=0.9, score_high=2.1) is False
    assert _truth(rule, score=1.5, score_low=1.1, score_high=1.9) is True


def test_not_measured_and_undetermined_are_never_unknown() -> None:
    """They are the two questions about missing things, and always have an answer."""
    absent = {"measure": "score", "is": "not-measured"}
    assert _truth(absent, known_score="no") is True
    assert _truth(absent, known_score="yes") is False
    open_ = {"axis": "arch", "is": "undetermined"}
    assert _truth(open_, decided_arch="no") is True
    assert _truth(open_, decided_arch="yes", axis_arch="low") is False
    assert _truth({"axis": "arch", "is-not": "undetermined"}, decided_arch="no") is False


def test_an_axis_that_is_not_something_is_unknown_while_undetermined() -> None:
    """`is-not: low` is no proof that the arch is something else."""
    rule = {"axis": "arch", "is-not": "low"}
    assert _truth(rule, decided_arch="no") is None
    assert _truth(rule, decided_arch="yes", axis_arch="high") is True
    assert _truth(rule, decided_arch="yes", axis_arch="low") is False


def test_a_condition_that_multiplies_out_is_refused() -> None:
    """Ten choices of two are a thousand branches: refused, with what to do."""
    sites = [name for name in VOCABULARY.words if name.startswith("pain_")][:10]
    choices = [[{"pain": site[5:], "is": word} for word in ("yes", "no")] for site in sites]
    condition = {"all": [{"any": choice} for choice in choices]}
    with pytest.raises(CannotRunError, match="branches") as caught:
        COMPILER.normal_form(CONDITION.validate_python(condition))
    assert "split the rule" in caught.value.mend


def test_a_limit_with_two_values_for_one_reading_is_refused() -> None:
    """Two values that one reading could both be compared with would be true and false at once."""
    both = _limit("deg", {"value": 1, "where": {"reference": "vertical"}}, {"value": 2})
    compiler = Compiler({"both": both}, VOCABULARY)
    rule = CONDITION.validate_python({"measure": "angle", "is": "above", "limit": "both"})
    with pytest.raises(CannotRunError, match=r"`both`.*1 and 2.*one reading"):
        compiler.normal_form(rule)


def test_of_equal_constants_the_stricter_comparison_stays() -> None:
    """By hand: at least 5 and above 5 together are above 5; at most 5 and below 5 are below 5."""
    for wide, strict in (("ge", "gt"), ("le", "lt")):
        for order in ((wide, strict), (strict, wide)):
            joined = conjoin(Number("fpi", op, 5.0) for op in order)  # type: ignore[arg-type]
            assert joined == (Number("fpi", strict, 5.0),)  # type: ignore[arg-type]
    assert conjoin([Number("fpi", "ge", 5.0), Number("fpi", "lt", 5.0)]) is None


def test_a_digest_takes_in_names_and_lengths() -> None:
    """The same bytes under another name, or cut into files elsewhere, are another rulebook."""
    digests = {
        digest_of(Texts.of("x", files))
        for files in (
            {"a.yaml": "xy", "b.yaml": "z"}, {"a.yaml": "x", "b.yaml": "yz"},
            {"a.yaml": "xy", "c.yaml": "z"}, {"a.yaml": "xyz", "b.yaml": ""},
            # Without lengths, what follows a name could say that another file begins.
            {"a.yaml": "x", "b.yaml": "y"}, {"a.yaml": "xb.yaml\ny"},
        )
    }  # fmt: skip
    assert len(digests) == 6


def test_every_fact_of_the_shipped_rules_names_something_of_them() -> None:
    """The name of a fact, taken apart, is a measure, axis, question, site or word of the visit."""
    book = shipped.book()
    named = {
        "measure": book.measures, "known": book.measures, "axis": book.axes, "decided": book.axes,
        "answer": book.questions, "asked": book.questions, "pain": get_args(PainSite),
        "visit": ("age-band", "purpose", "socks"), "side": ("side",),
    }  # fmt: skip
    for fact in (*book.vocabulary.words, *book.vocabulary.numbers):
        one = about(fact)
        assert one.of in named[one.kind], fact
        if one.kind == "measure":
            assert one.part in ("", "low", "high", *book.measures[one.of].qualifiers), fact
