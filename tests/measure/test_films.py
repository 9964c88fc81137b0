"""Several films of one foot: each measure from the first that has it, notes from all of them."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from recommend.measure.observed import observe
from tests import shipped

FAR = 27.0  # beyond every limit of the largest angle that the rules have


def film(gait: str, reference: str, **angles: list[float]) -> dict[str, Any]:
    """One rearfoot entry."""
    return {"gait": gait, "reference": reference, **angles}


def noted(*films: dict[str, Any], purpose: str = "running") -> set[str]:
    """Stops and see-a-clinician notes of a visit whose feet were filmed so."""
    seen = shipped.assessed({"rearfoot": list(films)}, purpose=purpose)
    return {note.rule for note in seen.notes if note.level != "caution"}


def test_a_further_film_does_not_hide_what_another_showed() -> None:
    """A runner's peak from relaxed standing is heard beside a film from vertical without it."""
    peak = film("running", "relaxed-standing", peak=[FAR])
    alone = noted(peak)
    assert alone
    for other in ({"propulsion": [0.0]}, {"touchdown": [-4.0]}, {"peak": [4.0]}):
        assert noted(peak, film("running", "vertical", **other))


def test_a_walker_who_was_filmed_running_is_told() -> None:
    """Walking is what rules go by, and what the running film shows is asked all the same."""
    walking, running = (
        film(g, "vertical", peak=[a]) for g, a in (("walking", 4.0), ("running", FAR))
    )
    assert noted(walking, running, purpose="walking") == {"see-pronation-beyond-limit-beside"}
    assert not noted(walking, film("running", "vertical", peak=[4.0]), purpose="walking")


def test_each_measure_comes_from_the_first_film_that_has_it() -> None:
    """The peak of one film and the push-off of another stand side by side, each with its zero."""
    visit = shipped.visit_of(
        {"rearfoot": [film("walking", "relaxed-standing", peak=[9.0], propulsion=[3.0]),
                      film("walking", "vertical", propulsion=[1.0])]}, purpose="walking"
    )  # fmt: skip
    book = shipped.book()
    seen = observe(visit, book.measures, book.parameters)
    used = {
        name: m.qualifiers.get("reference") for name, m in seen.used["left"].items() if m.qualifiers
    }
    assert used == {
        "peak-angle": "relaxed-standing", "propulsion-angle": "vertical", "rearfoot-return": None
    }  # fmt: skip
    (rest,) = seen.further["left"]
    assert (rest.value, [flag.name for flag in rest.flags]) == (3.0, ["beside"])
    assert "from relaxed standing stands beside from vertical" in rest.flags[0].detail


def test_feet_are_compared_in_a_film_that_both_have() -> None:
    """A film of one foot alone does not take the difference of the two away."""
    both = film("walking", "relaxed-standing", peak=[10.0])
    right = film("walking", "relaxed-standing", peak=[1.0])
    more = film("walking", "vertical", peak=[5.0])
    visit = shipped.visit_of({"rearfoot": [both, more]}, {"rearfoot": [right]}, purpose="walking")
    book = shipped.book()
    used = observe(visit, book.measures, book.parameters).used["left"]
    assert used["peak-difference"].value == 9.0


def possible(angles: dict[str, list[float]]) -> dict[str, list[float]]:
    """The same angles with a peak that is the largest of them, where there is one."""
    return angles | ({"peak": [max(a[0] for a in angles.values())]} if "peak" in angles else {})


ANGLE = st.floats(-20, 30).map(lambda a: [round(a, 1)])
FILMS = st.lists(
    st.builds(
        lambda gait, zero, angles: film(gait, zero, **possible(angles)),
        st.sampled_from(["walking", "running"]),
        st.sampled_from(["vertical", "relaxed-standing", "subtalar-neutral"]),
        st.dictionaries(
            st.sampled_from(["touchdown", "contact", "peak", "midstance", "propulsion"]),
            ANGLE, min_size=1,
        ),
    ),
    min_size=1, max_size=4, unique_by=lambda one: (one["gait"], one["reference"]),
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(films=FILMS, purpose=st.sampled_from(["walking", "running"]))
def test_adding_a_film_never_removes_a_clinical_note(
    films: list[dict[str, Any]], purpose: str
) -> None:
    """However the foot was filmed before, one film more loses no stop and no such note.

    A note of the film that rules went by may come from a further film then: either says the same.
    """
    before, after = noted(*films[:-1], purpose=purpose), noted(*films, purpose=purpose)
    alike = {rule.removesuffix("-beside") for rule in after}
    assert {rule.removesuffix("-beside") for rule in before} <= alike


def test_an_instep_that_rises_under_load_carries_no_foot_type() -> None:
    """Standing 77 above sitting 70: no arch is told, and both are asked to be taken again."""
    foot = {"dorsum-height-mm": {"sitting": 70, "standing": 77}, "truncated-foot-length-mm": 195}
    for heights, known in ((foot, False), (foot | {"dorsum-height-mm": {"standing": 69}}, True)):
        seen = shipped.assessed(heights).feet["left"]
        assert ("arch-height-ratio" in seen.measures) is known
        assert (seen.conclusions.axes["arch"] is not None) is known
        flags = {flag.name for one in seen.further for flag in one.flags}
        assert ("rises-under-load" in flags) is not known
