"""Opening a rulebook: read and checked, or as an earlier start kept what came of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from recommend.errors import Place
from recommend.parameters import Parameters
from recommend.reading import Strict
from recommend.reading.prepared import classes_of, prepared
from recommend.reading.texts import Texts, digest_of
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import Number, Word
from recommend.rulebook.vocabulary import Vocabulary


def load_rulebook(source: Path | str | Texts, *, kept: bool = False) -> Rulebook:
    """Read, check and compile a rulebook: a folder, or the texts of one.

    One that was `kept` may be of an earlier version, which named other parameters.

    Raises
    ------
    InputError
        For the first thing that does not fit: a missing file, a schema error, an unknown
        name (with the nearest spelling), a duplicate id, rules in a circle.
    """
    from recommend.rulebook.loading import read_rulebook  # only here: what is prepared needs none

    book, problems = read_rulebook(source, whole=False, kept=kept)
    if book is None:
        raise problems[0]
    return book


def prepared_rulebook(folder: Path | str | Texts, *, kept: bool = False) -> Rulebook:
    """As `load_rulebook`, or as an earlier start kept what came of the same texts.

    Raises
    ------
    InputError
        As `load_rulebook`.
    """
    texts = folder if isinstance(folder, Texts) else Texts.of_folder(folder)
    if texts.unread:
        return load_rulebook(texts, kept=kept)
    bare = prepared(
        "rulebook",
        (texts.where, digest_of(texts), "kept" if kept else "now"),
        lambda: classes_of(
            Strict, Rulebook, CompiledRule, Parameters, Vocabulary, Texts, Number, Word, Place
        ),
        lambda: _with_texts(load_rulebook(texts, kept=kept), _NO_TEXTS),
    )
    return _with_texts(bare, texts)


def _with_texts(book: Rulebook, texts: Texts) -> Rulebook:
    return replace(book, texts=texts, parameters=replace(book.parameters, texts=texts))


_NO_TEXTS = Texts("", {}, {})  # they are at hand whenever it is opened
