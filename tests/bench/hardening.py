"""Damaged inputs, kills at random moments and edits at once: what breaks, and what is lost.

    nice python -m tests.bench.hardening --inputs 100000 --kills 1000 --edits 1000

Inputs (`damage`) go one by one through a warm worker with a limit of memory. A failure is an exit
code that the manual does not list, an error that nobody raised on purpose, a process that is lost
or hangs, more than 10 s of computing, more than 1 GiB, or what controls a terminal in the output.
Kills and edits fork the warm program. Each failure is told with its kind and seed, so that
``--only KIND --seed SEED --inputs 1`` shows it again.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import hashlib
import io
import itertools
import json
import os
import random
import resource
import select
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import typer
import yaml

from recommend.catalogue import shop
from recommend.cli import main as command
from recommend.door import visible
from recommend.errors import Exit
from recommend.records import keeping
from recommend.records.store import Store
from recommend.records.verify import verify
from tests.bench.damage import DEMO, KINDS, make

# What is the same for every input and made once: the shipped rules and products, read from their
# folders or from a record that holds the same texts, and the tables of options.
MADE_ONCE: tuple[tuple[Any, str], ...] = (
    (shop, "prepared_rulebook"), (shop, "prepared_catalogue"), (keeping, "rulebook_from"),
    (typer.main, "get_command"),
)  # fmt: skip
SECONDS, BYTES = 10.0, 1 << 30  # the most that one input may take
SELDOM = 4  # rounds of kills in one of which `explain` is run: it computes as long as all others
PATIENCE = 120.0  # wall time until a worker counts as hanging, on a machine that is busy
AT_ONCE = 4  # programs that edit one file together
CODES = {int(code) for code in Exit}
# How many of 200 inputs are of each kind; dear ones (a rulebook, a population) are fewer.
SHARES = {
    "visit": 24, "rules": 1, "population": 1, "catalogue": 2, "list": 26, "mapping": 20, "stock": 4,
    "settings": 32, "draft": 24, "store": 28, "forged": 2, "export": 14, "npz": 10, "csv": 6,
    "c3d": 1, "name": 4, "command-line": 1,
}  # fmt: skip


@dataclass
class Tally:
    """What was run and what failed, by kind."""

    run: Counter[str] = field(default_factory=Counter)
    codes: Counter[int] = field(default_factory=Counter)
    failed: list[str] = field(default_factory=list)
    longest: tuple[float, str] = (0.0, "")


def read_once() -> None:
    """Let what is `MADE_ONCE` be made once; what is damaged is read anew."""
    for module, name in MADE_ONCE:
        real: Any = getattr(module, name)
        known: dict[Any, Any] = {}

        def once(given: Any, *more: Any, real: Any = real, known: Any = known) -> Any:
            key = _named(given)
            if key is None:
                return real(given, *more)
            if key not in known:
                known[key] = real(given, *more)
            return known[key]

        setattr(module, name, once)


def _named(given: Any) -> Any:
    """What stands for something that stays as it is; None for a folder of damaged files."""
    if isinstance(given, dict):  # of a record: other texts are another rulebook
        return hashlib.sha256(repr(given).encode("utf-8", "replace")).digest()
    if isinstance(given, (str, Path)):
        return str(given) if str(given).startswith(str(DEMO.parent)) else None
    return given


@contextlib.contextmanager
def _places(folder: Path) -> Iterator[None]:
    """Everything that the program writes by itself goes into `folder`."""
    new = {
        "HOME": str(folder), "XDG_CACHE_HOME": str(folder / "cache"),
        "XDG_DATA_HOME": str(folder / "data"), "XDG_CONFIG_HOME": str(folder / "config"),
        "RECOMMEND_VISITS": str(folder / "visits"), "RECOMMEND_STORE": str(folder / "r.sqlite"),
        "COLUMNS": "80",
    }  # fmt: skip
    old, here = dict(os.environ), Path.cwd()
    for name in [name for name in os.environ if name.startswith(("RECOMMEND_", "XDG_"))]:
        del os.environ[name]
    os.environ.update(new)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(here)
        os.environ.clear()
        os.environ.update(old)


def run_here(args: list[str]) -> tuple[int, str, str]:
    """Run a command line in this process: exit code, output, and the error nobody raised."""
    while args and "=" in args[0] and args[0].startswith("RECOMMEND_"):
        name, _, value = args[0].partition("=")
        os.environ[name], args = value, args[1:]
    out, code, crash = io.BytesIO(), 0, ""
    stream = io.TextIOWrapper(out, "utf-8", "backslashreplace", write_through=True)
    kept = sys.stdin, sys.stdout, sys.stderr, sys.argv
    sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - closed below
    sys.stdout = sys.stderr = stream
    try:
        command(args or ["help"])
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else int(bool(stop.code))
    except BaseException:
        crash = traceback.format_exc(limit=-4)
    finally:
        sys.stdin.close()
        sys.stdin, sys.stdout, sys.stderr, sys.argv = kept
    return code, out.getvalue().decode("utf-8", "replace"), crash


def fault_of(kind: str, seed: int) -> tuple[str, int, float]:
    """Run one input: what failed ('' when nothing did), the exit code and the seconds computed."""
    with tempfile.TemporaryDirectory(prefix="input-") as name, _places(Path(name)):
        folder = Path(name) / "in"
        folder.mkdir()
        args = make(kind, seed, folder)
        before = _computed()
        code, said, crash = run_here(list(args))
        took = _computed() - before
        left = [str(p) for p in Path(name).rglob("*") if p.suffix in (".part", ".tmp")]
    shown = " ".join(args)[:160]
    if crash:
        return f"{kind} {seed}: {shown}\n{crash}", code, took
    wrong = (
        (code not in CODES, f"exit code {code}"),
        (code and not said.strip(), f"exit code {code} without a word"),
        (took > SECONDS, f"{took:.1f} s"),
        ("Traceback" in said, "a traceback is shown"),
        (visible(said) != said, "what controls a terminal is let out"),
        (bool(left), f"left behind: {left}"),
    )
    found = "; ".join(word for holds, word in wrong if holds)
    return (f"{kind} {seed}: {shown}\n{found}\n{said[-400:]}" if found else ""), code, took


def _computed() -> float:
    own, below = (
        resource.getrusage(resource.RUSAGE_SELF),
        resource.getrusage(resource.RUSAGE_CHILDREN),
    )
    return own.ru_utime + own.ru_stime + below.ru_utime + below.ru_stime


def _worker(asked: int, told: int) -> None:
    """Take kinds and seeds from one pipe, and tell the outcome through the other."""
    size = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (size + BYTES, size + BYTES))
    with os.fdopen(asked) as questions, os.fdopen(told, "w") as answers:
        for line in questions:
            kind, seed = json.loads(line)
            answers.write(json.dumps(fault_of(kind, seed)) + "\n")
            answers.flush()


class Worker:
    """A forked copy of this warm program; started anew when it is lost."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        ours, theirs = os.pipe(), os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(ours[1])
            os.close(theirs[0])
            try:
                _worker(ours[0], theirs[1])
            finally:
                os._exit(1)
        os.close(ours[0])
        os.close(theirs[1])
        self._ask, self._answer = os.fdopen(ours[1], "w"), os.fdopen(theirs[0])

    def fault(self, kind: str, seed: int) -> tuple[str, int, float]:
        """As `fault_of`; a lost or hanging worker is a fault of this input."""
        self._ask.write(json.dumps([kind, seed]) + "\n")
        self._ask.flush()
        ready = select.select([self._answer], [], [], PATIENCE)[0]
        line = self._answer.readline() if ready else ""
        if line:
            found: tuple[str, int, float] = tuple(json.loads(line))
            return found
        os.kill(self.pid, signal.SIGKILL)
        _, status = os.waitpid(self.pid, 0)
        self._ask.close()
        self._answer.close()
        self._start()
        return (
            f"{kind} {seed}: {'the process is lost' if ready else 'it hangs'} ({status})",
            -1,
            0.0,
        )

    def close(self) -> None:
        """End the worker."""
        self._ask.close()
        self._answer.close()
        os.waitpid(self.pid, 0)


def inputs(count: int, first: int, only: str, tally: Tally) -> None:
    """Run `count` inputs, of the kinds in their shares or of `only` one."""
    if only:
        kinds = [only]
    else:
        kinds = [kind for kind, share in SHARES.items() for _ in range(share)]
        random.Random(0).shuffle(kinds)
    worker = Worker()
    for seed in range(first, first + count):
        kind = kinds[seed % len(kinds)]
        fault, code, took = worker.fault(kind, seed)
        tally.run[kind] += 1
        tally.codes[code] += 1
        tally.longest = max(tally.longest, (took, f"{kind} {seed}"))
        if fault:
            tally.failed.append(fault)
            print(f"FAILED {fault}", flush=True)
        _progress(seed - first + 1, "inputs", tally)
    worker.close()


def _progress(done: int, what: str, tally: Tally) -> None:
    if done % 100 == 0:
        print(f"{done} {what}, {len(tally.failed)} failed", flush=True)


# What each command writes, and a check that a file which stands there is whole.
def _writers(folder: Path) -> list[tuple[str, list[str]]]:
    visit, store = str(folder / "v.yaml"), str(folder / "r.sqlite")
    mapping = str(DEMO / "supplier" / "mapping.yaml")
    return [
        ("keep", ["shortlist", visit, "--keep"]),
        ("trial", ["trial", visit, "--shoe", "own", "left.contact=4.5,4.6", "--keep"]),
        ("edit", ["visit", "edit", visit, "foot-length.left", "251"]),
        ("decide", ["visit", "decide", visit, "--answer", "decision=nothing",
                    "--answer", "fitter=F7"]),
        ("sheet", ["sheet", visit, "--to", str(folder / "page.html"), "--keep"]),
        ("measure", ["measure", str(DEMO / "captures" / "walk-left.csv"), "--into", visit]),
        ("import", ["import", str(DEMO / "supplier" / "list.csv"), "--mapping", mapping,
                    "--into", str(folder / "list.yaml"), "--replace"]),
        ("setup", ["setup", "--set", "language=de", "--set", "keep=yes"]),
        ("export", ["store", "export", "--to", str(folder / "e.jsonl"), "--force"]),
        ("store-import", ["store", "import", str(folder / "first.jsonl"), "--store", store]),
        ("forget", ["store", "forget", "A-1", "--yes"]),
        ("explain", ["explain", "1", "--html", str(folder / "why.html")]),
        ("form", ["visit", "form", "--to", str(folder / "form.html")]),
    ]  # fmt: skip


def warm_up(folder: Path) -> None:
    """Run every writing command once here, so that what they import is there when we fork."""
    (folder / "v.yaml").write_bytes((DEMO / "visits" / "pronated.yaml").read_bytes())
    run_here(["shortlist", str(folder / "v.yaml"), "--keep"])
    run_here(["store", "export", "--to", str(folder / "first.jsonl")])
    for _, args in _writers(folder):
        run_here(args)


def _quiet(args: list[str]) -> int:
    """Run `args` in a forked copy of this program, its output nowhere; its process id."""
    pid = os.fork()
    if pid == 0:
        with contextlib.suppress(BaseException):
            code, said, crash = run_here(args)
            Path(f"said-{os.getpid()}.txt").write_text(f"{args} {code} {said} {crash}")
            os._exit(code if not crash else 99)
        os._exit(98)
    return pid


def _waited(pid: int) -> int:
    _, status = os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status)


def _prepared(folder: Path) -> None:
    """A visit that is whole, a store with its first record, and its export."""
    (folder / "v.yaml").write_bytes((DEMO / "visits" / "pronated.yaml").read_bytes())
    for args in (
        ["shortlist", str(folder / "v.yaml"), "--keep"],
        ["store", "export", "--to", str(folder / "first.jsonl")],
    ):
        if (code := _waited(_quiet(args))) != 0:
            raise SystemExit(f"could not prepare: {args} ended with {code}")
    for said in folder.glob("said-*"):
        said.unlink()


def _whole(folder: Path) -> str:
    """What is wrong with the files that stand in `folder`; '' when they are whole."""
    with contextlib.suppress(StopIteration):
        ends = {".html": b"</html>", ".yaml": b"\n", ".jsonl": b"}\n", ".toml": b"\n"}
        broken = (
            f"{file.name} is cut short"
            for file in folder.iterdir()
            if file.suffix in ends
            and not file.read_bytes().endswith((ends[file.suffix], ends[file.suffix] + b"\n"))
        )
        return next(broken)
    visit = yaml.safe_load((folder / "v.yaml").read_text("utf-8"))
    if not isinstance(visit, dict) or "reference" not in visit:
        return "the visit is not whole"
    with Store(folder / "r.sqlite") as store:
        verdict = verify(store)
        return verdict.differs or ("the first record is lost" if len(store) < 1 else "")


def _turns(folder: Path, of: Collection[str]) -> Iterator[tuple[int, str, list[str]]]:
    """Every writing command (those called so, or all), round after round; the dear one seldom."""
    for turn in itertools.count():
        for word, args in _writers(folder):
            if (not of or word in of) and (word != "explain" or turn % SELDOM == 0):
                yield turn, word, args


def kills(count: int, seed: int, tally: Tally, of: Collection[str] = ()) -> None:
    """Kill a writing command (those called so, or any) at a random moment, then run it whole."""
    chance = random.Random(seed)
    longest: dict[str, float] = {}
    with tempfile.TemporaryDirectory(prefix="kills-") as name, _places(Path(name)):
        folder = Path(name)
        _prepared(folder)
        for number, (turn, word, args) in enumerate(itertools.islice(_turns(folder, of), count)):
            started = time.monotonic()
            pid = _quiet(args)
            if word in longest and turn % 6:
                time.sleep(chance.uniform(0.0, longest[word]))
                os.kill(pid, signal.SIGKILL)
                tally.run["kill" if _waited(pid) < 0 else "kill, too late"] += 1
                wrong = _whole(folder)
                pid = _quiet(args) if chance.random() < 0.5 else 0
                code = _waited(pid) if pid else 0
            else:
                code, wrong = _waited(pid), ""
                longest[word] = 0.8 * (time.monotonic() - started)
            tally.codes[code] += 1
            if pid and (code not in CODES or (code and word not in ("forget", "decide"))):
                wrong = wrong or f"ends with {code}: " + Path(f"said-{pid}.txt").read_text()[-600:]
            if wrong := wrong or _whole(folder):
                tally.failed.append(f"kill {word} {number}: {wrong}")
                print(f"FAILED {tally.failed[-1]}", flush=True)
            for said in folder.glob("said-*"):
                said.unlink()
            _progress(number + 1, "kills", tally)
        for _, args in _writers(folder):  # each once more, and nothing is left of the killed
            _waited(_quiet(args))
        left = [
            str(p.relative_to(folder)) for p in folder.rglob("*") if p.suffix in (".part", ".tmp")
        ]
        if left:
            tally.failed.append(f"left behind after the last run: {left}")
            print(f"FAILED {tally.failed[-1]}", flush=True)


def edits(count: int, seed: int, tally: Tally) -> None:
    """Several programs add strides to one visit at once, and keep records; all must be there."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="edits-") as name, _places(Path(name)):
        folder = Path(name)
        _prepared(folder)
        for start in range(0, count, AT_ONCE):
            (folder / "v.yaml").write_bytes((DEMO / "visits" / "pronated.yaml").read_bytes())
            said = [round(chance.uniform(-9, 9), 1) for _ in range(AT_ONCE)]
            pids = [
                _quiet(["trial", str(folder / "v.yaml"), "--shoe", "own", f"left.contact={one}"])
                for one in said
            ]
            done = [one for pid, one in zip(pids, said, strict=True) if _waited(pid) == 0]
            tally.run["edit"] += len(said)
            tally.codes[0] += len(done)
            trials = yaml.safe_load((folder / "v.yaml").read_text("utf-8")).get("trials", [])
            there = trials[0]["feet"]["left"]["rearfoot"][0]["contact"] if trials else []
            if sorted(there) != sorted(done):
                tally.failed.append(f"edit {start}: confirmed {done}, in the file {there}")
                print(f"FAILED {tally.failed[-1]}", flush=True)
            for one in folder.glob("said-*"):
                one.unlink()
            _progress(start + AT_ONCE, "edits", tally)


def main() -> None:
    """Run what is asked, and print what was run and what failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    for name, usual in (("inputs", 100_000), ("kills", 1000), ("edits", 1000), ("seed", 0)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    parser.add_argument("--only", choices=list(KINDS), default="")
    asked = parser.parse_args()
    read_once()
    with tempfile.TemporaryDirectory() as warm, _places(Path(warm)):
        warm_up(Path(warm))
    tally, started = Tally(), time.monotonic()
    parts: tuple[Callable[[], None], ...] = (
        functools.partial(inputs, asked.inputs, asked.seed, asked.only, tally),
        functools.partial(kills, asked.kills, asked.seed, tally),
        functools.partial(edits, asked.edits, asked.seed, tally),
    )
    for part, size in zip(parts, (asked.inputs, asked.kills, asked.edits), strict=True):
        if size:
            part()
    print(f"\nrun: {dict(tally.run)}\nexit codes: {dict(sorted(tally.codes.items()))}")
    print(f"most computed: {tally.longest[0]:.1f} s ({tally.longest[1]})")
    print(f"{len(tally.failed)} failed, {time.monotonic() - started:.0f} s")
    sys.exit(bool(tally.failed))


if __name__ == "__main__":
    main()
