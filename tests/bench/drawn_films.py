"""How well marks are found and followed in drawn films, and whether what is measured holds.

Run from the project's folder: ``python -m tests.bench.drawn_films clean --films 200``. Films come
from ``filmed_legs.py``. ``clean`` are filmed as the manual asks for; ``hard`` has all that goes
wrong, one fault or more a film. A line for each measure: share of intervals (1.96 standard errors)
that hold the person's true mean, bias, error made and stated, how often it was given. Then how
many films were doubted, and how many have a mark further from where it is than its own radius
without that being doubted. The film is opened in this process, to save starting one each time.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import resource
import tempfile
from collections import Counter, defaultdict
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np

from recommend.errors import RecommendError
from recommend.measure.apart import GaveUpError
from recommend.measure.capture import CaptureOptions, measure_film
from recommend.measure.film import child, opening
from recommend.measure.film.legs import RADIUS
from recommend.measure.film.reading import read_film
from recommend.rulebook import load_rulebook
from tests.bench.filmed_legs import Drawn, camera_of, draw, pair_of, scene_of

RULES = Path(__file__).parents[2] / "rules"
# Doubts of the way that any capture of marks goes, without contact column or plumb line.
USUAL = {
    "level-unknown",
    "stance-estimated",
    "end-of-stance-unknown",
    "end-of-stance-unsure",
    "too-few-strides",
    "partial-contact",
}
FAULTS = (
    "narrow", "crossing", "freckles", "lost-mark", "bystander", "uneven", "blur", "rows", "coarse",
    "noise", "slow", "turned", "edge", "mirrored",
)  # fmt: skip


cv2.setNumThreads(1)
child.THREADS = 1


def in_this_process(module: str, arguments, *, quiet_s: float, tell=None) -> None:
    """What `run_apart` does, without a process."""
    work, file, out, told = arguments
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            {"spots": child.find_spots}[work](file, out, json.loads(told))
        except (child.UnreadableError, ValueError) as error:
            raise GaveUpError(str(error)) from None


def shot(rng: np.random.Generator, rate: float, gait: str, kind: str):
    """Camera, scene and people of one film, and what is wrong with it."""
    camera, scene, people, faults = _shot(rng, rate, gait, kind)
    if gait == "running":  # the heel swings up to the other knee: a higher picture
        camera = replace(camera, height=2 * round(0.8 * camera.height))
    return camera, scene, people, faults


def _shot(rng: np.random.Generator, rate: float, gait: str, kind: str):
    camera, scene = camera_of(rng, rate), scene_of(rng)
    people = pair_of(rng, gait)
    if kind == "clean":
        return camera, replace(scene, step_mm=rng.uniform(125, 170)), people, ()
    camera = replace(camera, moments=1, width=240, height=284, px_per_mm=0.57)  # quick to draw
    faults = tuple(rng.choice(FAULTS, size=int(rng.integers(1, 4)), replace=False))
    for fault in faults:
        camera, scene = _spoilt(str(fault), camera, scene, rng)
    return camera, scene, people, faults


def _spoilt(fault: str, camera, scene, rng):
    side = str(rng.choice(["left", "right"]))
    mark = str(rng.choice(["upper-leg", "lower-leg", "upper-heel", "lower-heel"]))
    changes = {
        "narrow": ({}, {"step_mm": rng.uniform(40, 90)}),
        "crossing": ({}, {"passing": rng.uniform(20, 60)}),
        "freckles": ({}, {"freckles": 40}),
        "lost-mark": ({}, {"missing": ((side, mark),)}),
        "bystander": ({"width": 360}, {"bystander": True}),
        "uneven": ({"jitter": rng.uniform(0.2, 0.8)}, {}),
        "blur": ({"shutter_s": rng.uniform(1 / 150, 1 / 60), "moments": 4}, {}),
        "rows": ({"readout_s": rng.uniform(0.01, 0.025)}, {}),
        "coarse": ({"crf": int(rng.integers(32, 40))}, {}),
        "noise": ({"noise": rng.uniform(6, 14)}, {}),
        "slow": ({"rate": 30.0}, {}),
        "turned": ({"turned": int(rng.integers(1, 4))}, {}),
        "edge": ({"height": 232}, {}),
        "mirrored": ({"mirrored": True}, {}),
    }[fault]
    return replace(camera, **changes[0]), replace(scene, **changes[1])


@dataclass
class Outcome:
    """What came of one film.

    `seen` are doubts about the marks and `doubts` all that are not usual, by side; `wrong` marks
    that lie elsewhere and are not doubted; `rows` truth, value and error of each measure given.
    """

    seed: int
    faults: list[str] = field(default_factory=list)
    refusal: str = ""
    seen: dict[str, list[str]] = field(default_factory=dict)
    doubts: dict[str, list[str]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    rows: list[tuple[str, float, float, float]] = field(default_factory=list)


def one_film(
    seed: int, rate: float, gait: str, kind: str, strides: int, book, folder: Path
) -> Outcome:
    """Draw one film, read it, measure it."""
    rng = np.random.default_rng([seed, int(rate), gait == "running", kind == "clean"])
    camera, scene, people, faults = shot(rng, rate, gait, kind)
    if kind != "clean":
        strides = int(rng.choice([2, 2, 3]))
    drawn = draw(folder / "film.mp4", people, strides, rng, camera, scene)
    out = Outcome(seed, [*map(str, faults)])
    # a mirrored film of two legs without a fifth mark shows no sign of it: sides are as drawn
    names = dict(zip(("left", "right"), ("right", "left") if camera.mirrored else ("left", "right"),
                     strict=True))  # fmt: skip
    try:
        read = read_film(drawn.path, book.parameters.film, CaptureOptions(gait=gait))
        out.wrong = wrong_marks(read, drawn, camera, names)
        out.seen = {names[one.side]: [f.name for f in one.seen] for one in read.recordings}
        found, _ = measure_film(
            drawn.path, read, book.parameters, book.measures, CaptureOptions(gait=gait)
        )
    except RecommendError as error:
        out.refusal = str(error).partition(".mp4: ")[2]
        return out
    for one in found:
        side = names[one.side]
        out.doubts[side] = sorted({flag.name for flag in one.flags} - USUAL)
        for name, true in drawn.truth[side].items():
            measure = one.find(name)
            if measure is not None:
                out.rows.append((name, true, measure.value, measure.error))
    return out


def wrong_marks(read, drawn: Drawn, camera, names) -> list[str]:
    """Marks further from where they are than their own radius, of legs that nothing withdraws."""
    out = []
    removed = {one.side for one in read.recordings if any(f.effect == "removed" for f in one.seen)}
    for side, one in read.marked.items():
        there = upright(drawn.marks[names[side]], camera, read.opened.turn)
        off = np.hypot(*np.moveaxis(one.rows[..., :2] - there, -1, 0))
        bad = ~np.isnan(one.rows[..., 0]) & ~(off <= one.rows[..., RADIUS])
        if bad.any() and side not in removed:
            out.append(f"{side}: {bad.sum()} marks, {np.argwhere(bad)[:3].tolist()}")
    return out


def upright(points: np.ndarray, camera, turn: int) -> np.ndarray:
    """Points of the picture as stored, in the picture turned by so many quarters clockwise."""
    x, y = points[..., 0], points[..., 1]
    size = (camera.height, camera.width)
    height, width = size[:: -1 if camera.turned % 2 else 1]
    for _ in range(turn):
        x, y = height - 1 - y, x
        height, width = width, height
    return np.stack([x, y], axis=-1)


def speed(seconds: float, folder: Path, book) -> None:
    """Print the processor time that a film of 1280 x 720 at 120 takes, beside its own length."""
    rng = np.random.default_rng(0)
    camera = replace(camera_of(rng, 120), width=1280, height=720, px_per_mm=1.4, moments=1)
    people = pair_of(rng)
    cycle = people["left"].stance_s + people["left"].swing_s
    strides = max(round(seconds / cycle), 1)
    drawn = draw(folder / "film.mp4", people, strides, rng, camera, scene_of(rng))
    first = os.times()
    read_film(drawn.path, book.parameters.film, CaptureOptions())
    last = os.times()
    ours, theirs = last.user + last.system - first.user - first.system, (
        last.children_user + last.children_system - first.children_user - first.children_system
    )  # fmt: skip
    length = float(drawn.times[-1] - drawn.times[0])
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
    print(
        f"{len(drawn.times)} frames, {length:.1f} s: {theirs:.1f} s of processor time opened it "
        f"(with {most:.0f} MB at most), {ours:.1f} s followed it; {(ours + theirs) / length:.2f} s "
        f"for each second of film, {last.elapsed - first.elapsed:.1f} s by the clock"
    )


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=["clean", "hard", "speed"])
    parser.add_argument("--seconds", type=float, default=20, help="length of the film for speed")
    parser.add_argument("--films", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--rate", type=float, default=60)
    parser.add_argument("--gait", default="walking", choices=["walking", "running"])
    parser.add_argument("--strides", type=int, default=7)
    parser.add_argument(
        "--keep", type=Path, help="file to which each film adds a line; go on there"
    )
    options = parser.parse_args()
    book = load_rulebook(RULES)
    if options.kind == "speed":
        with tempfile.TemporaryDirectory() as folder:
            return speed(options.seconds, Path(folder), book)
    opening.run_apart = in_this_process
    tally = Tally()
    done = set()
    if options.keep and options.keep.exists():
        for line in options.keep.read_text().splitlines():
            tally.add(Outcome(**json.loads(line)))
            done.add(json.loads(line)["seed"])
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.films):
            if seed in done:
                continue
            came = one_film(
                seed, options.rate, options.gait, options.kind, options.strides, book, Path(folder)
            )
            tally.add(came)
            if options.keep:
                with options.keep.open("a") as kept:
                    kept.write(json.dumps(asdict(came)) + "\n")
    print(f"{options.kind}, {options.gait}, {options.rate:g} a second")
    tally.show()


class Tally:
    """What came of many films."""

    def __init__(self) -> None:
        self.rows, self.doubts, self.refused = defaultdict(list), Counter(), Counter()
        self.films = self.legs = self.doubted = self.wrong = self.about_marks = 0

    def add(self, came: Outcome) -> None:
        """Count one film."""
        self.films += 1
        if came.wrong:
            self.wrong += 1
            print(f"  film {came.seed} {came.faults}: wrong {came.wrong}", flush=True)
        if came.refusal:
            self.refused[came.refusal[:70]] += 1
        marks = bool(came.refusal) or any(came.seen.values())
        self.about_marks += marks
        self.doubted += marks or any(came.doubts.values())
        self.legs += len(came.doubts)
        for names in came.doubts.values():
            self.doubts.update(names)
        for name, *row in came.rows:
            self.rows[name].append(row)

    def show(self) -> None:
        """Print the report."""
        print(f"{self.films} films, {self.legs} legs")
        for name, each in self.rows.items():
            true, value, error = np.array(each).T
            off = value - true
            held = 100 * np.mean(np.abs(off) <= 1.96 * error)
            print(
                f"  {name:18s} {held:5.1f} %  bias {off.mean():7.3f}"
                f"  made {np.sqrt((off**2).mean()):6.3f}  stated {error.mean():6.3f}"
                f"  given {100 * len(each) / max(self.legs, 1):4.0f} %"
            )
        of = (
            f"{self.doubted / self.films:.1%} (about the marks {self.about_marks / self.films:.1%})"
        )
        print(f"doubted films {of}", dict(self.doubts))
        print(f"refused {self.refused.total()}", dict(self.refused))
        print(f"films with a wrong mark undoubted: {self.wrong} of {self.films}")


if __name__ == "__main__":
    main()
