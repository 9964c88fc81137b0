"""What customers read of a rulebook in other languages: ``translations/CODE.yaml``.

Each translation stands under the thing and the field it translates, beside the original that was
translated. Where the original has changed since, the translation is stale: it is not used, and
`recommend check` names it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Literal, NamedTuple, TypeAlias, get_args

from recommend.reading import Id, Strict, Words, validate
from recommend.reading.texts import Texts

Things: TypeAlias = Literal["types", "rules", "attributes", "measures"]


class Key(NamedTuple):
    """Where a text stands: in which file's things, under which id, in which field."""

    things: Things
    id: str
    field: str


class Translation(Strict):
    """A text as the rulebook had it when it was translated, and in the other language."""

    original: Words
    translation: Words

    def of(self, text: str) -> bool:
        """Whether it still translates `text`; line breaks of the file do not count."""
        return plain(self.original) == plain(text)


class TranslationsFile(Strict):
    """``translations/CODE.yaml``: by id and field, what customers read."""

    title: str
    types: dict[Id, dict[str, Translation]] = {}
    rules: dict[Id, dict[str, Translation]] = {}
    attributes: dict[str, dict[str, Translation]] = {}
    measures: dict[Id, dict[str, Translation]] = {}

    def by_key(self) -> dict[Key, Translation]:
        """All translations of the file."""
        return {
            Key(things, name, field): one
            for things in get_args(Things)
            for name, fields in getattr(self, things).items()
            for field, one in fields.items()
        }


def translations_of(texts: Texts) -> Translations:
    """By language, every translation of a rulebook; none where it has none.

    Raises
    ------
    InputError
        If a file does not fit.
    """
    return {
        Path(file).stem: validate(TranslationsFile, texts.document(file)).by_key()
        for file in texts.under("translations")
    }


Translations: TypeAlias = Mapping[str, Mapping[Key, Translation]]


def plain(text: str) -> str:
    """`text` without its line breaks."""
    return " ".join(text.split())
