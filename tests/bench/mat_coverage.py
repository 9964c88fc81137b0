"""How often the stated interval of each measure of a mat holds the truth, by rate and pitch.

Run from the project's folder: ``python -m tests.bench.mat_coverage --feet 20``. The feet are
those of ``second_foot.py``, which was written apart from the code that measures.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Sequence
from functools import cache

import numpy as np

from recommend.errors import RecommendError
from recommend.measure.measured import key_of
from recommend.measure.pressure import PressureRecording, measure_pressure
from recommend.rulebook import Rulebook, load_rulebook
from tests.bench.film_coverage import RULES, judged, print_cells
from tests.bench.second_foot import invent, truth, walk


@cache
def _book() -> Rulebook:
    return load_rulebook(RULES)


def rows_of(feet: int, pitch: float, rate: float, *, steps: int = 5, gait: str = "walking"):
    """Truth, value and error by measure over many feet, the share doubted, and the terms."""
    book = _book()
    rows, doubted, terms, said = defaultdict(list), 0, defaultdict(list), defaultdict(int)
    for seed in range(feet):
        rng = np.random.default_rng([seed, int(10 * pitch), int(rate)])
        foot = invent(rng, gait=gait)
        true = truth(foot, pitch)
        frames = walk(foot, steps, rng, pitch=pitch, rate=rate)
        recording = PressureRecording(
            frames, (pitch, pitch), rate, foot.side, "dynamic", gait, "barefoot", None, "x"
        )
        try:
            found = measure_pressure(recording, book.parameters, book.measures)[0]
        except RecommendError as error:
            said[str(error)[:150]] += 1
            doubted += 1
            continue
        for flag in found.flags:
            said[flag.name] += 1
        doubted += bool(found.flags)
        for measure in found.measures:
            key = key_of(measure)
            if key in true and not isinstance(measure.value, str):
                rows[key].append((true[key], measure.value, measure.error))
                terms[key].append(dict(found.budget(measure).terms))
    return rows, doubted / feet, terms, dict(said)


def joined(parts: Sequence[tuple]) -> dict[str, tuple[float, float, str]]:
    """What is judged of several cells taken together."""
    rows, terms = defaultdict(list), defaultdict(list)
    for some, of in parts:
        for name, found in some.items():
            rows[name] += found
            terms[name] += of[name]
    return judged(rows, terms)


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--feet", type=int, default=20)
    parser.add_argument("--steps", type=int, default=5)
    parser.add_argument("--gaits", nargs="*", default=["walking", "running"])
    parser.add_argument("--pitches", type=float, nargs="*", default=[5, 7, 10])
    parser.add_argument("--rates", type=float, nargs="*", default=[50, 100, 200, 300])
    options = parser.parse_args()
    for gait in options.gaits:
        parts = {}
        for pitch in options.pitches:
            for rate in options.rates:
                rows, doubted, terms, said = rows_of(
                    options.feet, pitch, rate, steps=options.steps, gait=gait
                )
                parts[pitch, rate] = rows, terms
                print(
                    f"{gait}, {pitch:g} mm, {rate:g} Hz: doubted {doubted:.1%} {said}", flush=True
                )
        by_pitch = {
            f"{one:g} mm": joined([part for (pitch, _), part in parts.items() if pitch == one])
            for one in options.pitches
        }
        by_rate = {
            f"{one:g} Hz": joined([part for (_, rate), part in parts.items() if rate == one])
            for one in options.rates
        }
        print(f"{gait}, by pitch (all rates) and by rate (all pitches)")
        print_cells(by_pitch | by_rate)


if __name__ == "__main__":
    main()
