"""Translations are held to what they translate."""

from __future__ import annotations

import pytest

from recommend.catalogue import load_catalogue
from recommend.check.wording import translation_findings
from recommend.errors import InputError
from recommend.extras import shipped_folder
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.contents import contents_of, edits_between
from recommend.rulebook.loading import read_rulebook
from recommend.show.sheet import Wording, messages, page, sheet_of
from recommend.trial.whole_trial import trial_outcome
from recommend.visit import read_visit
from recommend.way import outcome_of
from tests.check.conftest import Changed

GERMAN = "translations/de.yaml"
DEMO = shipped_folder("catalogue_demo")


def test_the_shipped_translations_are_whole(book: Rulebook) -> None:
    """Nothing that customers read is missing, stale or needless."""
    assert "de" in book.translations
    assert list(translation_findings(book)) == []


def test_each_fault_of_a_translation_is_named_at_its_place(changed: Changed) -> None:
    """A sentence that changed, one that is missing, a field and an id that are misspelt."""
    folder = changed(
        ("need/structure.yaml", "a stiff arch gives little by itself", "a stiff arch gives little"),
        (GERMAN, "  see-new-pain:", "  see-new-pian:"),
        (GERMAN, "  need-low-arch-comfort:\n    because:", "  need-low-arch-comfort:\n    say:"),
    )
    found = {(f.code, f.level, f.mend.partition(' "')[0]) for f in _found(folder)}
    assert found == {
        ("stale-translation", "error", "look at the translation, and write the `original` as"),
        ("needless-translation", "error", "did you mean `see-new-pain`?"),
        ("needless-translation", "error", "remove it"),
        (
            "not-translated",
            "warning",
            "under `rules`, `see-new-pain`, `say` write the `original`",
        ),
        (
            "not-translated",
            "warning",
            "under `rules`, `need-low-arch-comfort`, `because` write the `original`",
        ),
    }
    lines = (folder / GERMAN).read_text("utf-8").splitlines()
    for finding in _found(folder):
        assert finding.place.file.endswith("de.yaml")
        if finding.code == "needless-translation":
            assert lines[finding.place.line - 1].strip() in ("say:", "because:")


def test_a_translation_to_nothing_is_refused(changed: Changed) -> None:
    """A customer's page never has a gap where a sentence should be."""
    german = '{original: "x", translation: " "}'
    folder = changed((GERMAN, "rules:\n", f"rules:\n  see-nothing:\n    say: {german}\n"))
    with pytest.raises(InputError, match=r"see-nothing.say.translation` is the text ` `"):
        load_rulebook(folder).translations.keys()


def test_a_stale_translation_is_not_printed(changed: Changed) -> None:
    """Where the English of a stop changed, a German page has the new English, not the old German.

    A rulebook of a shop with a translation of its own prints that one.
    """
    visit = read_visit(DEMO / "visits" / "red-flag-stop.yaml")
    sentence = _stop_said(load_rulebook(shipped_folder("rules")), visit)
    assert sentence not in _page(load_rulebook(shipped_folder("rules")), visit)
    stale = changed((GERMAN, f'original: "{sentence}', f'original: "Not {sentence}'))
    assert sentence in _page(load_rulebook(stale), visit)
    german = load_rulebook(shipped_folder("rules")).in_language("de")[sentence]
    own = changed(
        (GERMAN, f'original: "Not {sentence}', f'original: "{sentence}'),
        (GERMAN, german, "So sagt es unser Laden."),
    )
    assert "So sagt es unser Laden." in _page(load_rulebook(own), visit)


def test_a_rulebook_needs_no_translations(changed: Changed) -> None:
    """Without the folder nothing is missing; a file that does not fit is named as any other."""
    folder = changed((GERMAN, "title: Deutsch", "titel: Deutsch"))
    _, problems = read_rulebook(folder)
    assert any("titel" in one.found and one.mend for one in problems)
    (folder / GERMAN).unlink()
    book = load_rulebook(folder)
    assert book.translations == {}
    assert list(translation_findings(book)) == []


def test_a_changed_translation_is_told_by_diff(changed: Changed, book: Rulebook) -> None:
    """What a customer reads in another language is part of what two rulebooks differ in."""
    folder = changed((GERMAN, "ein steifes Gewölbe federt selbst wenig", "es federt"))
    edits = edits_between(contents_of(book.folder), contents_of(folder))
    assert [edit.words for edit in edits] == [
        "translation de, rules.need-stiff-arch-cushioning.because.translation: "
        "ein steifes Gewölbe federt selbst wenig becomes es federt"
    ]


def _found(folder):
    return list(translation_findings(load_rulebook(folder)))


def _stop_said(book, visit):
    outcome = outcome_of(visit, book, load_catalogue(DEMO, book.attributes))
    return next(note.say for note in outcome.assessment.notes if note.level == "stop")


def _page(book, visit):
    outcome = outcome_of(visit, book, load_catalogue(DEMO, book.attributes))
    return page(sheet_of(trial_outcome(outcome)), Wording("de", messages()))
