"""What a list of products does not state and rules need to know, and what that does to coverage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.crowd import crowd_of
from recommend.coverage.run import Question
from recommend.errors import counted
from recommend.reading.texts import Texts
from recommend.rulebook.book import Rulebook

CUSTOMERS, SEED = 2_000, 1  # a share is then sure to about two points


def unstated_lines(items: Sequence[Item], book: Rulebook) -> Iterator[str]:
    """Sentences on attributes that rule products out because nobody states them.

    Counted over the modelled population, sizes not looked at. Nothing is said when every product
    states what it must.
    """
    catalogue = Catalogue("", "", "", tuple(items), (), Texts.of("", {}))
    crowd = crowd_of(book, None, "modelled", CUSTOMERS, SEED, items=items)
    assessor = Question(book, catalogue, crowd).assessor()
    kinds = assessor.kinds(crowd.tally(book, assessor.classes))
    evaluator = assessor.evaluator(catalogue, kinds)
    weight = np.bincount(kinds.kind, kinds.weights, len(kinds.binding)) / CUSTOMERS
    for kind in ("shoe", "insole"):
        some = [item for item in items if item.product.kind == kind]
        if not some:
            continue
        for name in (n for n in book.attributes if n.startswith(f"{kind}.")):
            asked = kinds.binding[:, assessor.table.of(name)].any(axis=1)
            lacking = sum(name not in item.levels for item in some)
            if lacking and float(weight @ asked) > 0:
                yield (
                    f"{lacking} of {counted(len(some), kind)} do not state "
                    f"`{name.partition('.')[2]}` ({book.attributes[name].title}): ruled out for "
                    f"{100 * float(weight @ asked):.0f} % of expected customers"
                )
        stand, everyone = f"{kind} in pair", np.arange(len(kinds.binding))
        does = evaluator.fits(stand, "harmless", everyone)[:, : len(some)]
        nobody = int((~does.any(axis=0)).sum())
        if nobody:
            yield (
                f"As the list stands {nobody} of {counted(len(some), kind)} can be offered to none "
                f"of {CUSTOMERS:,} expected customers"
            )
