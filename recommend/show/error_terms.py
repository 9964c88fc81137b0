"""What the error of each measure of a capture is made of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from rich.console import Console, RenderableType
from rich.padding import Padding

from recommend.measure.budget import TERMS
from recommend.measure.definitions import MeasureDefs, number, unit_words
from recommend.measure.measured import Measured
from recommend.show.layout import heading, plain_table
from recommend.show.measured import is_shown, title_of

_SHOWN = 0.01  # share of the error in quadrature below which a term is not worth a line


def print_error_terms(found: Sequence[Measured], defs: MeasureDefs, out: Console) -> None:
    """Print a line for each term of each measure: standard error, and share of the whole."""
    for one in found:
        out.print(heading(f"What the errors are made of, {one.side} foot (standard errors)"))
        out.print(_table(one, defs))


def _table(one: Measured, defs: MeasureDefs) -> RenderableType:
    table = plain_table("measure", "error", "made of")
    for measure in one.measures:
        if is_shown(measure, defs) and measure.error:
            unit = unit_words(measure.unit)
            error = f"{number(measure.error, 3)}{unit}"
            terms = _terms(one.budget(measure).terms, measure.error)
            table.add_row(title_of(measure, defs), error, "; ".join(terms))
    return Padding(table, (0, 0, 0, 2))


def _terms(terms: Mapping[str, float], error: float) -> Iterator[str]:
    for name, value in sorted(terms.items(), key=lambda term: -term[1]):
        if (value / error) ** 2 >= _SHOWN:
            yield f"{TERMS[name]} {number(value, 3)}"
