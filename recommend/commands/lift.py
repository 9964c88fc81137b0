"""`recommend visit lift`: let what did harm stand again, with a reason and the fitter's code."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Annotated, Any

import typer

from recommend.catalogue.shop import open_rulebook, open_visit
from recommend.commands.options import RulesFolder, VisitName, visit_file
from recommend.errors import InputError, Place, nearest
from recommend.match.out import findings, harmful, lifted_words
from recommend.parameters import Parameters
from recommend.settings import setting
from recommend.show.dialogue import say
from recommend.visit.models import Visit
from recommend.visit.writing import edit_visit

_SHORTEST = 10  # letters of a reason, as the model of a visit asks


def lift(
    visit: VisitName,
    product: Annotated[
        str | None, typer.Argument(help="the product to lift; left out, what is out is listed")
    ] = None,
    reason: Annotated[str, typer.Option(help="why it may stand again")] = "",
    by: Annotated[str, typer.Option(help="your code, never a name; else of the settings")] = "",
    rules: RulesFolder = None,
) -> None:
    """Let a product that did harm stand again, with a reason and your code; both stay in the visit.

    A lift is of what was known then: what does harm again is out again.

    Example: recommend visit lift A-1042 grommelstead-ward --by F7 --reason "torn liner, replaced"
    """
    file = visit_file(visit)
    book = open_rulebook(rules)
    seen = open_visit(file, book)
    if product is None:
        _list(seen, book.parameters)
        return
    out = harmful(seen, book.parameters)
    code = by or str(setting("fitter").value or "")
    _refuse(product, reason, code, out)
    known = [(p, how, words) for p, how, words in findings(seen, book.parameters) if p == product]
    told = {"lifted": reason, "lifted-by": code, "lifted-on": date.today().isoformat()}
    edit_visit(file, "out", lambda part: _put(part, known, told), [])
    say(f"Lifted by {code}: {product}. It had done harm: {out[product]}.")
    print(f"Next:  recommend shortlist {visit}")


def _refuse(product: str, reason: str, code: str, out: Mapping[str, str]) -> None:
    if product not in out:
        known = ", ".join(out) or "nothing is"
        raise InputError(
            Place("PRODUCT"), f"`{product}` is not out after harm", known, nearest(product, out)
        )
    if len(reason.strip()) < _SHORTEST:
        raise InputError(
            Place("--reason"), "no reason was given, or one that says nothing",
            f"a sentence of at least {_SHORTEST} letters", "say what is different now",
        )  # fmt: skip
    if not code:
        raise InputError(
            Place("--by"), "it is not said who lifts it",
            mend="give your code with --by, or `recommend setup --set fitter=CODE`",
        )  # fmt: skip


def _put(part: Any, known: Sequence[tuple[str, str, str]], told: Mapping[str, str]) -> None:
    """Write the lift beside each finding, adding those that were found at this visit."""
    for product, how, because in known:
        here = [e for e in part if e["product"] == product and e.get("found", "before") == how]
        if not here:
            here = [{"product": product, "because": because, "found": how}]
            part.extend(here)
        here[-1].update(told)


def _list(seen: Visit, parameters: Parameters) -> None:
    out, lifted = harmful(seen, parameters), lifted_words(seen)
    for product, words in out.items():
        say(f"out     {product}: {words}")
    for product, words in lifted.items():
        say(f"lifted  {product}: {words}")
    if not out and not lifted:
        print("Nothing is out after harm.")
