from __future__ import annotations

import re
import shutil
from dataclasses import replace
from html import escape, unescape
from html.parser import HTMLParser
from pathlib import Path
from statistics import fmean
from typing import Any

import pytest
import yaml

from recommend.catalogue import load_catalogue
from recommend.errors import InputError
from recommend.extras import shipped_folder
from recommend.reading.texts import Texts
from recommend.show.sheet import Paper, Sheet, Wording, messages, page, sheet_of
from recommend.show.sheet.page import _STYLE
from recommend.trial.whole_trial import trial_outcome
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests.shipped import book, run

DEMO = shipped_folder("catalogue_demo")
VOID = {"meta", "path", "rect", "circle"}


def sheet(name: str, chosen: str = "") -> Sheet:
    """The page's content for a demo visit, such as `trials/too-much`."""
    catalogue = load_catalogue(DEMO, book().attributes)
    visit = read_visit(DEMO / f"{name}.yaml", book().questions)
    return sheet_of(trial_outcome(outcome_of(visit, book(), catalogue)), chosen)


def written(name: str, language: str = "en", chosen: str = "", shop: str = "") -> str:
    """The page of a demo visit."""
    return page(sheet(name, chosen), Wording(language, messages()), shop)


class Tags(HTMLParser):
    """Collects tags and attributes, and complains about what does not close."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag that opens."""
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """Close the tag that is open."""
        assert self.open.pop() == tag


PAGES = ["trials/three-much-alike", "trials/hardly-moved", "visits/pronated",
         "visits/red-flag-stop", "visits/half-measured", "visits/child"]  # fmt: skip


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", PAGES)
def test_the_page_stands_by_itself(name: str, language: str) -> None:
    """Tags close; nothing is fetched, linked or run; the language and direction are told."""
    text = written(name, language)
    tags = Tags(text)
    names = {tag for tag, _ in tags.seen}
    assert not names & {"script", "link", "iframe", "img", "object", "form", "a"}
    attributes = {key for _, attrs in tags.seen for key in attrs}
    assert not {key for key in attributes if key.startswith("on")}
    assert not attributes & {"src", "href"}
    assert not re.search(r"url\(|@import|https?://", text)
    assert tags.seen[0] == ("html", {"lang": language, "dir": "ltr"})


def test_every_sentence_of_the_shipped_rulebook_is_translated() -> None:
    """What customers read is in every language of the page: rules/translations/ lacks nothing."""
    for code in messages().languages.keys() - {"en"}:
        texts = {" ".join(text.split()) for text in book().customer_texts.values()}
        assert texts - book().in_language(code).keys() == set()


def test_a_sentence_of_the_shop_is_marked_as_english() -> None:
    """What is not translated is printed as the rulebook has it, with its own language."""
    made = sheet("visits/red-flag-stop")
    without = replace(made.outcome, book=replace(book(), texts=_untranslated(book().texts)))
    text = page(replace(made, outcome=without), Wording("de", messages()))
    notes = without.assessment.notes
    assert notes
    for note in notes:
        assert f'<span lang="en" dir="ltr">{escape(note.say)}</span>' in text
    assert '<span lang="en"' not in written("visits/red-flag-stop", "de")


def test_a_stop_is_first_and_names_no_product() -> None:
    """The page of a stop sends to a clinician; no shoe, insole or wearing-in stands on it."""
    text = written("visits/red-flag-stop")
    first = text.index("See a clinician first")
    assert first < text.index("What we measured")
    assert "What was chosen" not in text
    assert "suggest" not in text
    assert "How to wear it in" not in text


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_caution_sends_nobody_to_a_clinician(language: str) -> None:
    """Cautions stand under a heading of their own, outside every notice for a clinician."""
    visit = read_visit(DEMO / "visits/pronated.yaml", book().questions)
    answers = {**visit.answers, "pregnancy": "yes", "diabetes": "yes"}
    catalogue = load_catalogue(DEMO, book().attributes)
    seen = outcome_of(visit.model_copy(update={"answers": answers}), book(), catalogue)
    wording = Wording(language, messages())
    text = page(sheet_of(trial_outcome(seen)), wording)
    notices = re.findall(r'<section class="notice notes">.*?</section>', text, re.DOTALL)
    assert len(notices) == 1
    caution = {"en": "Pregnancy", "de": "Schwangerschaft"}[language]
    assert "iabetes:" in notices[0]
    assert caution not in notices[0]
    heading = text.index(wording.text("cautions"))
    assert heading < text.index(caution)
    calm = page(sheet("visits/plain-neutral"), wording)
    assert wording.text("cautions") not in calm
    assert wording.text("notes-why") not in calm


def test_the_size_of_what_was_chosen_is_named() -> None:
    """Mondopoint of the product and its EU number, the latter by the Paris point."""
    # ISO 9407: the number on the box is a foot length in mm. A Paris point is 20/3 mm: the last
    # of a 265 mm size with 15 mm for the toes is 280 mm long, 280 / (20/3) = 42.0 points; of
    # 242.5 mm 257.5 / (20/3) = 38.6, to half sizes 38.5.
    pair = "weddelford-town+meskerholm-soft"
    made = sheet("trials/three-much-alike", pair)
    assert made.choices[0].sizes == ((265, 265), (265, 265))
    assert "Size: Mondopoint 265 mm, as on the box; about EU 42." in written(
        "trials/three-much-alike", chosen=pair
    )
    assert "Größe: Mondopoint 265 mm, wie auf dem Karton; etwa EU 42." in written(
        "trials/three-much-alike", "de", pair
    )
    other = replace(made, choices=(replace(made.choices[0], sizes=((242.5, 242.5), None)),))
    text = page(other, Wording("de", messages()))
    assert "Mondopoint 242,5 mm, wie auf dem Karton; etwa EU 38,5." in text
    assert "noch offen" in text


def means(story: str, step: int) -> tuple[str, str]:
    """Mean of the left heel's strides barefoot and in a step, by the standard library."""
    told = yaml.safe_load((DEMO / "trials" / f"{story}.yaml").read_text("utf-8"))
    entries = [one["feet"]["left"]["rearfoot"][0] for one in (told, told["trials"][step])]
    before, after = (f"{fmean(entry['peak']):.1f}" for entry in entries)
    return before, after


def test_the_best_tried_combination_is_on_the_page_with_its_numbers() -> None:
    """Titles of both parts, before and after, and the comfort rating."""
    text = written("trials/three-much-alike")
    assert "your own shoe" in text
    assert "Meskerholm insole" in text
    before, after = means("three-much-alike", 2)
    assert f"{before}° → {after}°</bdi>, too small to tell" in text
    assert "8 of 10" in text
    before, after = means("measures-well-hurts", 2)
    assert f"{before}° → {after}°</bdi>, clear" in written("trials/measures-well-hurts")


def test_none_of_these_is_said_to_the_customer() -> None:
    """When nothing that was tried will do, no product is put on the page."""
    told = yaml.safe_load((DEMO / "trials" / "measures-well-hurts.yaml").read_text("utf-8"))
    told["trials"] = [step for step in told["trials"] if step.get("insole") == "ommerstead-firm"]
    seen = outcome_of(
        Visit.model_validate(told | {"date": None}), book(), load_catalogue(DEMO, book().attributes)
    )
    text = page(sheet_of(trial_outcome(seen)), Wording("en", messages()))
    assert "None of what was tried today" in text
    assert "Ommerstead" not in text


def test_what_the_rules_exclude_is_not_put_on_a_page() -> None:
    """Choosing an excluded product by hand is refused, and so is one that does not exist."""
    with pytest.raises(InputError, match="excluded by the rules"):
        sheet("trials/too-much", "own+bindlegarth-4-firm")
    with pytest.raises(InputError, match="not on the shortlist"):
        sheet("trials/too-much", "no-such-shoe")


def test_what_was_chosen_by_hand_takes_the_place_of_the_best() -> None:
    """The fitter's choice is on the page, though another measured better."""
    text = written("trials/three-much-alike", chosen="weddelford-town")
    chosen = re.findall(r'<p class="product">(.*?)</p>', text)
    assert chosen == ["Shoe: Weddelford town shoe, quiet sole"]


def test_numbers_are_written_as_the_language_writes_them() -> None:
    """A decimal comma in German, a point in English, and a true minus in both."""
    before, after = (number.replace(".", ",") for number in means("three-much-alike", 2))
    assert f"{before}° → {after}°" in written("trials/three-much-alike", "de")
    assert Wording("de", messages()).number(-1.5, 1) == "−1,5"
    assert Wording("en", messages()).number(-0.04, 1) == "0.0"
    assert Wording("en", messages()).number(2, 1, sign=True) == "+2.0"


def test_what_people_typed_cannot_break_the_page() -> None:
    """A shop's name with markup is shown as it was typed."""
    text = written("visits/pronated", shop='Feet & <b>"More"</b>')
    Tags(text)
    assert "Feet &amp; &lt;b&gt;" in text


def test_a_language_without_its_texts_is_refused(tmp_path: Path) -> None:
    """A missing text, or other words in braces, is named with its file."""
    file = tmp_path / "messages.yaml"
    head = "title: T\nlanguages:\n  en: {name: E, direction: ltr, decimal: '.'}\n"
    head += "  xx: {name: X, direction: rtl, decimal: '.'}\npage:\n"
    file.write_text(f"{head}  title: {{en: Feet}}\n", encoding="utf-8")
    with pytest.raises(InputError, match="lacks the language xx"):
        messages(file)
    file.write_text(f"{head}  title: {{en: 'F {{a}}', xx: 'F {{b}}'}}\n", encoding="utf-8")
    messages.cache_clear()
    with pytest.raises(InputError, match=r"other \{words\}"):
        messages(file)
    with pytest.raises(InputError, match="allowed: en, de"):
        Wording("fr", messages())


def right_to_left() -> Wording:
    """A language that reads from right to left, with the English words standing in."""
    texts = messages().model_dump()
    texts["languages"]["ar"] = {"name": "Mirror", "direction": "rtl", "decimal": "."}
    texts["page"] = {key: {**t, "ar": t["en"]} for key, t in texts["page"].items()}
    return Wording("ar", type(messages()).model_validate(texts))


def test_the_page_can_read_from_right_to_left() -> None:
    """Direction comes from the messages; the style has no left or right of its own."""
    text = page(sheet("trials/three-much-alike"), right_to_left())
    assert Tags(text).seen[0] == ("html", {"lang": "ar", "dir": "rtl"})
    style = _STYLE.read_text(encoding="utf-8")
    assert not re.search(r"\b(left|right)\b", style)


def test_paper_and_large_letters_are_chosen() -> None:
    """Letter paper and the large variant are in the style and on the root."""
    wording = Wording("en", messages())
    text = page(sheet("visits/pronated"), wording, "", Paper("letter", large=True))
    assert "size: letter" in text
    assert '<html lang="en" dir="ltr" class=large>' in text


def test_the_command_writes_beside_the_visit_with_the_shops_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Name of the shop and language come from the settings; a stop ends with exit code 3."""
    monkeypatch.setenv("RECOMMEND_SHOP", "Ganglabor Quillabeck")
    monkeypatch.setenv("RECOMMEND_LANGUAGE", "de")
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "pronated.yaml", visit)
    assert run("sheet", visit) == 0
    text = (tmp_path / "v.html").read_text(encoding="utf-8")
    assert "Ganglabor Quillabeck" in text
    assert 'lang="de"' in text
    shutil.copy(DEMO / "visits" / "red-flag-stop.yaml", visit)
    assert run("sheet", visit) == 3
    assert run("sheet", visit, "--language", "fr") == 2
    assert run("sheet", visit, "--to", tmp_path / "none" / "x.html") == 2


def _untranslated(texts: Texts) -> Texts:
    """The files of a rulebook without its translations."""
    files = {name: body for name, body in texts.items() if not name.startswith("translations/")}
    return Texts(texts.where, files, {})


def _words(text: str) -> str:
    """What a reader sees of a page."""
    told = re.sub(r"<style>.*?</style>|<[^>]+>", " ", text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", unescape(told))


def test_a_band_is_called_usual_only_where_published_figures_stand_behind_it() -> None:
    """Of the adult's posture the band is usual, of the arch height ratio it is the shop's own."""
    bands = {one.name: one for one in sheet("visits/pronated").readings if one.band}
    assert bands["fpi"].published
    assert not bands["arch-height-ratio"].published
    text = _words(written("visits/pronated"))
    for name, words in (("arch-height-ratio", "the shop's band"), ("fpi", "usual")):
        band = bands[name].band
        places = book().measures[name].decimals
        assert band is not None
        assert f"{words}: {band.low:.{places}f} to {band.high:.{places}f}" in text


ACHE, EVERY = "A mild ache in foot or calf", "anything aches, rubs or presses, however little"


@pytest.mark.parametrize(
    ("change", "normal"),
    [
        ({}, True),
        ({"age_band": "child"}, False),
        ({"age_band": None}, False),
        ({"answers": {"fragile-skin": "yes"}}, False),
        ({"answers": {"fragile-skin": "not-asked"}}, False),
        ({"answers": {"diabetes": "yes", "ulcer-amputation-kidneys": "no"}}, False),
        ({"answers": {"pregnancy": "yes"}}, False),
    ],
)
def test_an_ache_is_normal_only_for_those_for_whom_it_may_be(change: Any, normal: bool) -> None:
    """A grown-up with harmless answers may wait a mild ache out; nobody else is told so."""
    catalogue = load_catalogue(DEMO, book().attributes)
    visit = read_visit(DEMO / "visits/pronated.yaml", book().questions)
    answers = {**visit.answers, **change.get("answers", {})}
    seen = visit.model_copy(update={**change, "answers": answers})
    text = page(
        sheet_of(trial_outcome(outcome_of(seen, book(), catalogue))), Wording("en", messages())
    )
    assert (ACHE in text) is normal
    if not normal and "Stop wearing" in text:
        assert EVERY in text


def test_a_stop_page_speaks_of_no_measurement_that_was_not_taken() -> None:
    """It says whom to see and how soon, and neither `not measured`, a band, nor what suits."""
    text = _words(written("visits/red-flag-stop"))
    assert "not measured" not in text
    assert "does not settle" not in text
    assert "what suits" not in text
    stops = [n for n in sheet("visits/red-flag-stop").outcome.assessment.notes if n.level == "stop"]
    assert stops
    for note in stops:
        assert re.search(r"doctor|clinic|emergency department", note.say)
        assert re.search(r"the same day|at once|within", note.say)


def test_motion_is_not_sold_as_health() -> None:
    """The page says that a change of motion is no change of pain or injury; no trial is claimed."""
    for name in ("trials/three-much-alike", "visits/supinated-high-arch"):
        text = _words(written(name))
        assert "does not mean that pain or injury does" in text
        assert "eased painful high-arched feet" not in text


def test_where_nothing_new_is_asked_for_the_page_says_that_the_own_shoes_do() -> None:
    """It names no product, no size and no wearing in, and pretends no reason for what they are."""
    made = sheet("visits/plain-neutral")
    assert not made.choices
    text = _words(written("visits/plain-neutral"))
    assert "Your own shoes will do" in text
    assert not re.search(r"How to wear it in|Not quite as wished|Mondopoint|Or, more simply", text)
