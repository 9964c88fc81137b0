"""Two versions of a rulebook: all that changed, and what it does to customers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from recommend.catalogue.loading import Catalogue
from recommend.check.changes import accepted_since, signature, unseen, weakened
from recommend.check.crowds import Moves, moves_between
from recommend.check.finding import Finding
from recommend.check.released import page_edited
from recommend.check.weaker import fate_of
from recommend.rulebook.book import Rulebook
from recommend.rulebook.contents import Bearing, Edit, contents_of, edits_between

_CUSTOMERS_TAKE = 60  # steps: about as long as so many notes


@dataclass(frozen=True, slots=True)
class Difference:
    """What changed, in words and in numbers.

    Attributes
    ----------
    edits : everything that is not the same in the two folders, what decides first.
    moves : what it does to drawn customers; None when nothing that decides has changed.
    weakened : notes of the old version that some foot loses, and that nobody accepted.
    accepted : notes of which less is left, and the change log says why.
    stronger : notes that now come for feet for which they did not.
    unread : bearings that changed and that the new change log has no code for.
    sign : the line of the change log that says who saw the rulebook as it is now.
    same_version : whether both call themselves the same version although they differ.
    page : the version that the page's own texts are no more of; empty where they are.
    turned : questions asked in other words, so that an answer may mean another thing now.
    """

    edits: tuple[Edit, ...]
    moves: Moves | None
    weakened: tuple[Finding, ...]
    accepted: tuple[str, ...]
    stronger: tuple[str, ...]
    unread: tuple[Bearing, ...]
    sign: str
    same_version: bool
    page: str
    turned: tuple[str, ...]


def difference(
    books: tuple[Rulebook, Rulebook],
    catalogues: tuple[Catalogue, Catalogue],
    count: int,
    seed: int,
    told: Callable[[tuple[Edit, ...]], None] = lambda _edits: None,
    done: Callable[[int, int], None] = lambda _done, _of: None,
) -> Difference:
    """Compare an old and a new rulebook; see `moves_between` for the customers.

    Parameters
    ----------
    told : called with what changed as soon as that is known; the rest takes longer.
    done : called with how many steps of how many are done.
    """
    old, new = books
    contents = contents_of(new.texts)
    edits = edits_between(contents_of(old.texts), contents)
    told(edits)
    touched = {one.bearing for one in edits}
    decides = "decides" in touched
    noting = old.noting() if decides else ()
    steps = len(noting) + _CUSTOMERS_TAKE
    notes = []
    for step, rule in enumerate(noting):
        done(step, steps)
        notes.append(fate_of(new, old, rule))
    accepted = accepted_since(old, new)
    lesser = [one for one in notes if one.lost and one.rule not in accepted]
    return Difference(
        edits=edits,
        moves=moves_between(books, catalogues, count, seed) if decides else None,
        weakened=tuple(weakened(one, old.by_id[one.rule].place, new) for one in lesser),
        accepted=tuple(one.rule for one in notes if one.lost and one.rule in accepted),
        stronger=tuple(one.rule for one in notes if one.more),
        unread=tuple(b for b in unseen(new, contents) if b in touched),
        sign=signature(contents),
        page=page_edited(new),
        turned=tuple(one.id for one in edits if (one.thing, one.field) == ("question", "ask")),
        same_version=bool(touched - {"guards"}) and old.heading.version == new.heading.version,
    )
