"""`recommend help`: the pages of the manual."""

from __future__ import annotations

from typing import Annotated

import typer

from recommend.catalogue.shop import open_rulebook
from recommend.commands.options import offering
from recommend.errors import InputError, Place, nearest
from recommend.show import manual


def help_(
    topic: Annotated[
        str | None,
        typer.Argument(help="measuring, numbers, ...", autocompletion=offering(manual.names)),
    ] = None,
) -> None:
    """Read the manual: how to fit and to measure, what the numbers mean, what the tool cannot do.

    Without TOPIC it lists the pages. A page longer than the terminal opens in the pager.

    Example: recommend help measuring
    """
    pages = manual.pages()
    if topic is None:
        print(manual.contents())
        print("\nEvery command: `recommend --help`, and `recommend COMMAND --help`.")
        return
    if topic not in pages:
        mend = nearest(topic, pages) or "see `recommend help`"
        raise InputError(Place("TOPIC"), f"`{topic}` is not a topic", ", ".join(pages), mend)
    manual.show(pages[topic], open_rulebook)
