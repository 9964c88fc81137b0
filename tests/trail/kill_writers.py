"""Kill writers of a store, one after the other, each at a random moment (run as a program).

Each writer keeps records as fast as it can and tells which are confirmed; it is killed with
SIGKILL, which no program can catch. Prints, as JSON, the confirmed hashes and how many writers
died between beginning a record and its confirmation.

    python -m tests.trail.kill_writers STORE COUNT SEED
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from recommend.records.store import Store
from tests.trail.entries import entry

HASH_BYTES = 64  # a hash in hexadecimal; `b` stands for "begins the next record"


def write_for_ever(path: Path, number: int, pipe: int) -> None:
    """Keep records until killed; each confirmed hash goes into the pipe."""
    with Store(path, write=True) as store:
        for i in range(10**9):
            os.write(pipe, b"b")
            record = store.append(entry(f"K-{number}", i + 0.5))
            os.write(pipe, record.hash.encode())


def kill_one(path: Path, number: int, seconds: float) -> bytes:
    """Start a writer, kill it `seconds` after it has confirmed a few records; what it told.

    How many records it may confirm first goes by its number, from none at all (killed while it
    opens or makes the store) to two, so that a slow machine kills within the work as well.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            write_for_ever(path, number, writer)
        finally:
            os._exit(1)  # only a failure of the writer itself leads here
    os.close(writer)
    told = b""
    wanted = 1 + (number % 4 - 1) * (HASH_BYTES + 1) if number % 4 else 0
    while len(told) < wanted and (part := os.read(reader, wanted - len(told))):
        told += part
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"writer {number} ended by itself")
    while part := os.read(reader, 1 << 16):
        told += part
    os.close(reader)
    return told


def main() -> None:
    """Kill COUNT writers and report."""
    path, count, chance = Path(sys.argv[1]), int(sys.argv[2]), random.Random(int(sys.argv[3]))
    confirmed: list[str] = []
    within = 0
    for number in range(count):
        told = kill_one(path, number, chance.uniform(0.0, 0.005)).decode()
        confirmed += hashes_in(told)
        within += len(told) % (HASH_BYTES + 1) == 1  # it told of a beginning, not of an end
    print(json.dumps({"confirmed": confirmed, "within": within}))


def hashes_in(told: str) -> list[str]:
    """The confirmed hashes; each stands after the mark of its beginning."""
    step = HASH_BYTES + 1
    return [told[i + 1 : i + step] for i in range(0, len(told) - HASH_BYTES, step)]


if __name__ == "__main__":
    main()
