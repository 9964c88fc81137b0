"""Write the captures of ``catalogue_demo/captures`` again: ``python -m tests.invented.generate``.

Every capture is drawn from a seed, so that running this changes nothing unless a model changed.
``truth.yaml`` beside them holds the true measures of the foot or gait behind each.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.invented import foot_model, gait_model
from tests.invented.foot_model import Foot, Mat
from tests.invented.gait_model import Gait

FOLDER = Path(__file__).parents[2] / "catalogue_demo" / "captures"

# A mat of 7 mm sensors keeps the files small; the feet lie well inside it.
MAT = Mat(rows=45, columns=22, pitch=7.0, rate=50.0)
STEPS = {
    "walk-left": Foot("left", isthmus=0.42),
    "walk-right": Foot("right", isthmus=0.42, lateral_bias=0.05),
    "flat-early-medial-left": Foot("left", isthmus=0.88, medial_early=1.4, medial_late=0.5),
    "high-arch-late-medial-right": Foot("right", isthmus=0.14, medial_late=1.8, width=88),
    "high-arch-lateral-left": Foot("left", isthmus=0.08, lateral_bias=0.6),
}
STRIDES = {
    "video-left": Gait("left", rate=60),
    "video-right": Gait("right", rate=60, peak=5.5, peak_at=0.37),
    "video-late-pronator-right": Gait(
        "right", rate=60, touchdown=-2, peak=6.4, peak_at=0.62, late=4.0
    ),
    "video-over-pronator-left": Gait(
        "left", rate=60, touchdown=0.5, peak=11.3, peak_at=0.42, late=1.0
    ),
}


def frames_of(foot: Foot, seed: int) -> np.ndarray:
    """Frames (time, rows, columns) in whole kPa of five steps."""
    return foot_model.walk(foot, 5, np.random.default_rng(seed), MAT, gap_s=0.1)


def write_csv(path: Path, foot: Foot, frames: np.ndarray) -> None:
    """A pressure capture as CSV, one frame a line."""
    head = (
        "# capture: pressure\n"
        "# unit: kPa\n"
        f"# pitch-mm: {MAT.pitch:g}\n"
        f"# rate-hz: {MAT.rate:g}\n"
        f"# rows: {MAT.rows}\n"
        f"# columns: {MAT.columns}\n"
        f"# side: {foot.side}\n"
    )
    lines = (",".join(f"{v:.0f}" for v in frame.ravel()) for frame in frames)
    path.write_text(head + "\n".join(lines) + "\n")


def write_npz(path: Path, foot: Foot, frames: np.ndarray) -> None:
    """A pressure capture as NPZ, much smaller than the CSV."""
    np.savez_compressed(
        path, pressure=frames.astype(np.uint16), pitch_mm=MAT.pitch, rate_hz=MAT.rate,
        unit="kPa", side=foot.side,
    )  # fmt: skip


def marks_text(gait: Gait, strides: int, seed: int, *, doubtful: bool = False) -> str:
    """A capture of marks as CSV, y counting down as in image programs."""
    points, contact = gait_model.film(gait, strides, np.random.default_rng(seed))
    points[..., 1] = 480 - points[..., 1]
    points[..., 0] += 320
    head = (
        "# capture: marks\n"
        "# unit: px\n"
        "# y-axis: down\n"
        f"# rate-hz: {gait.rate:g}\n"
        f"# side: {gait.side}\n"
        "# gait: walking\n"
        "# condition: barefoot\n"
    )
    marks = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
    names = [f"{mark}-{axis}" for mark in marks for axis in "xy"]
    lines = [",".join(["frame", *names, "contact"])]
    for number, (frame, down) in enumerate(zip(points, contact, strict=True), start=1):
        if doubtful and number % 97 in (0, 1):
            continue  # the camera dropped two frames
        frame = frame[[0, 1, 3, 2]] if doubtful and number % 131 == 0 else frame
        lines.append(",".join([str(number), *(f"{v:.1f}" for v in frame.ravel()), str(int(down))]))
    return head + "\n".join(lines) + "\n"


def main() -> None:
    """Write all captures and the truth behind them."""
    truth = ["# True measures behind the invented captures; written by generate.py.\n"]
    for seed, (name, foot) in enumerate(STEPS.items()):
        frames = frames_of(foot, seed)
        if name == "walk-left":
            write_csv(FOLDER / f"{name}.csv", foot, frames)
        else:
            write_npz(FOLDER / f"{name}.npz", foot, frames)
        truth.append(_truth(name, foot_model.truth(foot)))
    for seed, (name, gait) in enumerate(STRIDES.items()):
        (FOLDER / f"{name}.csv").write_text(marks_text(gait, 8, seed))
        truth.append(_truth(name, gait_model.truth(gait)))
    doubtful = marks_text(Gait("left", rate=60), 8, 9, doubtful=True)
    (FOLDER / "video-doubtful-left.csv").write_text(doubtful)
    (FOLDER / "truth.yaml").write_text("".join(truth))


def _truth(name: str, measures: dict[str, float]) -> str:
    lines = "".join(f"  {key}: {value:.4f}\n" for key, value in measures.items())
    return f"{name}:\n{lines}"


if __name__ == "__main__":
    main()
