"""`recommend explain` and `replay`: kept records derived again, laid open or held against rules."""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Annotated

import typer

from recommend.check.changes import unseen
from recommend.cluster import connected
from recommend.commands.options import (
    AsJson,
    ClusterOption,
    Force,
    StorePath,
    print_json,
    rule_ids,
)
from recommend.commands.options import records as kept
from recommend.errors import Exit, RecommendError, counted
from recommend.explain.explaining import Explanation
from recommend.infer.engine import engine_name
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.records.database import store_path
from recommend.records.impact import COMPARED, Impact, PastVisits, Retold, disagreements, impact_of
from recommend.records.keeping import Archive, events_of, origins_kept
from recommend.records.replay import Replayed, Replayer
from recommend.records.store import SHORTLIST, Record, Store
from recommend.rulebook import load_rulebook
from recommend.rulebook.contents import contents_of
from recommend.settings import setting
from recommend.show.console import console, print_byline, print_paged, working
from recommend.show.explain import brief_lines, explain_data, explain_lines, explain_page
from recommend.show.records import (
    Kept,
    impact_data,
    impact_lines,
    replayed_data,
    replayed_lines,
    retold_lines,
)
from recommend.trial.heeding import heeded
from recommend.visit.shelf import Shelf
from recommend.whatif.nearest import Change, nearest_changes
from recommend.whatif.redraw import HowSure, WhatIf, sureness


def explain(
    record: Annotated[
        str,
        typer.Argument(
            help="its number, `last`, a reference, or the start of its hash",
            autocompletion=kept,
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
        print_paged(brief_lines(replayed, sure, changes, told.came, console().width))
    elif html is None:
        lines = explain_lines(replayed, tree, sure, changes, console().width)
        typer.echo("\n".join([*lines, *told.lines(console().width)]))


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


ONE_BY_ONE = 300  # up to so many records, `--all` derives each in full


def replay(
    records: Annotated[
        list[str] | None,
        typer.Argument(
            help="numbers, `last`, references, or the start of hashes", autocompletion=kept
        ),
    ] = None,
    all_: Annotated[bool, typer.Option("--all", help="every record of the store")] = False,
    with_: Annotated[
        Path | None, typer.Option("--with", metavar="RULES", help="run these rules instead")
    ] = None,
    full: Annotated[
        bool, typer.Option("--full", help="with --all: derive every record in full, however many")
    ] = False,
    sample: Annotated[
        int, typer.Option(min=0, help="records derived one by one to check the fast path")
    ] = 50,
    listed: Annotated[
        int, typer.Option("--listed", min=1, help="how many changed records to list")
    ] = 10,
    as_json: AsJson = False,
    store: StorePath = None,
    cluster: ClusterOption = None,
) -> None:
    """Derive kept records again: identical, or exactly what differs.

    With --with, other rules run over past visits, and what they change is told; a stop or a
    see-a-clinician note that would be lost comes first, and gives exit code 3; anything else that
    would come out or be read otherwise gives 5 until the change log of those rules says who saw
    it. A record that does not replay gives exit code 2.

    Example: recommend replay --all --with rules
    """
    if bool(records) == all_:
        raise RecommendError("name records, or --all")
    with connected(cluster), Store(store_path(store)) as opened:
        if with_ is not None:
            chosen = list(_chosen(opened, records)) if records else None
            code = _impact(opened, chosen, with_, (sample, listed), as_json)
        elif all_ and not full and len(opened) > ONE_BY_ONE:
            code = _all_fast(opened, sample, as_json)
        else:
            code = _one_by_one(opened, _chosen(opened, records), as_json)
    raise typer.Exit(code)


def _chosen(store: Store, names: list[str] | None) -> Iterator[Record]:
    found = (one for name in names for one in store.find_all(name)) if names else store.records()
    return (record for record in found if names or record.kind == SHORTLIST)


def _one_by_one(store: Store, records: Iterator[Record], as_json: bool) -> int:
    replayer = Replayer(Archive(store), heeded)
    found, count = [], 0
    for record in records:
        one = replayer.replay(record)
        count += 1
        if not one.identical:
            found.append(one)
        if as_json:
            typer.echo(json.dumps(replayed_data(one), ensure_ascii=False))
        elif not one.identical or count <= ONE_BY_ONE:
            typer.echo("\n".join(replayed_lines(one)))
    if not as_json:
        differ = "differs" if len(found) == 1 else "differ"
        typer.echo(f"{count} replayed, {count - len(found)} identical, {len(found)} {differ}.")
        _say_forgotten(store)
    return Exit.BAD_INPUT if found else Exit.DONE


def _say_forgotten(store: Store) -> None:
    """How many records are of customers who were forgotten, and what that means here."""
    gone = store.forgotten()
    if gone:
        declared = ", ".join(map(str, sorted(set(gone.values()))))
        typer.echo(
            f"Forgotten since: {counted(len(gone), 'record')} (declared by record {declared}), "
            "derived from what was measured; reference, remarks and file names are gone and "
            "were compared with nothing."
        )


def _all_fast(store: Store, sample: int, as_json: bool) -> int:
    """The summaries of all through the fast path, and a sample in full."""
    archive = Archive(store)
    with working("past visits") as tell:
        past = PastVisits(archive, None)
        impact = impact_of(past, store.records(), sample, lambda done: tell(done, len(store)))
    replayer = Replayer(archive, heeded)
    checked = _sampled(store, sample)
    found = [one for r in checked if not (one := replayer.replay(r)).identical]
    if as_json:
        data = impact_data(impact, sample) | {"in-full": [replayed_data(one) for one in found]}
        typer.echo(json.dumps(data, ensure_ascii=False))
    else:
        same, differ = impact.records - impact.changed, "differs" if len(found) == 1 else "differ"
        typer.echo(
            f"{counted(impact.records, 'record')}: {', '.join(COMPARED)} are the same in {same}"
            f"{_older_words(impact)}.\n{len(checked)} of them derived in full, byte for byte: "
            f"{len(found)} {differ}. --full derives every one in full."
        )
        _say_forgotten(store)
        for one in found:
            typer.echo("\n".join(replayed_lines(one)))
        if impact.changed:
            typer.echo("\n".join(impact_lines(impact, sample, console().width)))
    return Exit.BAD_INPUT if found or impact.changed else Exit.DONE


def _older_words(impact: Impact) -> str:
    """That some records hold less than is compared now; '' when none does."""
    if not impact.older:
        return ""
    return f" ({impact.older} kept by an earlier version hold no nevers and musts to compare)"


def _impact(
    store: Store, chosen: list[Record] | None, rules: Path, counts: tuple[int, int], as_json: bool
) -> int:
    """Rule impact on the `chosen` records, or on all."""
    sample, listed = counts
    archive, book = Archive(store), load_rulebook(rules)
    past = PastVisits(archive, book)
    with working("past visits") as tell:
        records = store.records() if chosen is None else chosen
        impact = impact_of(past, records, listed, lambda done: tell(done, len(store)))
    checked = _sampled(store, sample) if chosen is None else chosen[:sample]
    wrong = disagreements(past, checked)
    retold = Retold(archive, rules).over(store.records() if chosen is None else chosen)
    if as_json:
        data = impact_data(impact, listed) | {"read-otherwise": dict(retold.most_common())}
        print_json(data)
    else:
        typer.echo("\n".join(impact_lines(impact, listed, console().width)))
        typer.echo("\n".join(retold_lines(retold, listed, console().width)))
        print_byline(book)
        disagree = "disagrees" if len(wrong) == 1 else "disagree"
        typer.echo(
            f"\nChecked one by one by {engine_name()}: "
            f"{counted(len(checked), 'record')}, {len(wrong)} {disagree}."
        )
    for record, one, many in wrong:
        differs = compared_words(one, many)
        print(f"record {record.seq}: the two paths disagree: {differs}", file=sys.stderr)
    if wrong:
        return Exit.BAD_INPUT
    if impact.lost:
        return Exit.STOP
    to_see = set(unseen(book, contents_of(rules)))
    decided = bool(impact.changed and "decides" in to_see)
    return Exit.TO_BE_READ if decided or (retold and "words" in to_see) else Exit.DONE


def compared_words(one: object, many: object) -> str:
    """What the reference engine says and what the fast path says."""
    return f"one by one {json.dumps(one)}, fast {json.dumps(many)}"


def _sampled(store: Store, count: int) -> list[Record]:
    """Records spread over the store; the same ones each time."""
    numbers = range(1, len(store) + 1)
    chosen = sorted(random.Random(0).sample(numbers, min(count, len(numbers))))
    found = (store.record(number) for number in chosen)
    return list(islice((record for record in found if record.kind == SHORTLIST), count))
