"""`recommend explain`: where each word of a kept shortlist came from."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from recommend.commands.options import (
    AsJson,
    Force,
    StorePath,
    print_json,
    records,
    rule_ids,
    taking,
)
from recommend.errors import RecommendError
from recommend.explain.explaining import Explanation
from recommend.match.sureness import WhatIf, sureness
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.records.database import store_path
from recommend.records.keeping import Archive, events_of, origins_kept
from recommend.records.replay import Replayed, Replayer
from recommend.records.store import Record, Store
from recommend.settings import setting
from recommend.show.explain import (
    Explained,
    brief_lines,
    explain_data,
    explain_lines,
    explain_page,
)
from recommend.show.lines import columns, print_lines
from recommend.show.records import RecordOutcome
from recommend.trial.heeding import heeded
from recommend.visit.shelf import Shelf
from recommend.whatif import nearest_changes


@dataclass(frozen=True, kw_only=True)
class ExplainAsked:
    """Which record, and what of it is to be explained."""

    record: Annotated[
        str,
        typer.Argument(
            help="its number, `last`, a reference, or the start of its hash",
            autocompletion=records,
        ),
    ]
    product: Annotated[str | None, typer.Option(help="why this product stands where it does")] = (
        None
    )
    why_not: Annotated[str | None, typer.Option(help="why this one is not listed, or lower")] = None
    rule: Annotated[
        str | None,
        typer.Option(help="why a rule fired, or not, or is undecided", autocompletion=rule_ids),
    ] = None
    depth: Annotated[
        int | None,
        typer.Option(min=1, help="levels of the derivation; all of them if not given"),
    ] = None
    full: Annotated[bool, typer.Option("--full", help="the whole derivation")] = False
    as_json: AsJson = False
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="write the same as one page, for you alone to read"),
    ] = None
    force: Force = False
    store: StorePath = None

    @property
    def whole(self) -> bool:
        """Whether no part of it is named."""
        return (self.product, self.why_not, self.rule) == (None, None, None)

    def of(self, replayed: Replayed) -> Explained:
        """What is asked of a record; of the whole also how sure it is, and what would change it."""
        tree = Explanation(replayed.outcome).of(self.product, self.why_not, self.rule)
        if self.depth is not None:
            tree = tree.cut(self.depth)
        if not self.whole:
            return Explained(replayed, tree)
        whatif = WhatIf(replayed.by_rules)
        sure = sureness(replayed.by_rules, whatif)
        return Explained(replayed, tree, sure, nearest_changes(whatif))


@taking
def explain(asked: ExplainAsked) -> None:
    """Explain a kept shortlist on one screen: is it intact, by which rules, what was decided.

    With --full its derivation, how sure it is, what would change it. The record is derived again
    with the rulebook and catalogue it was made with.

    Example: recommend explain last --why-not grommelstead-ward
    """
    if sum(one is not None for one in (asked.product, asked.why_not, asked.rule)) > 1:
        raise RecommendError("name one of --product, --why-not and --rule")
    refuse_other_kinds(asked.html, PAGE, force=asked.force)
    with Store(store_path(asked.store)) as opened:
        *others, chosen = opened.find_all(asked.record)
        replayed = Replayer(Archive(opened), heeded).replay(chosen)
        told = RecordOutcome(list(events_of(opened, chosen)), origins_kept(opened, chosen))
    if others:
        print(_others_words(asked.record, others, chosen), file=sys.stderr)
    one = asked.of(replayed)
    if asked.html is not None:
        _write(asked.html, explain_page(one), replayed, asked.force)
        print(f"Written: {asked.html}", file=sys.stderr if asked.as_json else sys.stdout)
    if asked.as_json:
        print_json(explain_data(one) | told.data())
    elif asked.html is None and asked.whole and not (asked.full or asked.depth):
        print_lines(brief_lines(one, told.came, columns()))
    elif asked.html is None:
        typer.echo("\n".join([*explain_lines(one, columns()), *told.lines(columns())]))


def _write(html: Path, page: str, replayed: Replayed, force: bool) -> None:
    """Write the page, and note the file, so that forgetting has it."""
    write_output(html, page, PAGE, private=True, force=force)
    of = replayed.outcome.assessment.visit.reference
    Shelf(setting("visits").value).remember(of, html)


def _others_words(reference: str, others: list[Record], chosen: Record) -> str:
    """That a reference stands for several records, and how to name the others."""
    numbers = ", ".join(str(one.seq) for one in others)
    return (
        f"`{reference}` has {len(others) + 1} records; this is the newest, {chosen.seq}. "
        f"Name an older one by its number: {numbers}."
    )
