"""What counts as serving a foot: ``serving.yaml``, the wishes that must be met.

A must rules a product out; of the wishes, those marked here are the ones without which a fitter
would not hand it over as fitting. Earlier rulebooks have no such file: there the musts decide.
"""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from recommend.errors import InputError, nearest
from recommend.reading import Id, Strict, validate
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Basis

FILE = "serving.yaml"


class Serves(Strict):
    """Wishes of some rules that must be met, the `part` of them from 0 to 1, and why."""

    rules: list[Id] = Field(min_length=1)
    wishes: list[str] = Field(min_length=1)
    part: float = Field(default=1.0, gt=0, le=1)
    because: str = Field(min_length=1)
    basis: Basis


class ServingFile(Strict):
    """``serving.yaml``."""

    title: str
    serves: list[Serves]


Required = Mapping[tuple[str, str], float]  # (rule, attribute) -> part that must be met


def required_wishes(book: Rulebook) -> Required:
    """By rule and attribute, the part of the wish that must be met; read at its first use.

    Raises
    ------
    InputError
        If the file does not fit, or names a rule, a wish or a source that is not there.
    """
    if ServingFile not in book.made:
        book.made[ServingFile] = dict(_required(book)) if FILE in book.texts else {}
    found: Required = book.made[ServingFile]
    return found


def _required(book: Rulebook) -> list[tuple[tuple[str, str], float]]:
    document = book.texts.document(FILE)
    found: list[tuple[tuple[str, str], float]] = []
    for n, entry in enumerate(validate(ServingFile, document).serves):
        strange = [one for one in entry.basis.sources if one not in book.sources]
        if strange:
            place = document.place(("serves", n, "basis", "sources"))
            raise InputError(place, f"`{strange[0]}` is not in sources.yaml",
                             mend=nearest(strange[0], book.sources) or "add it there")  # fmt: skip
        wished: set[str] = set()
        for rule in entry.rules:
            if rule not in book.by_id:
                raise InputError(document.place(("serves", n, "rules")),
                                 f"no rule is called `{rule}`",
                                 mend=nearest(rule, book.by_id))  # fmt: skip
            wishes = {one.attribute for one in book.by_id[rule].asks if one.strength == "prefer"}
            found += [((rule, name), entry.part) for name in entry.wishes if name in wishes]
            wished |= wishes
        if unknown := [name for name in entry.wishes if name not in wished]:
            raise InputError(document.place(("serves", n, "wishes")),
                             f"none of these rules wishes `{unknown[0]}`",
                             ", ".join(sorted(wished)), nearest(unknown[0], wished))  # fmt: skip
    return found
