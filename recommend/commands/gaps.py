"""`recommend gaps`: what to stock next, and what can go."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from recommend.catalogue.importing import Imported, read_list
from recommend.cluster import connected
from recommend.commands import single
from recommend.commands.buyer import Asked, SoldOutOption, asking
from recommend.commands.options import AsJson
from recommend.coverage.as_json import plain
from recommend.coverage.briefs import find_gaps, whole_sizes
from recommend.coverage.run import Question, Stage
from recommend.coverage.stocking import choose, drop
from recommend.errors import RecommendError
from recommend.show.console import console, print_byline, stages
from recommend.show.gaps import print_dropping, print_gaps, print_stocking

Answer = tuple[Any, Callable[[], None]]  # what is found, and what shows it

ThinOption = Annotated[
    bool, typer.Option("--thin", help="Aim at customers who are served but have little choice.")
]
SeasonOption = Annotated[
    Optional[int],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(
        "--season", min=1, max=10**7, help="Say how many pieces so many customers ask for."
    ),
]
BriefsOption = Annotated[int, typer.Option(min=1, max=50, help="Most buying briefs.")]
CandidatesOption = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(help="A supplier's list (YAML, or CSV with --mapping) to choose from."),
]
MappingOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="How the columns of a CSV list become attributes."),
]
LinesOption = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option(min=1, help="Choose at most so many candidates."),
]
BudgetOption = Annotated[
    Optional[float],  # noqa: UP045
    typer.Option(min=0, help="Choose candidates for at most so much money."),
]
DropOption = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option("--drop", min=1, help="Tell which lines of the catalogue can go."),
]


@asking
def gaps(
    asked: Asked,
    sold_out_counts: SoldOutOption = False,
    thin: ThinOption = False,
    season: SeasonOption = None,
    briefs: BriefsOption = 5,
    candidates: CandidatesOption = None,
    mapping: MappingOption = None,
    lines: LinesOption = None,
    budget: BudgetOption = None,
    drop_lines: DropOption = None,
    as_json: AsJson = False,
) -> None:
    """Say what would serve the customers who are not served, as buying briefs.

    With --candidates it chooses from a supplier's list, with --drop it tells what can go.

    Example: recommend gaps --customers 10000 --briefs 3
    """
    _check(candidates, lines, budget, drop_lines)
    question = asked.opened(
        lambda book: book.parameters.coverage.gap_customers, sold_out_counts=sold_out_counts
    ).question
    book = question.book
    listed = (
        read_list(candidates, mapping, book.attributes, book.parameters) if candidates else None
    )
    with connected(asked.cluster), stages() as stage:
        if listed:
            found, show = _chosen(question, stage, listed, lines, budget)
        elif drop_lines is not None:
            found, show = _dropped(question, stage, drop_lines)
        else:
            found, show = _briefs(question, stage, briefs, thin, season, asked.full)
    if as_json:
        print(json.dumps(plain(found), indent=2, ensure_ascii=False))
        return
    show()
    if listed or drop_lines is not None:
        print_byline(book)


def _chosen(question: Question, stage: Stage, listed: Imported, lines: int | None,
            budget: float | None) -> Answer:  # fmt: skip
    """Lines of a supplier's list."""
    assessor = question.assessor(more=listed.items)
    tally = question.tally(assessor, stage)
    stage("choosing lines")
    found = choose(assessor, question.catalogue, listed.items, assessor.kinds(tally),
                   tally.customers, lines=lines, budget=budget)  # fmt: skip
    return found, lambda: print_stocking(found, listed.currency, console())


def _dropped(question: Question, stage: Stage, count: int) -> Answer:
    """Lines of the catalogue that can go."""
    assessor = question.assessor()
    tally = question.tally(assessor, stage)
    stage("looking for lines that can go")
    found = drop(assessor, question.catalogue, assessor.kinds(tally), tally, count)
    return found, lambda: print_dropping(found, console())


def _briefs(question: Question, stage: Stage, most: int, thin: bool,
            season: int | None, full: bool) -> Answer:  # fmt: skip
    """Products to look for."""
    book = question.book
    assessor = question.assessor(more=(whole_sizes(book.parameters.coverage.size_step),))
    tally = question.tally(assessor, stage)
    found = find_gaps(assessor, question.catalogue, assessor.kinds(tally), tally.customers,
                      thin=thin, most=most, progress=stage("searching"))  # fmt: skip
    titles = question.catalogue.titles
    return found, lambda: print_gaps(found, question.crowd, book, titles, thin, season, full=full)


def _check(
    candidates: Path | None, lines: int | None, budget: float | None, drop_lines: int | None
) -> None:
    if candidates and drop_lines is not None:
        raise RecommendError("--candidates and --drop exclude each other; ask one at a time")
    if candidates and (lines is None) == (budget is None):
        raise RecommendError("--candidates needs one of --lines N and --budget MONEY")
    if not candidates and (lines is not None or budget is not None):
        raise RecommendError("--lines and --budget choose from a list; name it with --candidates")


app = single(gaps)
