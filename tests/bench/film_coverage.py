"""How often the stated interval of each measure of a film holds the truth, by rate and gait.

Run from the project's folder: ``python -m tests.bench.film_coverage --people 200``. The legs are
those of ``second_gait.py``, which was written apart from the code that measures. For each measure
and rate: the percent of intervals (1.96 standard errors) that hold the person's true mean, and the
bias over the error stated; a measure that is not given has no cell.
"""

from __future__ import annotations

import argparse
import textwrap
from collections import defaultdict
from pathlib import Path

import numpy as np

from recommend.errors import RecommendError
from recommend.measure.video import MarksRecording, measure_marks
from recommend.rulebook import Rulebook, load_rulebook
from tests.bench.second_gait import Person, film

RULES = Path(__file__).parents[2] / "rules"
WALKING = (30, 50, 60, 100, 120, 240)
RUNNING = (60, 120, 200, 240)


def one_film(seed: int, gait: str, rate: float, book: Rulebook, *, contact: bool, strides: int,
             **faults: float):  # fmt: skip
    """What was measured on one film and the truth behind it."""
    rng = np.random.default_rng([seed, int(rate), gait == "running"])
    invent = Person.runner if gait == "running" else Person.walker
    person = invent(rng, faults.pop("toe_out", 0.0))
    shot = film(person, strides, rate, rng, sight_deg=rng.normal(0, 1.5), **faults)
    marks = MarksRecording(
        shot.points, "px", rate, person.side, gait, "barefoot", shot.contact if contact else None,
        None, None, 0, "x",
    )  # fmt: skip
    return measure_marks(marks, None, book.parameters, book.measures), shot.truth


def rows_of(people: int, gait: str, rate: float, *, contact: bool, strides: int = 8, **faults):
    """Truth, value and error by measure over many films, and the share of films doubted."""
    book = load_rulebook(RULES)
    rows, doubted, terms = defaultdict(list), 0, defaultdict(list)
    for seed in range(people):
        try:
            found, truth = one_film(
                seed, gait, rate, book, contact=contact, strides=strides, **faults
            )
        except RecommendError as error:
            print(f"  film {seed}: {error}")
            doubted += 1
            continue
        doubted += bool(found.flags) and {f.name for f in found.flags} != {"level-unknown"}
        for name, true in truth.items():
            measure = found.find(name)
            if measure is not None:
                rows[name].append((true, measure.value, measure.error))
                terms[name].append(dict(found.budget(measure).terms))
    return rows, doubted / people, terms


def judged(rows, terms) -> dict[str, tuple[float, float, str]]:
    """By measure: percent of intervals that hold, bias over the error stated, widest term."""
    out = {}
    for name, found in rows.items():
        true, value, error = np.array(found).T
        off = value - true
        keys = {key for one in terms[name] for key in one}
        mean = {key: np.mean([one.get(key, 0.0) ** 2 for one in terms[name]]) for key in keys}
        held = 100.0 * float(np.mean(np.abs(off) <= 1.96 * error))
        out[name] = (held, float(off.mean() / error.mean()), max(mean, key=mean.get))
    return out


def print_cells(cells: dict[str, dict[str, tuple[float, float, str]]]) -> None:
    """A line for each measure, a column for each cell: percent held, bias in percent of the error.

    Below, by term, the measures that hold above 98 % all over: that term is too wide.
    """
    names = sorted({name for cell in cells.values() for name in cell})
    print("".ljust(26) + "".join(head.rjust(7) for head in cells))
    wide: dict[str, list[str]] = defaultdict(list)
    for name in names:
        found = [cell.get(name) for cell in cells.values()]
        columns = [f"{one[0]:.0f}{round(100 * one[1]):+d}" if one else "-" for one in found]
        print(name.ljust(26) + "".join(column.rjust(7) for column in columns))
        given = [one for one in found if one]
        if np.mean([one[0] for one in given]) > 98:
            wide[given[-1][2]].append(name)
    for term, too_wide in wide.items():
        print(textwrap.fill(f"{term} too wide: {', '.join(too_wide)}", 77, subsequent_indent="  "))


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=100)
    parser.add_argument("--strides", type=int, default=8)
    parser.add_argument("--rates", type=int, nargs="*")
    options = parser.parse_args()
    for gait, rates in (("walking", WALKING), ("running", RUNNING)):
        for contact in (True, False):
            cells, said = {}, []
            for rate in options.rates or rates:
                rows, doubted, terms = rows_of(
                    options.people, gait, rate, contact=contact, strides=options.strides
                )
                cells[str(rate)] = judged(rows, terms)
                said.append(f"{100 * doubted:.0f}")
            told = "with" if contact else "without"
            print(f"{gait}, {told} contact; doubted, percent: {' '.join(said)}", flush=True)
            print_cells(cells)


if __name__ == "__main__":
    main()
