"""The customer's page as one HTML file: no script, no link, nothing fetched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from html import escape
from pathlib import Path
from typing import Literal

from recommend.infer.assess import Assessment, Note
from recommend.measure.definitions import unit_words
from recommend.measure.model import SIDES, Measure, Side
from recommend.measure.sizing import box_size
from recommend.rulebook.book import Rulebook
from recommend.rulebook.translations import plain
from recommend.show.answer import noted
from recommend.show.change_picture import change_figure
from recommend.show.curves import CurveWords, figure
from recommend.show.labels import Names, capital, names_of
from recommend.show.pages import document
from recommend.show.sheet.content import Ending, PageProduct, PageReading, Sheet
from recommend.show.sheet.messages import SOURCE, Wording
from recommend.show.sheet.parts import after_parts, gauge
from recommend.trial.judged_steps import order
from recommend.trial.pictures import change_pictures
from recommend.trial.steps import READINGS, ReadingKey
from recommend.trial.verdict import Band, JudgedReading
from recommend.visit.models import Pain

_MARK = "\ue000"  # of the private use area: in no text
_STYLE = Path(__file__).with_name("page.css")


@dataclass(frozen=True, slots=True)
class Paper:
    """What the page is printed on, and how large its letters are."""

    size: Literal["a4", "letter"] = "a4"
    large: bool = False


def page(
    sheet: Sheet,
    wording: Wording,
    shop: str = "",
    paper: Paper | None = None,
    last: tuple[int, str, str] | None = None,
) -> str:
    """The whole page.

    Parameters
    ----------
    sheet : what stands on it.
    wording : the language.
    shop : the shop's name, or nothing.
    paper : A4 or Letter, ordinary or large letters.
    last : number, day and hash of the shop's last record, for a line that witnesses them.
    """
    return _Page(sheet, wording, shop, paper or Paper(), last).html()


@dataclass(frozen=True)
class _Page:
    sheet: Sheet
    w: Wording
    shop: str
    paper: Paper
    last: tuple[int, str, str] | None

    def html(self) -> str:
        """The document."""
        size = {"a4": "A4", "letter": "letter"}[self.paper.size]
        css = _STYLE.read_text(encoding="utf-8").replace("A4", size)
        large = " class=large" if self.paper.large else ""
        attributes = f'lang="{self.w.code}" dir="{self.w.language.direction}"{large}'
        body = "\n".join(self.parts())
        return document(self.title, f"<style>\n{css}</style>", body, attributes)

    @property
    def seen(self) -> Assessment:
        """What was seen of the feet."""
        return self.sheet.outcome.assessment

    @property
    def book(self) -> Rulebook:
        """The rulebook that judged it."""
        return self.sheet.outcome.book

    @property
    def stopped(self) -> bool:
        """Whether a stop withholds every product."""
        return self.sheet.ending is Ending.STOP

    @property
    def title(self) -> str:
        """The heading of the page; under a stop nothing suits."""
        return self.t("title-stop" if self.stopped else "title")

    def parts(self) -> Iterator[str]:
        """Everything between the body's tags."""
        yield from self.head()
        yield "<main>"
        if self.stopped:
            yield from self.notes("stop", "stop-why", "stop")
        yield from self.measured()
        yield from self.meaning()
        yield from self.pain()
        yield from self.notes("notes", "notes-why", "see-clinician")
        if not self.stopped:
            yield from self.cautions()
            yield from self.choice()
        if self.sheet.ending in (Ending.CHOSEN, Ending.SUGGESTED):
            yield from after_parts(self.w, self.sheet.outcome)
        if not self.stopped:
            yield self.room()
        yield "</main>"
        keys = ("caution", "private") if self.stopped else ("caution", "evidence", "private")
        foot = " ".join(self.t(key) for key in keys)
        rules = self.t("rules", stamp=self.book.stamp)
        if self.last:
            number, day, content = self.last
            rules += " " + self.t("records", number=str(number), day=day, hash=content)
        yield f"<footer><p>{foot} {rules}</p></footer>"

    def t(self, key: str, **words: str) -> str:
        """A text of the page, escaped."""
        return escape(self.w.text(key, **words))

    def with_html(self, key: str, word: str, html: str, **words: str) -> str:
        """A text of the page with one word that is HTML already."""
        return self.t(key, **{word: _MARK}, **words).replace(_MARK, html)

    def said(self, sentence: str) -> str:
        """A sentence of the rulebook, marked where it is in another language than the page."""
        text, code = self.of_rulebook(sentence)
        if code == self.w.code:
            return escape(text)
        return f'<span lang="{code}" dir="ltr">{escape(text)}</span>'

    def of_rulebook(self, sentence: str) -> tuple[str, str]:
        """A sentence of the rulebook and the language it is in: ours, or as it was written."""
        as_written = plain(sentence)
        translated = self.translated.get(as_written)
        return (translated, self.w.code) if translated else (as_written, SOURCE)

    @cached_property
    def translated(self) -> dict[str, str]:
        """What the rulebook says, in the language of the page."""
        return self.book.in_language(self.w.code)

    def head(self) -> Iterator[str]:
        """Shop, title, reference, date."""
        visit = self.seen.visit
        shop = f'<p class="shop">{escape(self.shop)}</p>' if self.shop else ""
        date = f" · {self.t('date', date=self.w.day(visit.date))}" if visit.date else ""
        yield (
            f"<header>{shop}<h1>{self.title}</h1>"
            f"<p>{self.t('reference', reference=visit.reference)}{date}</p></header>"
        )

    def notes(self, title: str, why: str, level: str) -> Iterator[str]:
        """What a clinician should see; nothing when there is none."""
        notes = noted(self.sheet.outcome, level)
        if notes:
            yield f'<section class="notice {title}"><h2>{self.t(title)}</h2>'
            yield f"{self.list_of(notes)}<p>{self.t(why)}</p></section>"

    def cautions(self) -> Iterator[str]:
        """What the fitter heeds; it sends nobody to a clinician, so it stands apart."""
        notes = noted(self.sheet.outcome, "caution")
        if notes:
            yield f"<section><h2>{self.t('cautions')}</h2><p>{self.t('cautions-why')}</p>"
            yield f"{self.list_of(notes)}</section>"

    def list_of(self, notes: Iterable[Note]) -> str:
        """Notes as a list."""
        return f"<ul>{''.join(f'<li>{self.said(note.say)}</li>' for note in notes)}</ul>"

    def meaning(self) -> Iterator[str]:
        """The sentence of each foot's type; said once where both feet have the same."""
        book, feet = self.book, self.seen.feet
        measured = {side for one in self.sheet.readings for side in one.measures}
        said: dict[str, str] = {
            side: self.said(book.types[kind].sentence)
            if (kind := feet[side].foot_type) is not None
            else self.t("undetermined")
            for side in SIDES
            if side in measured  # nothing is said of what was not measured
        }
        if (self.stopped and not any(feet[side].foot_type for side in SIDES)) or not said:
            return
        if len(said) == len(SIDES) and said["left"] == said["right"]:
            said = {"both": said["left"]}
        yield f"<section><h2>{self.t('meaning')}</h2>"
        for who, words in said.items():
            yield f"<p><strong>{self.t(who)}:</strong> {words}</p>"
        yield "</section>"

    def pain(self) -> Iterator[str]:
        """Where it hurts, as it was told; nothing when nothing was asked or hurts."""
        told = [self.one_pain(one) for one in self.seen.visit.pain or ()]
        if told:
            yield f"<section><h2>{self.t('pain')}</h2><p>{'; '.join(told)}.</p></section>"

    def one_pain(self, pain: Pain) -> str:
        """One painful site: ``heel left, 4 of 10, for 12 weeks``."""
        words = [f"{self.t(f'site-{pain.site}')} {self.t(f'side-{pain.side}')}"]
        if pain.score is not None:
            words.append(self.t("pain-score", score=str(pain.score)))
        if pain.weeks is not None:
            weeks = self.w.number(pain.weeks, 0 if pain.weeks == int(pain.weeks) else 1)
            words.append(self.t("pain-week" if pain.weeks == 1 else "pain-weeks", weeks=weeks))
        return ", ".join(words)

    def room(self) -> str:
        """Room for the fitter's own words, and for the day to come back where none is agreed."""
        decision = self.seen.visit.decision
        lines = '<p class="line"></p>' * 3
        back = "" if decision and decision.back_on else f"<p>{self.t('back-on')} ______________</p>"
        return f'<section class="room"><h2>{self.t("room")}</h2>{lines}{back}</section>'

    def choice(self) -> Iterator[str]:
        """What was chosen or is suggested, why, and what changed."""
        ending = self.sheet.ending
        title = "chosen" if ending in (Ending.CHOSEN, Ending.NONE_CHOSEN) else "suggested"
        if self.sheet.choices and self.seen.clinician_first:
            title = "once-agreed"
        if not self.sheet.choices:
            title = "came-of-it"
        yield f"<section><h2>{self.t(title)}</h2>"
        if not self.sheet.choices:
            yield f"<p>{self.t(ending.value)}</p>"
        for number, choice in enumerate(self.sheet.choices):
            yield from self.one_choice(choice, first=number == 0)
        if self.sheet.choices:
            yield from self.unlike()
            yield f"<p>{self.t('average')}</p>"
        yield "</section>"

    def unlike(self) -> Iterator[str]:
        """In what the two feet ask for what one pair cannot both give."""
        ranked, book = self.sheet.outcome.shortlist, self.book
        names = [one.kept.attribute for one in ranked.needs.conflicts] if ranked else []
        said = dict.fromkeys(self.said(book.attributes[name].short) for name in names)
        if said:
            yield f"<p>{self.with_html('unlike', 'things', ', '.join(said))}</p>"

    def one_choice(self, choice: PageProduct, *, first: bool) -> Iterator[str]:
        """One product or pair; a second suggestion has mostly the same reasons."""
        names = [
            self.t("own-shoe") if title is None else f"{self.t(kind)}: {escape(title)}"
            for title, kind in zip(choice.titles, choice.kinds, strict=True)
        ]
        before = "" if first else f"{self.t('or-else')}: "
        yield f'<p class="product">{before}{" + ".join(names)}</p>'
        yield from self.sizes(choice)
        if choice.reasons and first:
            yield "<ul>"
            for sides, because in choice.reasons:
                key = "because-both" if len(sides) == len(SIDES) else f"because-{sides[0]}"
                yield f"<li>{self.with_html(key, 'reason', self.said(because))}</li>"
            yield "</ul>"
        if choice.less:
            things = ", ".join(self.said(name) for name in choice.less)
            yield f"<p>{self.with_html('less-than-wished', 'things', things)}</p>"
        if choice.tried is not None:
            yield from self.tried(choice)

    def sizes(self, choice: PageProduct) -> Iterator[str]:
        """The size of what was chosen, said once where its parts are of one size."""
        bought = [(t, s) for t, s in zip(choice.titles, choice.sizes, strict=True) if t is not None]
        if not bought:
            return
        said = {self.size(size): title for title, size in bought}
        if len(said) == 1:
            yield from (f"<p>{size}</p>" for size in said)
        else:
            yield from (f"<p>{escape(t)}: {self.size(size)}</p>" for t, size in bought)

    def size(self, sizes: tuple[float, float] | None) -> str:
        """One size for both feet, or one for each, in Mondopoint and EU numbers."""
        if sizes is None:
            return self.t("size-open")
        left, right = map(self.one_size, sizes)
        return left if left == right else f"{self.t('left')}: {left}; {self.t('right')}: {right}"

    def one_size(self, mondopoint: float) -> str:
        """One size, in Mondopoint and EU numbers."""
        eu = box_size("eu", mondopoint, self.book.parameters)
        numbers = {"mm": mondopoint, "eu": eu}
        shown = {k: self.w.number(n, 0 if n == int(n) else 1) for k, n in numbers.items()}
        return self.t("size", **shown)

    def tried(self, choice: PageProduct) -> Iterator[str]:
        """Before and after in numbers, and the curves of all steps."""
        result = choice.tried
        if result is None:
            return
        yield f"<h3>{self.t('tried')}</h3>"
        if result.whole:
            yield from self.changes(result.whole)
        if result.comfort is not None:
            yield f"<p>{self.t('comfort', rating=self.w.number(result.comfort, 0))}</p>"
        for drawn in change_pictures(self.sheet.trial.trial):
            words = self.picture_words(
                "before-now", drawn.gait, (r.key.reading for r in drawn.rows)
            )
            yield f"<figure>{change_figure(drawn, words)}</figure>"
        for picture in self.sheet.trial.pictures:
            if picture.captured:
                words = self.picture_words("curves", picture.gait, picture.spans)
                yield f"<figure>{figure(picture, words)}</figure>"

    def picture_words(self, title: str, gait: str, readings: Iterable[str]) -> CurveWords:
        """What stands in a picture of changes, or of curves."""
        return CurveWords(
            self.w.text(title, gait=self.w.text(gait)),
            self.w.text(f"{title}-text"),
            {side: self.w.text(side) for side in SIDES},
            {name: self.w.text(f"reading-{name}") for name in readings},
            self.w.text("usual-band"),
            self.names,
            self.w.text("curves-mark"),
            self.w.text("before-now-change"),
            self.w.text("barefoot"),
            self.w.text("to"),
            lambda value: self.w.number(value, 1, sign=True),
        )

    @cached_property
    def names(self) -> Names:
        """What the try-ons are called, in the language of the page."""
        named = names_of(self.sheet.outcome)
        own, bare = self.w.text("own-shoe"), self.w.text("barefoot")
        return replace(named, own=own, barefoot=bare, joined=" + ")

    def changes(self, whole: Mapping[ReadingKey, JudgedReading]) -> Iterator[str]:
        """A table of before and after: a row for each part of the step, a column for each foot."""
        feet = "".join(f'<th scope="col">{self.t(side)}</th>' for side in SIDES)
        head = f'<th scope="col">{self.t("reading")}</th>{feet}'
        yield f"<table><thead><tr>{head}</tr></thead><tbody>"
        for phase, gait in dict.fromkeys((k.reading, k.gait) for k in sorted(whole, key=order)):
            cells = "".join(
                f"<td>{self.before_after(side, phase, gait, whole)}</td>" for side in SIDES
            )
            name = self.said(self.book.measures[READINGS[phase].measure].plain)
            name = name if phase == gait else f"{name}, {self.t(gait)}"
            yield f'<tr><th scope="row">{name}</th>{cells}</tr>'
        yield f"</tbody></table><p>{self.t('with-it')}</p>"

    def before_after(
        self, side: Side, phase: str, gait: str, whole: Mapping[ReadingKey, JudgedReading]
    ) -> str:
        """One reading of one foot, before and after."""
        found = [j for k, j in whole.items() if (k.side, k.reading, k.gait) == (side, phase, gait)]
        if not found:
            return self.t("not-measured")
        judged, moved = found[0], found[0].change
        unit = " %" if phase == "peak-time" else "°"
        before, after = (self.w.number(one.mean, 1) for one in (moved.before, moved.after))
        how = "doubtful" if judged.doubtful else "told" if moved.told else "not-told"
        numbers = _numbers(f"{before}{unit} → {after}{unit}")
        return self.with_html("change", "numbers", numbers, told=self.w.text(how))

    def measured(self) -> Iterator[str]:
        """The table of readings with its pictures."""
        if not self.sheet.readings:
            return
        yield f'<section class="measured"><h2>{self.t("measured")}</h2>'
        heads = ("reading", "left", "right", "compared")
        cells = "".join(f'<th scope="col">{self.t(key)}</th>' for key in heads)
        yield f"<table><thead><tr>{cells}</tr></thead><tbody>"
        for reading in self.sheet.readings:
            feet = "".join(f"<td>{self.value(reading, side)}</td>" for side in SIDES)
            band = self.compared(reading)
            yield f'<tr><th scope="row">{self.named(reading)}</th>{feet}<td>{band}</td></tr>'
        angles = any(reading.name.endswith("-angle") for reading in self.sheet.readings)
        bars = any(reading.band for reading in self.sheet.readings)
        told = {"angles": angles, "bars": bars, "measured-how": True}
        how = " ".join(self.t(key) for key, true in told.items() if true)
        yield f"</tbody></table><p>{how}</p>"
        for side in SIDES:
            measures = [one.measures[side] for one in self.sheet.readings if side in one.measures]
            if any(flag.effect == "widened" for one in measures for flag in one.flags):
                yield f"<p>{self.t('less-sure', foot=capital(self.w.text(side)))}</p>"
        yield "</section>"

    def named(self, reading: PageReading) -> str:
        """The name of a reading with its gait."""
        measure = next(iter(reading.measures.values()))
        plain = self.said(self.book.measures[reading.name].plain)
        gait = measure.qualifiers.get("gait")
        return f"{plain}, {self.t(gait)}" if gait in ("walking", "running") else plain

    def value(self, reading: PageReading, side: Side) -> str:
        """A reading of one foot: number, error, picture."""
        measure = reading.measures.get(side)
        if measure is None or isinstance(measure.value, str):
            return "–" if self.stopped else self.t("not-measured")
        words = self.words(measure)
        if reading.band is None:
            return _numbers(words)
        beyond = self.beyond(measure, reading.band)
        label = self.w.text(
            "gauge",
            reading=self.of_rulebook(self.book.measures[reading.name].plain)[0],
            foot=self.w.text(side),
            value=words,
            range=self.band_words(reading, self.range(reading)),
        )
        picture = gauge(measure.value, measure.error, reading.band, label)
        return f'<span class="value">{_numbers(words)}</span>{picture}{beyond}'

    def beyond(self, measure: Measure, usual: Band) -> str:
        """That a reading is not what is usual, in words, and whether its error explains it."""
        apart = usual.outside(float(measure.value))
        if not apart:
            return ""
        margin = self.book.parameters.noise.clearly * (measure.error or 0.0)
        way = "above" if float(measure.value) > usual.high else "below"
        key = f"{way}-within" if apart <= margin else way
        return f'<small class="beyond">{self.t(key)}</small>'

    def words(self, measure: Measure) -> str:
        """A number with its unit and error."""
        places = self.book.measures[measure.name].decimals
        text = self.w.number(float(measure.value), places) + unit_words(measure.unit)
        if measure.error:
            text += f" ±{self.w.number(measure.error, max(places, 1))}"
        return text

    def compared(self, reading: PageReading) -> str:
        """What it is compared with; a dash where no limit says so."""
        if reading.band is None:
            return "–"
        words = escape(self.band_words(reading, _MARK))
        return words.replace(_MARK, _numbers(self.range(reading)))

    def band_words(self, reading: PageReading, range_: str) -> str:
        """A band with its name: usual only where published figures stand behind it."""
        return self.w.text("usual" if reading.published else "shop-band", range=range_)

    def range(self, reading: PageReading) -> str:
        """The ends of its band."""
        measure = next(iter(reading.measures.values()))
        places = self.book.measures[measure.name].decimals
        assert reading.band is not None
        low, high = (self.w.number(e, places) for e in (reading.band.low, reading.band.high))
        return self.w.text("range", low=low, high=high) + unit_words(measure.unit)


def _numbers(text: str) -> str:
    """Numbers with signs and units, which read from left to right in every language."""
    return f'<bdi dir="ltr">{escape(text)}</bdi>'
