"""Whether what customers read is translated, word for word as the rulebook has it now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from recommend.check.finding import Finding
from recommend.errors import nearest
from recommend.reading import Document
from recommend.rulebook.book import Rulebook
from recommend.rulebook.translations import Key, Translation


def translation_findings(book: Rulebook) -> Iterator[Finding]:
    """For each language that the rulebook has: what is missing, stale, or translates nothing."""
    for code, translated in book.translations.items():
        at = book.texts.document(f"translations/{code}.yaml")
        yield from _missing(book, code, translated, at)
        for key, one in translated.items():
            yield from _needless_or_stale(book, key, one, at)


def _missing(
    book: Rulebook, code: str, translated: Mapping[Key, Translation], at: Document
) -> Iterator[Finding]:
    for key, text in book.customer_texts.items():
        if key not in translated:
            yield Finding(
                "not-translated",
                "warning",
                at.place((key.things,) if key.things in at.data else (), key=True),
                f"`{key.id}` of {key.things} has no `{key.field}` in `{code}`",
                mend=f"under `{key.things}`, `{key.id}`, `{key.field}` write the `original` "
                f'"{" ".join(text.split())}" and its `translation`',
            )


def _needless_or_stale(
    book: Rulebook, key: Key, one: Translation, at: Document
) -> Iterator[Finding]:
    text = book.customer_texts.get(key)
    place = at.place(tuple(key), key=True)
    if text is None:
        known = [other for other in book.customer_texts if other.things == key.things]
        fields = [other.field for other in known if other.id == key.id]
        ids = {other.id for other in known}
        hint = nearest(key.field, fields) if fields else nearest(key.id, ids)
        yield Finding(
            "needless-translation",
            "error",
            place,
            f"customers read no `{key.field}` of `{key.id}` in {key.things}",
            ", ".join(f"`{field}`" for field in fields),
            hint or "remove it",
        )
    elif not one.of(text):
        yield Finding(
            "stale-translation",
            "error",
            place,
            f"`{key.field}` of `{key.id}` was translated from another sentence than it has now",
            mend=f'look at the translation, and write the `original` as "{" ".join(text.split())}"',
        )
