"""The low-pass filter against scipy.signal, and against its closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from recommend.errors import RecommendError
from recommend.measure.filtering import DUAL_PASS, bridge_gaps, butterworth, low_pass

signal = pytest.importorskip("scipy.signal", reason="scipy is in the extra `test`")


@pytest.mark.parametrize(("cutoff", "rate"), [(6.0, 100.0), (10.0, 120.0), (6.0, 50.0), (20, 500)])
def test_coefficients_equal_scipy(cutoff, rate):
    """The coefficients of one pass are those of scipy's second-order Butterworth low-pass."""
    b, a = signal.butter(2, cutoff, fs=rate)

    ours = butterworth(cutoff, rate)

    assert ours[0] == pytest.approx(b, abs=1e-14)
    assert ours[1] == pytest.approx(a, abs=1e-14)


@pytest.mark.parametrize("shape", [(40,), (300, 8), (11, 2)])
def test_both_passes_equal_filtfilt(shape):
    """Forward and backward pass with its ends equal scipy's filtfilt with default padding."""
    x = np.random.default_rng(1).standard_normal(shape).cumsum(axis=0)
    b, a = signal.butter(2, 6.0 / DUAL_PASS, fs=100.0)

    assert low_pass(x, 6.0, 100.0) == pytest.approx(signal.filtfilt(b, a, x, axis=0), abs=1e-10)


def test_the_cut_off_of_both_passes_is_the_one_asked_for():
    """A sine at the cut-off comes out at 1/sqrt(2) of its height and without lag."""
    t = np.arange(0, 20, 0.01)
    wave = np.sin(2 * math.pi * 6.0 * t)

    out = low_pass(wave, 6.0, 100.0)[500:1500]

    gain = np.dot(out, wave[500:1500]) / np.dot(wave[500:1500], wave[500:1500])
    # Pre-warping at 6 / 0.802 Hz leaves the digital filter's own bend: 0.709 instead of 0.7071.
    assert gain == pytest.approx(1 / math.sqrt(2), abs=0.01)


def test_a_constant_and_a_line_stay():
    """A mark that stands or moves evenly is not changed, ends included."""
    line = np.column_stack([np.full(60, 4.0), np.linspace(0, 30, 60)])

    assert low_pass(line, 6.0, 100.0)[:, 0] == pytest.approx(line[:, 0])
    assert low_pass(line, 6.0, 100.0)[15:-15, 1] == pytest.approx(line[15:-15, 1], abs=1e-3)


def test_a_rate_too_low_is_refused():
    """A cut-off above half the frame rate cannot be filtered."""
    with pytest.raises(RecommendError, match="frames per second"):
        low_pass(np.zeros((30, 2)), 6.0, 10.0)


def test_gaps_are_bridged_by_lines_and_long_ones_left():
    """By hand: a gap of 2 between 10 and 40 becomes 20 and 30; one of 4 stays a gap."""
    x = np.array([10.0, np.nan, np.nan, 40.0, 50.0, np.nan, np.nan, np.nan, np.nan, 0.0])[:, None]

    filled, bridged = bridge_gaps(x, longest=3)

    assert filled[:4, 0] == pytest.approx([10, 20, 30, 40])
    assert np.isnan(filled[5:9]).all()
    assert bridged == 2
