"""Series over frames: runs of frames, gaps bridged, and low-pass filtering without scipy."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from recommend.errors import RecommendError

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]
Span = tuple[int, int]

# Two passes of a second-order filter lower its cut-off; dividing by (sqrt(2) - 1) ** 0.25 brings
# the -3 dB point of both together back to the one asked for.
DUAL_PASS: Final = (math.sqrt(2.0) - 1.0) ** 0.25


def butterworth(cutoff_hz: float, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Coefficients b, a (3 each) of a second-order low-pass, cut-off pre-warped.

    Raises
    ------
    RecommendError
        If the cut-off is not between 0 and half the rate.

    Notes
    -----
    Bilinear transform of 1 / (s^2 + sqrt(2) s + 1) with k = tan(pi fc / fs).
    """
    if not 0 < cutoff_hz < rate_hz / 2.0:
        raise RecommendError(
            f"a cut-off of {cutoff_hz:.3g} Hz needs a recording of more than "
            f"{2 * cutoff_hz:.3g} frames per second; this one has {rate_hz:g}"
        )
    k = math.tan(math.pi * cutoff_hz / rate_hz)
    norm = 1.0 + math.sqrt(2.0) * k + k * k
    b = np.array([1.0, 2.0, 1.0]) * (k * k / norm)
    a = np.array([1.0, 2.0 * (k * k - 1.0) / norm, (1.0 - math.sqrt(2.0) * k + k * k) / norm])
    return b, a


def low_pass(values: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    """Zero-lag low-pass of `values` (n,) or (n, k) at `rate_hz`: forward, then backward.

    The -3 dB point of both passes together is `cutoff_hz`. Ends are extended by 9 samples turned
    about the end point, and each pass starts in its steady state, so that a constant stays.

    Raises
    ------
    RecommendError
        If there are fewer than 10 samples, or the cut-off does not fit the rate.
    """
    pad = 9
    if len(values) <= pad:
        raise RecommendError(f"{len(values)} samples are too few for the filter; it needs 10")
    b, a = butterworth(cutoff_hz / DUAL_PASS, rate_hz)
    flat = values.reshape(len(values), -1)
    head = 2.0 * flat[0] - flat[pad:0:-1]
    tail = 2.0 * flat[-1] - flat[-2 : -pad - 2 : -1]
    forward = _one_pass(np.concatenate([head, flat, tail]), b, a)
    both = _one_pass(forward[::-1], b, a)[::-1]
    return both[pad:-pad].reshape(values.shape)


def _one_pass(x: FloatArray, b: FloatArray, a: FloatArray) -> FloatArray:
    """Direct form II transposed along the first axis, started in steady state at x[0]."""
    y = np.empty_like(x)
    z2 = (b[2] - a[2]) * x[0]
    z1 = (b[1] - a[1]) * x[0] + z2
    for i, sample in enumerate(x):
        y[i] = b[0] * sample + z1
        z1 = b[1] * sample - a[1] * y[i] + z2
        z2 = b[2] * sample - a[2] * y[i]
    return y


def bridge_gaps(values: FloatArray, longest: int) -> tuple[FloatArray, int]:
    """Fill runs of at most `longest` missing rows of (n, k) by straight lines.

    A row is missing when any of its numbers is NaN. Gaps at the ends and longer ones stay NaN in
    all columns.

    Returns
    -------
    filled : (n, k).
    bridged : how many rows were filled.
    """
    missing = np.isnan(values).any(axis=1)
    out = values.copy()
    out[missing] = np.nan
    known = np.flatnonzero(~missing)
    bridged = 0
    for left, right in pairwise(known):
        gap = int(right - left - 1)
        if 0 < gap <= longest:
            share = (np.arange(1, gap + 1) / (gap + 1))[:, None]
            out[left + 1 : right] = values[left] + share * (values[right] - values[left])
            bridged += gap
    return out, bridged


def low_pass_pieces(values: FloatArray, cutoff_hz: float, rate_hz: float) -> FloatArray:
    """`low_pass` of each stretch of (n, k) without NaN; those too short to filter become NaN."""
    out = np.full_like(values, np.nan)
    known = np.asarray(~np.isnan(values).any(axis=1))
    for start, stop in spans(known):
        if stop - start > 9:
            out[start:stop] = low_pass(values[start:stop], cutoff_hz, rate_hz)
    return out


def spans(flags: Mask) -> list[Span]:
    """Half-open spans of consecutive true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def within(flags: Mask, most: float) -> Mask:
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
