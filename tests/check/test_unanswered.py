"""What nobody can answer, state, offer, or meant to leave in is found."""

from pathlib import Path

import pytest

from recommend.catalogue.loading import Catalogue, read_catalogue
from recommend.check.authoring import scaffold
from recommend.check.finding import Finding
from recommend.check.unanswered import shelf_findings, unanswered_findings
from recommend.extras import shipped_folder
from recommend.rulebook import Rulebook, load_rulebook
from tests.check.conftest import Changed

MEASURE = """  toe-angle:
    title: angle of the big toe
    plain: big toe
    unit: deg
    lowest: 0
    highest: 90
    how: measure it
    error: {single: 2, kind: assumption}
"""
RULE = """title: One more
rules:
  - id: caution-toe
    title: A big toe that leans
    when: {measure: toe-angle, is: above, limit: toe-angle-much}
    then: {note: caution, say: "The big toe leans."}
    because: it leans
    basis: {kind: assumption}
"""
LIMIT = """  toe-angle-much:
    title: much
    unit: deg
    population: adults
    values: [{value: 20, kind: assumption}]
"""


def codes(findings: object) -> list[tuple[str, str]]:
    """Codes, and what each is about."""
    return [(f.code, f.found.split("`")[1]) for f in findings if isinstance(f, Finding)]  # type: ignore[attr-defined]


def shelf(folder: Path, book: Rulebook, *products: str) -> Catalogue:
    """A catalogue of such products."""
    text = "title: Some\nproducts:\n" + "".join(f"  - {one}\n" for one in products)
    (folder / "some.yaml").write_text(text)
    catalogue, problems = read_catalogue(folder, book.attributes)
    assert problems == ()
    return catalogue


def test_a_measure_that_no_visit_carries_is_found(changed: Changed) -> None:
    """A rule on it passes every other check, and would never fire; derived from others it may."""
    folder = changed(
        ("measures.yaml", "measures:\n", "measures:\n" + MEASURE),
        ("limits.yaml", "limits:\n", "limits:\n" + LIMIT),
    )
    (folder / "screen/toe.yaml").write_text(RULE)
    found = list(unanswered_findings(load_rulebook(folder)))
    assert ("never-answered", "caution-toe") in codes(found)
    changed(
        (
            "measures.yaml",
            MEASURE,
            MEASURE + "    derived: {difference: [peak-angle, standing-angle]}\n",
        )
    )
    assert "never-answered" not in {f.code for f in unanswered_findings(load_rulebook(folder))}


def test_texts_that_a_rule_was_begun_with_are_found(changed: Changed) -> None:
    """Each of them, until it is written, and always in one order."""
    folder = changed()
    scaffold(load_rulebook(folder), "screen", "my-own-rule").write()
    found = [f for f in unanswered_findings(load_rulebook(folder)) if f.code == "unfinished"]
    assert len(found) == 4
    assert [f.found for f in found] == sorted(f.found for f in found)
    assert all("`my-own-rule`" in f.found for f in found)


def test_the_shipped_rules_and_products_have_none() -> None:
    """Every measure can be taken, every title is true, and what is bound can be had."""
    book = load_rulebook(shipped_folder("rules"))
    catalogue, _ = read_catalogue(shipped_folder("catalogue_demo"), book.attributes)
    found = [*unanswered_findings(book), *shelf_findings(book, catalogue)]
    assert [f.found for f in found if f.level != "note"] == []


def test_an_attribute_that_no_product_states_is_found(tmp_path: Path, book: Rulebook) -> None:
    """A must on it would pass, or leave out, everything."""
    catalogue = shelf(
        tmp_path, book, "{id: a, kind: insole, title: A, attributes: {wedge: 0}, stock: {260: 1}}"
    )
    found = [f.found for f in shelf_findings(book, catalogue) if f.code == "never-stated"]
    assert any("`insole.thickness`" in text for text in found)
    assert not any("`insole.wedge`" in text for text in found)


def test_a_must_that_nothing_meets_is_found_with_whom_it_leaves(
    changed: Changed, tmp_path: Path
) -> None:
    """So many customers are left with nothing."""
    folder = changed(
        ("need/motion.yaml", "level: mild, strength: prefer, weight: strong",
         "level: strong, strength: must"),
    )  # fmt: skip
    book = load_rulebook(folder)
    shelves = tmp_path / "shelf"
    shelves.mkdir()
    catalogue = shelf(
        shelves, book,
        "{id: a, kind: shoe, title: A, attributes: {stability: mild}, stock: {260: 1}}",
    )  # fmt: skip
    (one,) = [f for f in shelf_findings(book, catalogue)
              if f.code == "never-met" and "`need-stability-pronated`" in f.found]  # fmt: skip
    assert "of 4000 drawn) are left with none" in one.found


@pytest.mark.parametrize(
    ("title", "attributes", "true"),
    [
        ("Insole, 3 degrees", "wedge: 3", True),
        ("Insole, 3 degrees", "wedge: 4", False),
        ("Insole, 3 degrees", "wedge: -3", False),
        ("Insole, tilts outer side up 3 degrees", "wedge: -3", True),
        ("Insole, tilts outer side up 3 degrees", "wedge: 3", False),
    ],
)
def test_a_title_that_contradicts_its_attributes_is_found(
    tmp_path: Path, book: Rulebook, title: str, attributes: str, true: bool
) -> None:
    """A wedge with the wrong sign or size, above all."""
    catalogue = shelf(
        tmp_path, book,
        f"{{id: a, kind: insole, title: '{title}', attributes: {{{attributes}}}, "
        "stock: {260: 1}}",
    )  # fmt: skip
    found = [f.code for f in shelf_findings(book, catalogue)]
    assert ("title-contradicts" in found) == (not true)
