"""`recommend shortlist`: a measured visit in, a reasoned shortlist out."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommend.commands.options import (
    AsJson,
    CatalogueFolders,
    Full,
    Keep,
    Pager,
    RulesFolder,
    StorePath,
    VisitName,
    asked_sections,
    outcome_for,
    print_json,
)
from recommend.dataclass import dataclass
from recommend.errors import Exit, RecommendError
from recommend.match.outcome import Outcome, as_document
from recommend.settings import setting
from recommend.show.answer import answer_lines
from recommend.show.labels import SECTIONS
from recommend.show.lines import ScreenLine, columns, print_lines

if TYPE_CHECKING:
    from rich.console import RenderableType

    from recommend.match.sureness import HowSure
    from recommend.trial.heeding import LearnedList


SURE = "sure"  # how sure it all is, from redraws


def shortlist(
    visit: VisitName,
    show: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SECTION",
            help="show this part instead, may be repeated: " + ", ".join(SECTIONS) + ", sure",
        ),
    ] = None,
    full: Full = False,
    pager: Pager = True,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    learned: Annotated[
        Path | None,
        typer.Option(metavar="KEPT", help="heed effects learned from these visits (folder, store)"),
    ] = None,
    as_json: AsJson = False,
    keep: Keep = None,
    store: StorePath = None,
) -> None:
    """Turn a measured visit into a ranked shortlist with reasons: one screen, more on request.

    Exit code 3 when a stop withholds the shortlist, 4 when nothing suitable is in stock.

    Example: recommend shortlist catalogue_demo/visits/pronated.yaml
    """
    kept = keep if keep is not None else setting("keep").value == "yes"
    if store is not None and not kept:
        raise RecommendError("--store names where to keep, but nothing would be kept: add --keep")
    sections = asked_sections(show or [], (*SECTIONS, SURE), full)
    heeded = _heeded(outcome_for(visit, catalogue, rules), learned)
    outcome = heeded.outcome
    number, failed = _keep(heeded, store) if kept else (None, None)
    if as_json:
        print_json(_document(heeded))
    elif sections or heeded.learned is not None:
        from recommend.show.console import print_paged

        print_paged(_shown(heeded, sections, visit, number), pager=pager)
    else:
        print_lines(_answer(heeded, visit, number), pager=pager)
    if number is not None and (as_json or sections):
        print(f"Kept as record {number}: recommend explain {number}", file=sys.stderr)
    if failed is not None:
        raise failed
    if outcome.shortlist is None:
        raise typer.Exit(Exit.STOP)
    if outcome.shortlist.empty:
        raise typer.Exit(Exit.NOTHING_SUITABLE)


# What sections, try-ons and learned effects need is imported where it is used: seldom.


@dataclass(frozen=True, slots=True)
class _Heeded:
    """The outcome as it is shown, by the rules alone, and what its order heeds beside them."""

    outcome: Outcome
    by_rules: Outcome
    notice: str = ""  # that try-on steps are heeded
    learned: LearnedList | None = None
    heeds: Mapping[str, Any] = field(default_factory=dict)  # with the documents to keep


def _heeded(by_rules: Outcome, folder: Path | None) -> _Heeded:
    if not by_rules.assessment.visit.trials and folder is None:
        return _Heeded(by_rules, by_rules)
    from recommend.trial.heeding import (
        LEARNED,
        TRIED,
        heeding,
        learned_of,
        learning,
        tried,
        tried_words,
    )
    from recommend.trial.kept_trials import kept_visits

    judged = tried(by_rules)
    outcome, heeds = heeding(by_rules, judged), {TRIED: None} if judged else {}
    notice = tried_words(judged) if judged else ""
    if folder is None:
        return _Heeded(outcome, by_rules, notice, None, heeds)
    document = learning(kept_visits(folder, outcome.book))
    learned = learned_of(outcome, document)
    if learned is not None:
        outcome = replace(outcome, shortlist=learned.shortlist)
    return _Heeded(outcome, by_rules, notice, learned, {**heeds, LEARNED: document})


def _document(heeded: _Heeded) -> dict[str, Any]:
    from recommend.library import shortlist_document

    told = shortlist_document(heeded.by_rules) | as_document(heeded.outcome)
    told |= {"heeds": sorted(heeded.heeds)} if heeded.heeds else {}
    if heeded.learned is None:
        return told
    from recommend.show.effects import learned_document

    return told | {"learned": learned_document(heeded.learned)}


def _shown(
    heeded: _Heeded, sections: Sequence[str], called: str, number: int | None
) -> Iterator[RenderableType]:
    outcome, learned = heeded.outcome, heeded.learned
    if learned is not None:
        from recommend.show.effects import notice_blocks

        yield from notice_blocks(learned)
    if not sections:
        yield from _answer(heeded, called, number)
    else:
        from recommend.show.console import console, inset
        from recommend.show.shortlist import section_blocks

        if heeded.notice:
            yield inset(heeded.notice, 0, "bold")
        asked = [name for name in SECTIONS if name in sections]
        yield from section_blocks(outcome, asked, console().width)
        if SURE in sections:
            yield from _sure_blocks(heeded.by_rules)
            if heeded.heeds and outcome.shortlist is not None:
                yield inset("How sure is told of the rules' own order, by today's readings.", 0)
    if learned is not None:
        from recommend.show.effects import expected_blocks

        yield from expected_blocks(learned, outcome.book)


def _answer(heeded: _Heeded, called: str, number: int | None) -> list[ScreenLine]:
    def sure() -> HowSure | None:
        return _sure(heeded.by_rules)

    return answer_lines(heeded.outcome, sure, columns(), called, number, heeded.notice)


def _sure_blocks(outcome: Outcome) -> Iterator[RenderableType]:
    sure = _sure(outcome)
    if sure is not None:
        from rich.text import Text

        from recommend.show.sure import sure_line

        yield Text(f"\n{sure_line(sure, outcome.book)}")


def _sure(outcome: Outcome) -> HowSure | None:
    """How sure the outcome is; None when a stop withholds the shortlist."""
    if outcome.shortlist is None:
        return None
    from recommend.match.sureness import sureness

    return sureness(outcome)


def _keep(heeded: _Heeded, given: Path | None) -> tuple[int | None, RecommendError | None]:
    """Keep an outcome as a record: its number, or why it could not be kept; the answer is shown."""
    from recommend.records.database import store_path
    from recommend.records.keeping import entry_of, kept_in

    try:
        (kept,) = kept_in(store_path(given), [entry_of(heeded.outcome, heeds=heeded.heeds)])
    except RecommendError as error:
        return None, error
    return kept.seq, None
