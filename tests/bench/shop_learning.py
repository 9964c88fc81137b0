"""What a shop learns of known effects: bias, coverage, and the visits it takes to foretell.

Run: python -m tests.bench.shop_learning [SHOPS]

Simulated shops with four insoles whose effects are known, people spread around them, and a prior
that is the published mean; effects that are alike and unlike the published one.
"""

from __future__ import annotations

import sys

import numpy as np

from recommend.trial.effects import ObservedChange, PooledProduct, Prior, check_of, learn

PRIOR = Prior({"insole": -2.24}, 1.5, 0.7, 0.5, 1.5, 4)
TRUTHS = {"as published": (-2.9, -2.5, -2.0, -1.6), "half of it": (-1.8, -1.3, -0.9, -0.4)}
PEOPLE, STRIDES = 1.2, 0.4  # degrees: spread of people, standard error of one visit's change


def main(shops: int) -> None:
    """Print one line for each number of visits."""
    print(f"{shops} shops a line; degrees; share of shops in which learned effects are used")
    heads = ("bias", "held", "error", "published", "used")
    print(f"{'truth':14} {'visits':>6} " + " ".join(f"{head:>9}" for head in heads))
    for name, truths in TRUTHS.items():
        for visits in (8, 12, 20, 40, 80):
            rng = np.random.default_rng(2026)
            print(f"{name:14} {visits:6d} " + _line(rng, truths, visits, shops), flush=True)


def wares() -> list[PooledProduct]:
    """Four insoles of two profiles."""
    return [PooledProduct(f"i-{n}", "insole", str(n % 2)) for n in range(4)]


def trials(
    rng: np.random.Generator, truths: tuple[float, ...], visits: int
) -> list[ObservedChange]:
    """One insole tried in each visit, by turns; people answer it unlike, and strides are noisy."""
    spread = float(np.hypot(PEOPLE, STRIDES))
    return [
        ObservedChange(
            f"v-{v}", (f"i-{v % 4}",), float(rng.normal(truths[v % 4], spread)), STRIDES**2
        )
        for v in range(visits)
    ]


def _line(rng: np.random.Generator, truths: tuple[float, ...], visits: int, shops: int) -> str:
    items, off, held, errors, plain, used = wares(), [], [], [], [], 0
    for _ in range(shops):
        seen = trials(rng, truths, visits)
        learned = learn(items, seen, PRIOR)
        effects = [learned.effect(item, 0.95) for item in items]
        off += [e.value - t for e, t in zip(effects, truths, strict=True)]
        held += [e.holds(t) for e, t in zip(effects, truths, strict=True)]
        check = check_of(items, seen, PRIOR, 0.95, 10)
        errors.append(check.error)
        plain.append(check.published)
        used += check.better
    return (
        f"{np.mean(off):+9.2f} {np.mean(held):9.1%} {np.mean(errors):9.2f} "
        f"{np.mean(plain):9.2f} {used / shops:9.0%}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
