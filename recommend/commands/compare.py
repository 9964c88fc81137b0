"""`recommend compare`: products side by side for one customer, or one of them looked up."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.text import Text

from recommend.commands.options import (
    AsJson,
    CatalogueFolders,
    RulesFolder,
    VisitName,
    outcome_for,
    print_json,
)
from recommend.errors import Exit, RecommendError
from recommend.explain.explaining import Explanation
from recommend.match.out import OWN, OWN_SHOES
from recommend.show.compared import compared_data, compared_lines
from recommend.show.console import console, print_paged
from recommend.show.dialogue import say
from recommend.show.labels import first_choices

MOST = 4  # products that stand beside each other in 80 columns


def compare(
    visit: VisitName,
    products: Annotated[
        list[str],
        typer.Argument(
            help="one to four: letters of the shortlist, SHOE, INSOLE, SHOE+INSOLE, own, no-insole"
        ),
    ],
    as_json: AsJson = False,
    full: Annotated[bool, typer.Option("--full", help="every wish, met alike or not")] = False,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
) -> None:
    """Compare products for a customer: what tells them apart; of one alone, why it stands there.

    Nothing is kept. Exit code 3 when a stop withholds the shortlist.

    Example: recommend compare catalogue_demo/visits/pronated.yaml a b
    """
    if len(products) > MOST:
        raise RecommendError(f"{len(products)} products are named; at most {MOST} fit side by side")
    outcome = outcome_for(visit, catalogue, rules)
    if outcome.shortlist is None:
        console().print("A stop withholds the shortlist: no product is compared.")
        raise typer.Exit(Exit.STOP)
    explanation = Explanation(outcome)
    letters = {letter: one.id for letter, one in first_choices(outcome).items()} | {OWN: OWN_SHOES}
    products = [letters.get(name, name) for name in products]
    candidates = [explanation.candidate(name) for name in products]
    if as_json:
        print_json(compared_data(candidates, outcome))
        return
    lines = compared_lines(candidates, outcome, console().width, full=full)
    print_paged([*map(Text, lines), Text(outcome.book.byline, style="dim")])
    if len(products) == 1:
        for remark in explanation.why_not(products[0]).children:
            if remark.kind == "remark":
                say(remark.text)
