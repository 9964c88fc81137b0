"""`recommend effects`: what the shop's kept trials teach about its products."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.cluster import connected
from recommend.commands.options import (
    AsJson,
    CatalogueFolders,
    ClusterOption,
    RulesFolder,
    print_json,
)
from recommend.infer.adviser import Adviser
from recommend.measure.model import Side
from recommend.show.console import print_blocks, print_byline, working
from recommend.show.effects import (
    as_document,
    came_back_lines,
    check_blocks,
    effects_blocks,
    liked_blocks,
)
from recommend.trial.came_back import came_back, liked
from recommend.trial.kept_trials import kept_visits, shop_of
from recommend.visit import Visit


def effects(
    kept: Annotated[
        list[Path],
        typer.Argument(
            metavar="KEPT...",
            help="folders of kept visit files, or record stores; several shops are taken together",
        ),
    ],
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    check: Annotated[
        bool, typer.Option("--check", help="foretell each visit from all the others instead")
    ] = False,
    cluster: ClusterOption = None,
    as_json: AsJson = False,
) -> None:
    """Show what each product did to rearfoot motion, learned from the shop's kept trials.

    Example: recommend effects catalogue_demo/trials
    """
    book = open_rulebook(rules)
    products = open_catalogue(book, catalogue)
    with connected(cluster), working("reading kept trials"):
        visits = [visit for place in kept for visit in kept_visits(place, book)]
        shop = shop_of(visits, book, products)
    if check and not as_json:
        print_blocks(check_blocks(shop))
        print_byline(book)
        return
    counter = Adviser(book)

    def types_of(visit: Visit) -> Mapping[Side, str | None]:
        return {side: foot.foot_type for side, foot in counter.assess(visit).feet.items()}

    told = liked(visits, types_of, book.parameters)
    if as_json:
        print_json(as_document(shop, told, book, products))
        return
    print_blocks([*effects_blocks(shop, book, products), *liked_blocks(told, book)])
    worn = came_back(visits, book.measures, book.parameters)
    for line in came_back_lines(worn, products.titles) if worn else ():
        print(line)
    print_byline(book)
