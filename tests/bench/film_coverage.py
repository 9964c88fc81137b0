"""How often the stated interval of each measure of a film holds the truth, by rate and gait.

Run from the project's folder: ``python -m tests.bench.film_coverage --people 200``. The legs are
those of ``second_gait.py``, which was written apart from the code that measures. A line for each
measure: share of intervals (1.96 standard errors) that hold the person's true mean, bias, bias
over the error stated, error made, error stated, how often the measure was given, and how often
the film was doubted.
"""

from __future__ import annotations

import argparse
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


def table(rows, people: int, terms) -> None:
    """Print a line for each measure."""
    for name, found in rows.items():
        true, value, error = np.array(found).T
        off = value - true
        held = 100 * np.mean(np.abs(off) <= 1.96 * error)
        keys = sorted({k for one in terms[name] for k in one})
        made_of = " ".join(
            f"{k} {np.sqrt(np.mean([one.get(k, 0) ** 2 for one in terms[name]])):.2f}" for k in keys
        )
        print(
            f"  {name:18s} {held:5.1f} %  bias {off.mean():7.3f} ({off.mean() / error.mean():5.2f})"
            f"  made {np.sqrt((off**2).mean()):6.3f}  stated {error.mean():6.3f}"
            f"  given {100 * len(found) / people:4.0f} %   {made_of}"
        )


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=200)
    parser.add_argument("--strides", type=int, default=8)
    parser.add_argument("--rates", type=int, nargs="*")
    options = parser.parse_args()
    for gait, rates in (("walking", WALKING), ("running", RUNNING)):
        for rate in options.rates or rates:
            for contact in (True, False):
                rows, doubted, terms = rows_of(
                    options.people, gait, rate, contact=contact, strides=options.strides
                )
                told = "with" if contact else "without"
                print(f"{gait}, {rate} frames a second, {told} contact; doubted {doubted:.1%}")
                table(rows, options.people, terms)


if __name__ == "__main__":
    main()
