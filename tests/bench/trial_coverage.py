"""How often the 95 % interval of a change holds the truth: 10,000 simulated trials per design.

Run: python -m tests.bench.trial_coverage [TRIALS]

Strides resemble the stride before with a correlation of 0 to 0.6. From 20 strides in both steps
94 to 97 % are asked for; with fewer at least 93 %. Beside each stands Welch's interval of scipy,
which takes strides for independent. The last designs break the assumptions: heavy tails, steps
that differ in their correlation, and strides that resemble the last but one as well.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import signal, special

from recommend.parameters import Parameters
from recommend.trial.change import change, sample

RULES = Path(__file__).parents[2] / "rules" / "parameters"
TRUTH = -1.4
RESEMBLANCES = (0.0, 0.15, 0.3, 0.45, 0.6)

Strides = NDArray[np.float64]


def serial(rng: np.random.Generator, n: int, r: float) -> Strides:
    """Strides of mean 0 and spread 1, each resembling the one before by `r`."""
    noise = rng.normal(0, 1, n) * np.sqrt(1 - r * r)
    noise[0] /= np.sqrt(1 - r * r)
    return np.asarray(signal.lfilter([1], [1, -r], noise))


def heavy(rng: np.random.Generator, n: int, r: float) -> Strides:
    """The same with heavy tails (t with 4 degrees of freedom)."""
    noise = rng.standard_t(4, n) / np.sqrt(2) * np.sqrt(1 - r * r)
    return np.asarray(signal.lfilter([1], [1, -r], noise))


def second_order(rng: np.random.Generator, n: int, r: float) -> Strides:
    """Strides that resemble the last and the last but one; spread 1 to within a few percent."""
    spread = np.sqrt(np.var(signal.lfilter([1], [1, -0.7 * r, -0.2 * r], _LONG)))
    noise = signal.lfilter([1], [1, -0.7 * r, -0.2 * r], rng.normal(0, 1, n + 50))[50:]
    return np.asarray(noise / spread)


_LONG = np.random.default_rng(1).normal(0, 1, 20_000)


class Design(NamedTuple):
    """A name, how strides are drawn, and spread and number of strides before and after."""

    name: str
    draw: Callable[[np.random.Generator, int, float], Strides]
    sd1: float
    n1: int
    sd2: float
    n2: int


DESIGNS = (
    Design("20 and 20", serial, 1.2, 20, 1.2, 20),
    Design("20 and 20, unequal spread", serial, 1.8, 20, 0.7, 20),
    Design("24 and 60, unequal spread", serial, 0.7, 24, 1.8, 60),
    Design("60 and 60", serial, 1.2, 60, 1.2, 60),
    Design("7 and 7", serial, 1.2, 7, 1.2, 7),
    Design("12 and 9, unequal spread", serial, 1.3, 12, 0.9, 9),
    Design("19 and 60, unequal spread", serial, 0.7, 19, 1.8, 60),
    Design("2 and 3", serial, 1.2, 2, 1.2, 3),
    Design("heavy tails, 20 and 20", heavy, 1.2, 20, 1.2, 20),
    Design("second order, 30 and 30", second_order, 1.2, 30, 1.2, 30),
)


def drawn(
    design: Design, r: float, count: int, seed: int = 2026
) -> Iterator[tuple[Strides, Strides]]:
    """Simulated trials of one design: strides before and after, rounded as they are written."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        before = design.draw(rng, design.n1, r) * design.sd1
        after = design.draw(rng, design.n2, r) * design.sd2
        yield np.round(9.8 + before, 1), np.round(9.8 + TRUTH + after, 1)


def covered(design: Design, r: float, count: int, parameters: Parameters) -> tuple[float, float]:
    """Share of trials whose interval held the truth: ours, and Welch's."""
    ours = welch = 0
    for one, two in drawn(design, r, count):
        before, after = (sample(strides, parameters, 1.5) for strides in (one, two))
        ours += change(before, after, parameters).interval.holds(TRUTH)
        welch += _welch_holds(one, two)
    return ours / count, welch / count


def _welch_holds(one: Strides, two: Strides) -> bool:
    """Whether Welch's interval (1947) for independent strides holds the truth."""
    parts = [strides.var(ddof=1) / len(strides) for strides in (one, two)]
    loss = sum(v**2 / (len(s) - 1) for v, s in zip(parts, (one, two), strict=True))
    reach = special.stdtrit(sum(parts) ** 2 / max(loss, 1e-12), 0.975) * np.sqrt(sum(parts))
    return bool(abs(two.mean() - one.mean() - TRUTH) <= reach)


def main(count: int) -> None:
    """Print one line a design."""
    parameters = Parameters.load(RULES)
    heads = " ".join(f"r = {r:<11g}" for r in RESEMBLANCES)
    print(f"{count:,} trials a cell; share that held the truth: ours, (Welch of scipy)")
    print(f"{'design':28} {heads}")
    for design in DESIGNS:
        start = time.perf_counter()
        cells = [covered(design, r, count, parameters) for r in RESEMBLANCES]
        spent = (time.perf_counter() - start) / count / len(RESEMBLANCES)
        told = " ".join(f"{ours:6.1%} ({welch:6.1%})" for ours, welch in cells)
        print(f"{design.name:28} {told}  {spent * 1e3:.1f} ms", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
