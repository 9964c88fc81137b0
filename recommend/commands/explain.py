"""`recommend explain`: where each word of a kept shortlist came from."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from recommend.commands.options import AsJson, Force, StorePath, print_json, records, rule_ids
from recommend.errors import RecommendError
from recommend.explain.explaining import Explanation
from recommend.match.sureness import HowSure, WhatIf, sureness
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.records.database import store_path
from recommend.records.keeping import Archive, events_of, origins_kept
from recommend.records.replay import Replayed, Replayer
from recommend.records.store import Record, Store
from recommend.settings import setting
from recommend.show.explain import brief_lines, explain_data, explain_lines, explain_page
from recommend.show.lines import columns, print_lines
from recommend.show.records import Kept
from recommend.trial.heeding import heeded
from recommend.visit.shelf import Shelf
from recommend.whatif import Change, nearest_changes


def explain(
    record: Annotated[
        str,
        typer.Argument(
            help="its number, `last`, a reference, or the start of its hash",
            autocompletion=records,
        ),
    ],
    product: Annotated[
        str | None, typer.Option(help="why this product stands where it does")
    ] = None,
    why_not: Annotated[
        str | None, typer.Option(help="why this one is not listed, or lower")
    ] = None,
    rule: Annotated[
        str | None,
        typer.Option(help="why a rule fired, or not, or is undecided", autocompletion=rule_ids),
    ] = None,
    depth: Annotated[
        int | None,
        typer.Option(min=1, help="levels of the derivation; all of them if not given"),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="the whole derivation")] = False,
    as_json: AsJson = False,
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="write the same as one page, for you alone to read"),
    ] = None,
    force: Force = False,
    store: StorePath = None,
) -> None:
    """Explain a kept shortlist on one screen: is it intact, by which rules, what was decided.

    With --full its derivation, how sure it is, what would change it. The record is derived again
    with the rulebook and catalogue it was made with.

    Example: recommend explain last --why-not grommelstead-ward
    """
    if sum(one is not None for one in (product, why_not, rule)) > 1:
        raise RecommendError("name one of --product, --why-not and --rule")
    refuse_other_kinds(html, PAGE, force=force)
    with Store(store_path(store)) as opened:
        *others, chosen = opened.find_all(record)
        replayed = Replayer(Archive(opened), heeded).replay(chosen)
        told = Kept(list(events_of(opened, chosen)), origins_kept(opened, chosen))
    if others:
        print(_others_words(record, others, chosen), file=sys.stderr)
    tree = Explanation(replayed.outcome).of(product, why_not, rule)
    if depth is not None:
        tree = tree.cut(depth)
    whole = (product, why_not, rule) == (None, None, None)
    sure, changes = _looked_at(replayed) if whole else (None, ())
    if html is not None:
        _write(html, explain_page(replayed, tree, sure, changes), replayed, force)
        print(f"Written: {html}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        data = explain_data(replayed, tree, sure, changes) | told.data()
        print_json(data)
    elif html is None and whole and not (full or depth):
        print_lines(brief_lines(replayed, sure, changes, told.came, columns()))
    elif html is None:
        lines = explain_lines(replayed, tree, sure, changes, columns())
        typer.echo("\n".join([*lines, *told.lines(columns())]))


def _looked_at(replayed: Replayed) -> tuple[HowSure, tuple[Change, ...]]:
    """How sure an outcome is, and what would change it, by the rules alone."""
    whatif = WhatIf(replayed.by_rules)
    return sureness(replayed.by_rules, whatif), nearest_changes(whatif)


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
