"""`recommend replay`: derive kept records again, with their rules or with others."""

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
from recommend.commands.options import AsJson, ClusterOption, StorePath, print_json
from recommend.commands.options import records as kept
from recommend.errors import Exit, RecommendError, counted
from recommend.infer.engine import engine_name
from recommend.records.database import store_path
from recommend.records.impact import COMPARED, Impact, PastVisits, Retold, disagreements, impact_of
from recommend.records.keeping import Archive
from recommend.records.replay import Replayer
from recommend.records.store import SHORTLIST, Record, Store
from recommend.rulebook import load_rulebook
from recommend.rulebook.contents import contents_of
from recommend.show.console import console, print_byline, working
from recommend.show.records import (
    impact_data,
    impact_lines,
    replayed_data,
    replayed_lines,
    retold_lines,
)
from recommend.trial.heeding import heeded

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
        differs = f"one by one {json.dumps(one)}, fast {json.dumps(many)}"
        print(f"record {record.seq}: the two paths disagree: {differs}", file=sys.stderr)
    if wrong:
        return Exit.BAD_INPUT
    if impact.lost:
        return Exit.STOP
    to_see = set(unseen(book, contents_of(rules)))
    decided = bool(impact.changed and "decides" in to_see)
    return Exit.TO_BE_READ if decided or (retold and "words" in to_see) else Exit.DONE


def _sampled(store: Store, count: int) -> list[Record]:
    """Records spread over the store; the same ones each time."""
    numbers = range(1, len(store) + 1)
    chosen = sorted(random.Random(0).sample(numbers, min(count, len(numbers))))
    found = (store.record(number) for number in chosen)
    return list(islice((record for record in found if record.kind == SHORTLIST), count))
