"""Rows of a table are examples like any other, and what is wrong in one is named at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.check.examples import Case, load_examples, outcomes, run_examples
from recommend.errors import InputError
from recommend.rulebook import Rulebook, load_rulebook
from tests.check.conftest import Changed

TOLD = """title: Written out
parts: {upright: {fpi: 3}, low: {arch-height-ratio: 0.28}}
examples:
  - name: A score
    given: {fpi: 6}
    expect: {axes: {posture: pronated}}
  - name: An answer
    age-band: adult
    answers: {open-wound: yes, diabetes: not-asked}
    expect: {notes: {stop-open-wound: stop}}
  - name: A low arch
    of: [upright, low]
    pain: [heel]
    expect:
      axes: {arch: low}
      asks: [need-low-arch-comfort]
      needs:
        - {by: need-low-arch-comfort, attribute: insole.arch-height, is: at-most, value: medium, strength: prefer, weight: usual}
"""  # noqa: E501
TABLED = """title: In rows
parts: {upright: {fpi: 3}, low: {arch-height-ratio: 0.28}}
tables:
  - title: Scores
    given: [fpi]
    expect: [posture]
    rows:
      - [6, pronated]
  - title: Answers
    given: [foot, diabetes]
    expect: [notes]
    rows:
      - [{age-band: adult, open-wound: yes}, not-asked, {stop-open-wound: stop}]
  - title: Arches
    given: [of, of, pain]
    expect: [arch, need-low-arch-comfort, needs]
    rows:
      - [upright, low, [heel], low, x,
         [[need-low-arch-comfort, insole.arch-height, at-most, medium, prefer, usual]]]
"""


def cases_of(folder: Path, text: str) -> tuple[tuple[Case, ...], tuple[InputError, ...], Rulebook]:
    """The cases of a rulebook whose only file of examples is `text`."""
    for file in (folder / "examples").glob("*.yaml"):
        file.unlink()
    (folder / "examples" / "one.yaml").write_text(text, encoding="utf-8")
    book = load_rulebook(folder)
    return *load_examples(book), book


def test_a_row_is_the_example_it_stands_for(changed: Changed) -> None:
    """The same foot and the same expectations, whether written out or in columns."""
    written, none, _ = cases_of(changed(), TOLD)
    in_rows, neither, book = cases_of(changed(), TABLED)
    assert none == neither == ()
    assert [case.facts for case in in_rows] == [case.facts for case in written]
    for row, case in zip(in_rows, written, strict=True):
        assert row.example.expect == case.example.expect
    assert list(run_examples(book, in_rows)) == []
    assert [case.example.name for case in in_rows] == [
        "Scores: 6",
        "Answers: age-band adult, open-wound yes, not-asked",
        "Arches: upright, low, heel",
    ]


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        ("      - [6, pronated]", "      - [6, neutral]", "axis `posture` is `pronated`"),
        (" low, x,", " low, .,", "rule `need-low-arch-comfort` holds"),
        ("{stop-open-wound: stop}", "{}", "note `stop-open-wound` is stop, not not due"),
        ("at-most, medium", "at-most, low", "does not ask for insole.arch-height at-most low"),
    ],
)
def test_a_row_that_does_not_come_out_fails(
    changed: Changed, was: str, now: str, said: str
) -> None:
    """Axis, rule in a column, note and need in figures are each looked at."""
    text = TABLED.replace(was, now)
    if now == "{}":  # a note is looked at where the file speaks of it
        text = text.replace(
            f"yes}}, not-asked, {now}]",
            f"yes}}, not-asked, {now}]\n      - [{{open-wound: yes}}, no, {was}]",
        )
    cases, problems, book = cases_of(changed(), text)
    assert problems == ()
    assert any(said in one for found in outcomes(book, cases) for one in found)


@pytest.mark.parametrize(
    ("was", "now", "line", "said"),
    [
        ("[6, pronated]", "[6]", 8, "the row has 1 cells, its table 2 columns"),
        ("given: [fpi]", "given: [fpy]", 8, "did you mean `fpi`?"),
        ("expect: [posture]", "expect: [postur]", 8, "did you mean `posture`?"),
        ("[6, pronated]", "[[6], pronated]", 8, "does not fit"),
        ("[6, pronated]", "[6, pronatd]", 8, "did you mean `pronated`?"),
        (" low, x,", " low, y,", 18, "`x` or a dot"),
        ("- [upright, low,", "- [upright, lo,", 18, "did you mean `low`?"),
        ("- [6, pronated]", "- [6, pronated]\n      - [6, pronated]", 9, "stands twice"),
    ],
)
def test_a_faulty_row_is_named_at_its_line(
    changed: Changed, was: str, now: str, line: int, said: str
) -> None:
    """Columns, names and cells that do not fit are refused, the nearest spelling named."""
    _, problems, _ = cases_of(changed(), TABLED.replace(was, now))
    (problem,) = problems
    assert problem.place.line == line
    assert said in f"{problem.found} {problem.allowed} {problem.mend}"
