"""What may be typed, and what it means."""

import pytest

from recommend.visit.answers import (
    BothFeet,
    Choice,
    Kind,
    Pains,
    PostureItem,
    Readings,
    RefusedError,
    Size,
    TypedNumber,
)


@pytest.mark.parametrize(
    ("typed", "score"),
    [
        ("a", -2),
        ("s", -1),
        ("d", 0),
        ("f", 1),
        ("g", 2),
        ("2", 2),
        ("-2", -2),
        ("+1", 1),
        ("−1", -1),
    ],
)
def test_a_key_gives_a_score_and_a_digit_means_what_it_says(typed: str, score: int) -> None:
    """Letters run along the scale; a typed number is never another number."""
    assert PostureItem().parse(typed) == score


@pytest.mark.parametrize("typed", ["3", "-3", "5", "y", "1.5", "12", "--1", "nan"])
def test_what_is_no_item_score_is_refused(typed: str) -> None:
    """Nothing outside -2 to +2 becomes a score."""
    with pytest.raises(RefusedError):
        PostureItem().parse(typed)


@pytest.mark.parametrize(
    ("typed", "value"),
    [("265", 265), ("26.5 cm", 265), ("26,5cm", 265), ("265 mm", 265), ("262.5", 262.5)],
)
def test_units_are_converted_not_guessed(typed: str, value: float) -> None:
    """Centimetres written as such become millimetres; a bare number stays as it is."""
    assert TypedNumber("mm").parse(typed) == value


@pytest.mark.parametrize("typed", ["265 kg", "1e3", "inf", "nan", "2 6 5", "abc", "9" * 40])
def test_what_is_no_length_is_refused(typed: str) -> None:
    """Another unit, an exponent, or no number at all is refused."""
    with pytest.raises(RefusedError):
        TypedNumber("mm").parse(typed)


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("4.5 5.1 3.9", [4.5, 5.1, 3.9]),
        ("4.5, 5.1, 3.9", [4.5, 5.1, 3.9]),
        ("4.5,5.1,3.9", [4.5, 5.1, 3.9]),
        ("4,5; 5,1", [4.5, 5.1]),
        ("4, 5, 6", [4, 5, 6]),
        ("[7.9]", [7.9]),
    ],
)
def test_readings_take_points_commas_and_spaces(typed: str, values: list[float]) -> None:
    """Decimal points and decimal commas both work when it is clear which is meant."""
    assert Readings("deg").parse(typed) == values


@pytest.mark.parametrize(
    "typed", ["4,5", "7,3,8,7", "4,5,6", "7,3 8,7", "[7,3, 8,7]", "4.5 5,1", "4,5 5,1 -3,9"]
)
def test_readings_that_can_be_read_in_two_ways_are_refused(typed: str) -> None:
    """4,5 is four and a half, or four and five: asked, not guessed."""
    with pytest.raises(RefusedError, match="two ways"):
        Readings("deg").parse(typed)


@pytest.mark.parametrize(
    ("kind", "typed", "value"),
    [
        (TypedNumber("mm"), "268 270", (268, 270)),
        (TypedNumber("mm"), "26.8cm 270", (268, 270)),
        (TypedNumber("mm"), "268 -", (268, None)),
        (PostureItem(), "fd", (1, 0)),
        (PostureItem(), "-1 2", (-1, 2)),
        (PostureItem(), "-12", (-1, 2)),
        (Choice({"c": "central", "m": "medial-late"}), "cm", ("central", "medial-late")),
        (Readings("deg"), "4.5 5.1 / 4.9", ([4.5, 5.1], [4.9])),
        (Readings("deg"), "4.5 / -", ([4.5], None)),
        (Readings("deg"), "6.1 5.8", ([6.1], [5.8])),
    ],
)
def test_both_feet_are_typed_at_once(kind: Kind, typed: str, value: object) -> None:
    """Left first; a dash for a foot that was not taken; a slash between lists of readings."""
    assert BothFeet(kind).parse(typed) == value


@pytest.mark.parametrize("typed", ["268", "268 270 272", "f", ""])
def test_one_foot_alone_or_three_are_refused(typed: str) -> None:
    """One number is no pair: which foot it is of is asked, not guessed."""
    kind = PostureItem() if typed == "f" else TypedNumber("mm")
    with pytest.raises(RefusedError):
        BothFeet(kind).parse(typed)


def test_pain_says_site_side_score_and_weeks() -> None:
    """A line of painful sites becomes the list of the visit file; none is known to be none."""
    assert Pains().parse("heel left 4 12, shin b") == [
        {"site": "heel", "side": "left", "score": 4, "weeks": 12},
        {"site": "shin", "side": "both"},
    ]
    assert Pains().parse("none") == []


@pytest.mark.parametrize(
    ("typed", "word"), [("hel left", "heel"), ("heel", "side"), ("heel left 4 5 6", "many words")]
)
def test_pain_that_is_not_understood_says_how_to_mend_it(typed: str, word: str) -> None:
    """A misspelt site is answered with the nearest; a missing side is asked for."""
    with pytest.raises(RefusedError, match=word):
        Pains().parse(typed)


def test_a_size_may_name_its_system() -> None:
    """A bare number is in the shop's usual system; another system is written in front."""
    assert Size("eu").parse("42") == {"system": "eu", "value": 42}
    assert Size("eu").parse("us men 9.5") == {"system": "us-men", "value": 9.5}
    with pytest.raises(RefusedError, match="Did you mean"):
        Size("eu").parse("us-man 9")


def test_a_choice_takes_its_key_or_its_word() -> None:
    """The key y and the word yes are the same; anything else is refused with what is allowed."""
    kind = Choice({"y": "yes", "n": "no"})
    assert [kind.parse(t) for t in ("y", "Y", "yes", "no")] == ["yes", "yes", "yes", "no"]
    with pytest.raises(RefusedError, match="y yes"):
        kind.parse("maybe")
