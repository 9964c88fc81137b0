"""`recommend help`: short pages to read at the counter."""

from __future__ import annotations

from typing import Annotated

import typer

from recommend.catalogue.shop import open_rulebook
from recommend.cli import single
from recommend.errors import InputError, Place, nearest
from recommend.show.dialogue import say
from recommend.show.topics import TOPICS


def _topics(incomplete: str) -> list[str]:
    return [name for name in TOPICS if name.startswith(incomplete)]


def help_(
    topic: Annotated[
        str | None, typer.Argument(help="measuring, numbers, ...", autocompletion=_topics)
    ] = None,
) -> None:
    """Read how to measure well, what the numbers mean, and what the tool cannot do.

    Example: recommend help measuring
    """
    if topic is None:
        print("Topics, each with `recommend help TOPIC`:\n")
        for name, (words, _) in TOPICS.items():
            print(f"  {name:<12} {words}")
        print("\nEvery command: `recommend --help`, and `recommend COMMAND --help`.")
        return
    if topic not in TOPICS:
        mend = nearest(topic, TOPICS) or "see `recommend help`"
        raise InputError(Place("TOPIC"), f"`{topic}` is not a topic", ", ".join(TOPICS), mend)
    for line in TOPICS[topic][1](open_rulebook()):
        if line:
            say(line)
        else:
            print()


app = single(help_)
