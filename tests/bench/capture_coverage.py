"""How often the stated interval of a measure holds the truth, over many generated feet.

Run from the project's folder: ``python -m tests.bench.capture_coverage --feet 1000``. Prints, for
each measure, the share of feet whose value plus or minus 1.96 standard errors holds the true
value, the bias and the root mean square error. The feet, their steps and their mat are those of
``tests/invented/foot_model.py``; the truth is integrated there without the program.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np

from recommend.errors import RecommendError
from recommend.measure.pressure.measures import measure_pressure
from recommend.measure.pressure.recording import PressureRecording
from recommend.measure.video import MarksRecording, measure_marks
from recommend.rulebook import Rulebook, load_rulebook
from tests.invented import gait_model
from tests.invented.foot_model import Mat, invent, truth, walk

RULES = Path(__file__).parents[2] / "rules"
NAMES = {
    "arch-index": ("arch-index", {"kind": "pressure-sensor"}),
    "arch-index-weighted": ("arch-index", {"kind": "pressure-weighted"}),
    "chippaux-smirak": ("chippaux-smirak", {}),
    "staheli": ("staheli", {}),
    "forefoot-width": ("footprint-width", {}),
    "footprint-length": ("footprint-length", {}),
    "cpei": ("cpei", {}),
    "contact-time": ("contact-time", {}),
}


def one_foot(seed: int, steps: int, mat: Mat, book: Rulebook) -> dict | None:
    """True value, value and error of each measure of one generated foot; None when refused."""
    rng = np.random.default_rng([seed, steps])
    foot = invent(rng)
    frames = walk(foot, steps, rng, mat)
    recording = PressureRecording(
        frames, (mat.pitch, mat.pitch), mat.rate, None, "dynamic", "walking", "barefoot", None, "x"
    )
    try:
        measured = measure_pressure(recording, book.parameters, book.measures)
    except RecommendError as error:
        print(f"foot {seed}: {error}")
        return None
    if len(measured) != 1 or measured[0].side != foot.side:
        print(f"foot {seed}: a {foot.side} foot was told as {[m.side for m in measured]}")
        return None
    true = truth(foot)
    rows = {}
    for key, (name, qualifiers) in NAMES.items():
        measure = measured[0].find(name, **qualifiers)
        if measure is not None:
            rows[key] = (true[key], measure.value, measure.error)
    return rows


def report(feet: int, steps: int, mat: Mat) -> dict[str, float]:
    """Print the table of coverage; the coverage of each measure as a share."""
    book = load_rulebook(RULES)
    start = time.perf_counter()
    found = [one_foot(seed, steps, mat, book) for seed in range(feet)]
    rows = [row for row in found if row is not None]
    print(f"{feet} feet, {steps} steps each, pitch {mat.pitch:g} mm, {mat.rate:g} Hz;")
    print(f"{feet - len(rows)} refused or mistaken; {time.perf_counter() - start:.0f} s")
    return _table(rows, list(NAMES))


def _table(rows: list[dict], names: list[str]) -> dict[str, float]:
    """Print coverage, bias, error made, error stated and spread of the truth; the coverages."""
    print(f"{'measure':22s}{'coverage':>9s}{'bias':>10s}{'rms':>9s}{'stated':>9s}{'spread':>9s}")
    coverage = {}
    for name in names:
        true, value, error = np.array([row[name] for row in rows if name in row]).T
        off = value - true
        coverage[name] = float(np.mean(np.abs(off) <= 1.96 * error))
        print(
            f"{name:22s}{100 * coverage[name]:8.1f}%{off.mean():10.4f}"
            f"{np.sqrt((off**2).mean()):9.4f}{error.mean():9.4f}{true.std():9.4f}"
        )
    return coverage


def one_gait(seed: int, strides: int, book: Rulebook, contact: bool) -> dict:
    """True value, value and error of each angle of one generated gait."""
    rng = np.random.default_rng([seed, strides])
    gait = gait_model.Gait(
        side=("left", "right")[int(rng.integers(2))],
        touchdown=float(rng.normal(-1, 2)),
        peak=float(rng.normal(5, 3)),
        peak_at=float(rng.uniform(0.25, 0.75)),
        late=float(rng.normal(-1, 2.5)),
        leg_lean=float(rng.normal(4, 2)),
        rate=60.0,
    )
    points, down = gait_model.film(gait, strides, rng, spread_deg=1.2, click_px=0.6)
    marks = MarksRecording(
        points, "px", gait.rate, gait.side, "walking", "barefoot", down if contact else None,
        None, None, 0, "x",
    )  # fmt: skip
    found = measure_marks(marks, None, book.parameters, book.measures)
    true = gait_model.truth(gait)
    return {name: (true[name], found.find(name).value, found.find(name).error) for name in true}


def report_marks(gaits: int, strides: int, *, contact: bool) -> None:
    """Print the same table for the angles of generated gaits."""
    book = load_rulebook(RULES)
    rows = [one_gait(seed, strides, book, contact) for seed in range(gaits)]
    told = "with" if contact else "without"
    print(f"\n{gaits} gaits, {strides} strides each, {told} a contact signal;")
    _table(rows, list(rows[0]))


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--feet", type=int, default=1000)
    parser.add_argument("--steps", type=int, default=5)
    parser.add_argument("--pitch", type=float, default=5.0)
    options = parser.parse_args()
    rows = round(320 / options.pitch)
    report(options.feet, options.steps, Mat(rows, rows // 2, options.pitch))
    for contact in (True, False):
        report_marks(options.feet, 8, contact=contact)


if __name__ == "__main__":
    main()
