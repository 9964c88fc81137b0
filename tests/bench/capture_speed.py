"""Time and memory of measuring a long pressure recording, from CSV and from NPZ.

Run from the project's folder: ``python -m tests.bench.capture_speed``. Generates a minute of steps
at 200 Hz on 64 x 64 sensors, measures them in a fresh process, and prints processor seconds after
imports beside those of numpy parsing the same CSV, and how far peak memory rose as a multiple of
the recording. Then it does the same with a longer CSV, and with one too large, which is refused.
Memory is read as Linux tells it.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.invented.foot_model import Foot, Mat, walk

_CHILD = """
import json, os, resource, sys
from pathlib import Path
import numpy as np
from recommend.errors import RecommendError
from recommend.measure.capture import measure_capture
from recommend.measure.pressure import measure_pressure, read_pressure
from recommend.extras import shipped_folder
from recommend.rulebook import load_rulebook
book = load_rulebook(shipped_folder("rules"))
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
now = lambda: int(open("/proc/self/statm").read().split()[1]) * resource.getpagesize()
cpu = lambda: sum(os.times()[:4])  # with the processes that open foreign files
before, start = now(), cpu()
try:
    found = measure_capture(Path(sys.argv[1]), book.parameters, book.measures)
    said = f"{found[0].n} steps"
except RecommendError as error:
    said = str(error)
print(json.dumps([cpu() - start, peak() - before, said]))
"""
_PEER = """
import json, sys, time
import numpy as np
start = time.process_time()
np.loadtxt(sys.argv[1], delimiter=",", dtype=np.float32, comments="#")
print(json.dumps([time.process_time() - start, 0, ""]))
"""


def run(code: str, file: Path) -> tuple[float, int, str]:
    """Processor seconds, rise of peak memory in bytes and words of `code` in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True
    )
    seconds, memory, said = json.loads(done.stdout)
    return seconds, memory, said


def write_csv(path: Path, frames: np.ndarray, rate: float, times: int) -> None:
    """The frames as CSV, one frame a line, `times` over."""
    head = f"# capture: pressure\n# unit: kPa\n# pitch-mm: 5\n# rate-hz: {rate:g}\n"
    head += f"# rows: {frames.shape[1]}\n# columns: {frames.shape[2]}\n# side: left\n"
    text = "\n".join(",".join(f"{v:.0f}" for v in frame.ravel()) for frame in frames) + "\n"
    with path.open("w") as file:
        file.write(head)
        for _ in range(times):
            file.write(text)


def main() -> None:
    """Read the options and print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=70)
    parser.add_argument("--columns", type=int, default=64)
    parser.add_argument("--rate", type=float, default=200.0)
    parser.add_argument("--long", type=int, default=2, help="how many times over in the long CSV")
    parser.add_argument("--huge", type=int, default=20, help="and in the one too large")
    options = parser.parse_args()
    frames = walk(
        Foot(), options.steps, np.random.default_rng(0), Mat(64, options.columns, 5.0, options.rate)
    )
    size = frames.astype(np.float32).nbytes
    with tempfile.TemporaryDirectory() as folder:
        csv, npz, long = (Path(folder) / name for name in ("a.csv", "a.npz", "long.csv"))
        write_csv(csv, frames, options.rate, 1)
        np.savez_compressed(
            npz, pressure=frames, pitch_mm=5.0, rate_hz=options.rate, unit="kPa", side="left"
        )
        print(f"{options.steps} steps, {len(frames)} frames, {size / 1e6:.0f} MB in memory,")
        print(f"{csv.stat().st_size / 1e6:.0f} MB as CSV, {npz.stat().st_size / 1e6:.1f} MB as NPZ")
        peer = run(_PEER, csv)[0]
        for file in (csv, npz):
            seconds, memory, said = run(_CHILD, file)
            print(
                f"{file.suffix[1:]}: {seconds:.2f} s, {seconds / peer:.2f} x numpy.loadtxt alone "
                f"({peer:.2f} s); memory rose by {memory / size:.1f} x the recording; {said}"
            )
        for times in (options.long, options.huge):
            write_csv(long, frames, options.rate, times)
            seconds, memory, said = run(_CHILD, long)
            print(
                f"{long.stat().st_size / 1e6:.0f} MB of CSV: {seconds:.2f} s, memory rose by "
                f"{memory / 1e6:.0f} MB, {memory / (size * times):.2f} x the recording; {said}"
            )


if __name__ == "__main__":
    main()
