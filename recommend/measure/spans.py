"""Runs of consecutive frames."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Span = tuple[int, int]


def spans(flags: NDArray[np.bool_]) -> list[Span]:
    """Half-open spans of consecutive true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def within(flags: NDArray[np.bool_], most: float) -> NDArray[np.bool_]:
    """The same without a run of at most `most` frames at either end, which no stride needs."""
    out = flags.copy()
    for start, stop in spans(flags):
        if stop - start <= most and (start == 0 or stop == len(flags)):
            out[start:stop] = False
    return out


def bridged(found: Iterable[Span], gap: float) -> list[Span]:
    """The spans with those joined that lie no more than `gap` frames apart."""
    joined: list[Span] = []
    for start, stop in found:
        if joined and start - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((start, stop))
    return joined
