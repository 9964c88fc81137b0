"""Shared by the tests of captures: parameters, definitions, and invented recordings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from recommend.measure.pressure import PressureRecording
from recommend.measure.video import MarksRecording
from recommend.rulebook import load_rulebook
from tests.invented import foot_model, gait_model

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="session")
def book():
    """The shipped rulebook."""
    return load_rulebook(RULES)


@pytest.fixture(scope="session")
def parameters(book):
    """All named numbers."""
    return book.parameters


@pytest.fixture(scope="session")
def defs(book):
    """Definitions of the measures."""
    return book.measures


def recording(frames: np.ndarray, **changes) -> PressureRecording:
    """A dynamic walking recording of 5 mm sensors at 100 Hz."""
    settings = {
        "pitch_mm": (5.0, 5.0),
        "rate_hz": 100.0,
        "side": None,
        "load": "dynamic",
        "gait": "walking",
        "condition": "barefoot",
        "saturation_kpa": None,
        "name": "walk.csv",
    }
    return PressureRecording(frames=frames, **(settings | changes))


def filmed(gait: gait_model.Gait, strides: int = 8, seed: int = 0, **film) -> MarksRecording:
    """Marks of an invented gait with its contact signal."""
    points, contact = gait_model.film(gait, strides, np.random.default_rng(seed), **film)
    return MarksRecording(
        points, "px", gait.rate, gait.side, "walking", "barefoot", contact, None, None, 0, "v.csv"
    )


@pytest.fixture(scope="session")
def five_steps() -> np.ndarray:
    """Frames of five steps of an ordinary invented left foot; copy before changing."""
    return foot_model.walk(foot_model.Foot(), 5, np.random.default_rng(1))
