"""`recommend check`: whether a rulebook, and a catalogue with it, can be trusted."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from rich.console import RenderableType

from recommend.catalogue.shop import open_catalogue
from recommend.check.discriminating import OrderSharpness, discrimination_of
from recommend.check.finding import fails
from recommend.check.lean import LeanReport, lean_of
from recommend.check.whole import Report
from recommend.check.whole import check as check_whole
from recommend.commands.options import Force, print_json, taking
from recommend.errors import Exit
from recommend.output import FINDINGS, refuse_other_kinds, write_output
from recommend.rulebook import load_rulebook
from recommend.settings import setting
from recommend.show.console import console, print_blocks, working
from recommend.show.findings import (
    as_json,
    as_sarif,
    discrimination_blocks,
    discrimination_data,
    findings_blocks,
    lean_blocks,
    lean_json,
    verdicts_blocks,
)


@dataclass(frozen=True, kw_only=True)
class CheckAsked:
    """What is checked, and how deeply."""

    rules: Annotated[
        Path | None, typer.Argument(help="folder of the rulebook; the shop's when not given")
    ] = None
    catalogue: Annotated[
        Path | None,
        typer.Argument(help="folder of the catalogue; with neither, the shop's"),
    ] = None
    prove: Annotated[
        bool, typer.Option("--prove", help="prove the promises for all possible feet (needs z3)")
    ] = False
    mutate: Annotated[
        bool, typer.Option("--mutate", help="change the rules one by one; does anything notice?")
    ] = False
    lean: Annotated[
        bool,
        typer.Option("--lean", help="move every assumption within its range; what changes?"),
    ] = False
    ranking: Annotated[
        bool,
        typer.Option("--ranking", help="how well does the order tell drawn customers apart?"),
    ] = False
    strict: Annotated[bool, typer.Option("--strict", help="fail on warnings too")] = False
    in_json: Annotated[bool, typer.Option("--json", help="print the findings as JSON")] = False
    sarif: Annotated[
        Path | None, typer.Option(metavar="FILE", help="also write them as SARIF 2.1.0")
    ] = None
    force: Force = False

    @property
    def catalogues(self) -> list[Path]:
        """Folders of products; a rulebook that is named alone is checked by itself."""
        if self.catalogue:
            return [self.catalogue]
        return [] if self.rules else setting("catalogue").value


@taking
def check(asked: CheckAsked) -> None:
    """Check rules, examples, promises and catalogue: what is wrong, where, and what to do.

    Exit code 2 when there are errors.

    Example: recommend check rules catalogue_demo --prove --mutate
    """
    refuse_other_kinds(asked.sarif, FINDINGS, force=asked.force)
    folder: Path = setting("rulebook", asked.rules).value
    with working("checking"):
        report = check_whole(folder, asked.catalogues, proving=asked.prove, mutating=asked.mutate)
    told = _discrimination(folder, setting("catalogue").value) if asked.ranking else None
    if asked.sarif is not None:
        text = json.dumps(as_sarif(report.findings), indent=2, ensure_ascii=False)
        write_output(asked.sarif, text + "\n", FINDINGS, force=asked.force)
    sound = not fails(report.findings, strict=False)
    leaning = _lean(folder, asked.catalogues) if asked.lean and sound else None
    if asked.in_json:
        more = {"ranking": discrimination_data(told)} if told else {}
        print_json(as_json(report) | more | ({"lean": lean_json(leaning)} if leaning else {}))
    else:
        print_blocks(_blocks(report, told, leaning))
    if fails(report.findings, strict=asked.strict):
        raise typer.Exit(Exit.BAD_INPUT)


def _blocks(
    report: Report, told: OrderSharpness | None, leaning: LeanReport | None
) -> Iterator[RenderableType]:
    if told:
        yield from discrimination_blocks(told)
    if report.verdicts:
        yield from verdicts_blocks(report.verdicts)
    yield from findings_blocks(report.findings, report.looked_at, console().width)
    if leaning:
        yield from lean_blocks(leaning)


def _lean(rules: Path, catalogues: list[Path]) -> LeanReport:
    """What outcomes lean on, of the rulebook that is checked and the shop's catalogue."""
    book = load_rulebook(rules)
    with working("moving figures within their ranges") as advance:
        return lean_of(book, open_catalogue(book, catalogues), advance)


def _discrimination(rules: Path, catalogues: list[Path]) -> OrderSharpness:
    """Of the rulebook that is checked and the shop's catalogue."""
    book = load_rulebook(rules)
    with working("ranking drawn customers"):
        return discrimination_of(book, open_catalogue(book, catalogues))
