"""Whole process of one shortlist against an interpreter that only imports numpy.

Run: python -m tests.bench.cold_start [VISIT]
The two are run in turns, so that both meet the same machine; the best of each counts, since
noise only ever adds time. Python keeps what it compiled, as for an installed program, whatever
this terminal says of that; the first turn, which compiles, is not counted.
"""

import os
import resource
import subprocess
import sys
import time

TURNS = 15
VISIT = "catalogue_demo/visits/pronated-high-arch-late-medial.yaml"


def seconds(arguments: list[str]) -> tuple[float, float]:
    """Wall time and processor time of one interpreter with these arguments."""
    keeps_compiled = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    start, before = time.perf_counter(), processor()
    subprocess.run(
        [sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL, env=keeps_compiled
    )
    return time.perf_counter() - start, processor() - before


def processor() -> float:
    """Processor time of all processes started and ended so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Print the best of each and their ratio."""
    visit = sys.argv[1] if len(sys.argv) > 1 else VISIT
    ours: list[tuple[float, float]] = []
    peer: list[tuple[float, float]] = []
    for _ in range(TURNS + 1):
        peer.append(seconds(["-c", "import numpy"]))
        ours.append(seconds(["-m", "recommend", "shortlist", visit]))
    for index, what in enumerate(("wall", "processor")):
        one, two = min(p[index] for p in peer[1:]), min(o[index] for o in ours[1:])
        print(f"{what:9} numpy alone {one:.3f} s, shortlist {two:.3f} s, ratio {two / one:.2f}")
    print("asked for: under 0.35 s on a quiet machine, and a ratio under 4")


if __name__ == "__main__":
    main()
