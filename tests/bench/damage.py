"""Inputs nobody tuned to, by kind: what ships, damaged in a seeded way, and a command line for it.

`make(kind, seed, folder)` writes the files of one input into an empty folder and gives the
arguments of ``recommend``; the same seed makes the same input.
"""

from __future__ import annotations

import contextlib
import copy
import io
import json
import os
import random
import shutil
import struct
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import typer
import yaml

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.cli import COMMANDS, app
from recommend.errors import RecommendError
from recommend.extras import shipped_folder
from recommend.records.keeping import entry_of
from recommend.records.store import Store, ToRecord
from recommend.records.transfer import export
from recommend.visit import read_visit
from recommend.way import outcome_of
from tests.trail.entries import entry

DEMO, RULES = (Path(shipped_folder(name)) for name in ("catalogue_demo", "rules"))
Args = list[str]
Maker = Callable[[random.Random, Path], Args]

# In place of any value: nothing, nonsense, the largest, the other type, what terminals obey.
ODD: tuple[Any, ...] = (
    None, "", "x" * 3000, -1, 0, 1, 0.5, -0.0, 1e308, -1e308, 10**40, float("inf"), float("nan"),
    True, False, [], {}, [[]], [{}], {"a": {"b": [1]}}, "7,3", [7, "3, 8", 7], "2026-02-30", "0x10",
    "010", "1e3", "\x1b[31mred", "\u202eback", "../../etc/passwd", "/dev/zero", "yes", "~",
    "a: b", "left", "\U0001f9b6", "e\u0301", "\ufeff", 12, -45.0, 395, 3.14159265358979, "NaN",
)  # fmt: skip
_NOT_TEXT = (
    b"\x00",
    b"\xff\xfe",
    b"\xc3",
    b"\x1b]0;x\x07",
    b"\xed\xa0\x80",
    b"\r",
    b"\t",
    b"\xef\xbb\xbf",
)


@cache
def files_of(folder: Path, pattern: str) -> tuple[Path, ...]:
    """The shipped files that fit `pattern`, in order."""
    return tuple(sorted(folder.glob(pattern)))


def bitten(chance: random.Random, raw: bytes) -> bytes:
    """`raw` with one to four wounds: bytes flipped, cut, doubled, put in, or the end lost."""
    out = bytearray(raw)
    for _ in range(chance.randint(1, 4)):
        if not out:
            break
        at, size = chance.randrange(len(out)), chance.choice((1, 1, 2, 8, 64, 1024))
        wound = chance.randrange(6)
        if wound == 0:
            out[at] ^= 1 << chance.randrange(8)
        elif wound == 1:
            del out[at : at + size]
        elif wound == 2:
            out[at:at] = out[at : at + size] * chance.choice((1, 2, 50))
        elif wound == 3:
            out[at:at] = chance.choice(_NOT_TEXT)
        elif wound == 4:
            out[at : at + size] = bytes(chance.randrange(256) for _ in range(min(size, 64)))
        elif chance.random() < 0.3:
            del out[at:]
    return bytes(out)


def twisted(chance: random.Random, data: Any) -> Any:
    """Plain data with one to three parts replaced, renamed, doubled or left out."""
    data = copy.deepcopy(data)
    for _ in range(chance.randint(1, 3)):
        nodes = [node for node in _walk(data) if node]
        if not nodes:
            return chance.choice(ODD)
        node = chance.choice(nodes)
        key = chance.choice(list(node) if isinstance(node, dict) else range(len(node)))
        act = chance.randrange(5)
        if act == 0:
            del node[key]
        elif act == 1 and isinstance(node, dict):
            node[_misspelt(chance, str(key))] = node.pop(key)
        elif act == 2 and isinstance(node, list):
            node[key:key] = [node[key]] * chance.choice((1, 3, 100))
        elif act == 3 and isinstance(node[key], (int, float)) and not isinstance(node[key], bool):
            node[key] = node[key] * chance.choice((-1, 10, 0.1, 1000, 1.5, -7))
        else:
            node[key] = copy.deepcopy(chance.choice(ODD))
    return data


def _walk(data: Any) -> list[Any]:
    inside = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    here = [data] if isinstance(data, (dict, list)) else []
    return here + [found for one in inside for found in _walk(one)]


def _misspelt(chance: random.Random, word: str) -> str:
    at = chance.randrange(len(word) + 1)
    return chance.choice((word[:at] + word[at + 1 :], word[:at] + "x" + word[at:], word.upper()))


def damaged_text(chance: random.Random, file: Path) -> bytes:
    """A shipped YAML file, bitten as bytes or twisted as data."""
    if chance.random() < 0.4:
        return bitten(chance, file.read_bytes())
    data = twisted(chance, _loaded(file))
    if chance.random() < 0.2:
        return json.dumps(data, ensure_ascii=chance.random() < 0.5, default=str).encode(
            "utf-8", "replace"
        )
    try:
        text: str = yaml.dump(data, Dumper=yaml.CSafeDumper, allow_unicode=True, sort_keys=False)
    except UnicodeEncodeError:  # of half a character, which the slower one writes as it is
        text = yaml.safe_dump(data, allow_unicode=True, sort_keys=False)
    return text.encode("utf-8", "replace")


@cache
def _loaded(file: Path) -> Any:
    return yaml.load(file.read_bytes(), Loader=yaml.CSafeLoader)


def _visit(chance: random.Random, folder: Path) -> Args:
    file = chance.choice(files_of(DEMO, "visits/*.yaml") + files_of(DEMO, "trials/*.yaml"))
    (folder / "v.yaml").write_bytes(damaged_text(chance, file))
    return [*chance.choice(_ON_A_VISIT), str(folder / "v.yaml")]


_ON_A_VISIT = (
    ["shortlist"], ["visit", "edit"], ["trial", "plan"], ["visit", "edit"], ["visit", "edit"],
    ["trial"], ["sheet"], ["visit", "decide", "--answer", "decision=sold"], ["shortlist", "--json"],
)  # fmt: skip


def _copied_with(chance: random.Random, source: Path, target: Path, pattern: str) -> None:
    shutil.copytree(source, target, ignore=shutil.ignore_patterns("examples", "released"))
    file = chance.choice(files_of(target, pattern))
    file.write_bytes(damaged_text(chance, file))


# Names that a file system bears and a terminal, a page or a format of text does not.
_NAMES = (
    b"\xff\xfe", b"a\nb", b"\x1b[2J\x1b]0;t\x07", "\u202eback".encode(), b"x" * 200, b"x" * 240,
    b" ", b"-", b"--to", b"~", b"[red]x", b"{0}%s", b"\r\x08", b"\xed\xa0\x80", b"\xf0\x9f\xa6",
    "e\u0301".encode(), b"'\"<b>&", b"a\tb", b"\x7f", "\u2028".encode(), b"?a=b#c", b"C:\\x",
)  # fmt: skip
# By what stands under such a name: its ending, what ships of it (else it is written anew), and the
# command lines that have @ for it and ! for a visit.
_UNDER_NAMES: tuple[tuple[bytes, str, tuple[str, ...]], ...] = (
    (b".yaml", "visits/pronated.yaml", ("shortlist @", "shortlist @ --json", "sheet @ --keep",
     "trial @ --shoe own left.contact=4.5", "visit edit @ foot-length.left 251", "trial plan @")),
    (b"", "products", ("compare ! own-shoes --catalogue @", "shortlist ! --catalogue @ --keep")),
    (b".csv", "captures/walk-left.csv", ("measure @", "measure @ --into !")),
    (b".csv", "supplier/list.csv", ("import @ --mapping ? --into o.yaml",)),
    (b".html", "", ("sheet ! --to @", "visit form --to @", "explain last --html @")),
    (b".sqlite", "", ("shortlist ! --keep --store @", "store list --store @")),
    (b".jsonl", "", ("store export --to @", "store import @")),
    (b"", "", ("visit list --visits @", "RECOMMEND_SETTINGS=@ setup --set keep=yes",
     "RECOMMEND_VISITS=@ visit new A-1", "demo --into @", "effects @", "check @")),
)  # fmt: skip


def _name(chance: random.Random, folder: Path) -> Args:
    """Something as it should be, or something to be written, under a name of odd bytes."""
    ending, shipped, lines = chance.choice(_UNDER_NAMES)
    odd = Path(os.fsdecode(os.fsencode(str(folder)) + b"/" + chance.choice(_NAMES) + ending))
    if (DEMO / shipped).is_dir() and shipped:
        shutil.copytree(DEMO / shipped, odd)
    elif shipped:
        odd.write_bytes((DEMO / shipped).read_bytes())
    visit = folder / "v.yaml"
    visit.write_bytes((DEMO / "visits" / "pronated.yaml").read_bytes())
    said = {"@": str(odd), "!": str(visit), "?": str(DEMO / "supplier" / "mapping.yaml")}
    return [said.get(word, word.replace("@", str(odd))) for word in chance.choice(lines).split()]


def _rules(chance: random.Random, folder: Path) -> Args:
    _copied_with(chance, RULES, folder / "rules", "**/*.yaml")
    return ["rule", "list", "--rules", str(folder / "rules")]


def _population(chance: random.Random, folder: Path) -> Args:
    shutil.copytree(RULES, folder / "rules", ignore=shutil.ignore_patterns("examples", "released"))
    file = folder / "rules" / "population.yaml"
    file.write_bytes(damaged_text(chance, file))
    return ["coverage", "--customers", "20", "--rules", str(folder / "rules")]


def _catalogue(chance: random.Random, folder: Path) -> Args:
    _copied_with(chance, DEMO / "products", folder / "shop", "*.yaml")
    visit = str(DEMO / "visits" / "pronated.yaml")
    return ["compare", visit, "own-shoes", "--catalogue", str(folder / "shop")]


def _list(chance: random.Random, folder: Path) -> Args:
    (folder / "l.csv").write_bytes(bitten(chance, (DEMO / "supplier" / "list.csv").read_bytes()))
    mapping = str(DEMO / "supplier" / "mapping.yaml")
    return ["import", str(folder / "l.csv"), "--mapping", mapping, "--into", str(folder / "o.yaml")]


def _mapping(chance: random.Random, folder: Path) -> Args:
    (folder / "m.yaml").write_bytes(damaged_text(chance, DEMO / "supplier" / "mapping.yaml"))
    csv = str(DEMO / "supplier" / "list.csv")
    return ["import", csv, "--mapping", str(folder / "m.yaml"), "--into", str(folder / "o.yaml")]


def _stock(chance: random.Random, folder: Path) -> Args:
    sizes, counts = (250, 265.5, -1, "9e99", "27,5", ""), (0, 3, -2, 1e9, "x")
    text = "product,size,count\n" + "".join(
        f"{word},{chance.choice(sizes)},{chance.choice(counts)}\n"
        for word in ("brisk", "tide", "x" * 50, "")
    )
    (folder / "stock.csv").write_bytes(bitten(chance, text.encode()))
    visit = str(DEMO / "visits" / "pronated.yaml")
    return [f"RECOMMEND_STOCK={folder / 'stock.csv'}", "compare", visit, "own-shoes"]


def _settings(chance: random.Random, folder: Path) -> Args:
    names = ("catalogue", "keep", "language", "shop", "fitter", "sizes", "readings", "stok")
    lines = [
        f"{chance.choice(names)} = {json.dumps(chance.choice([v for v in ODD if v is not None]))}"
        for _ in range(chance.randint(1, 4))
    ]
    raw = "\n".join([*lines, "[errors.arch-index]", "single = 0.02", ""]).encode("utf-8", "replace")
    (folder / "s.toml").write_bytes(bitten(chance, raw) if chance.random() < 0.7 else raw)
    return [f"RECOMMEND_SETTINGS={folder / 's.toml'}", "setup", "show"]


def _draft(chance: random.Random, folder: Path) -> Args:
    tree = {"reference": "A-1", "age-band": "adult", "feet": {"left": {"foot-length-mm": 255}}}
    draft = {"tree": tree, "at": "purpose", "doubted": {"a": 1}, "said": ["x"], "halted": False}
    raw = json.dumps(twisted(chance, draft)).encode("utf-8", "replace")
    (folder / "drafts").mkdir()
    raw = bitten(chance, raw) if chance.random() < 0.5 else raw
    (folder / "drafts" / "A-1.json").write_bytes(raw)
    return ["visit", *chance.choice((["list"], ["resume", "A-1"])), "--visits", str(folder)]


@cache
def _store_bytes() -> tuple[bytes, bytes]:
    """A store of three invented records, and its export."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "r.sqlite"
        with Store(path, write=True) as store:
            for number in range(3):
                store.append(entry(f"A-{number}", number + 0.5))
            lines = b"".join(line + b"\n" for line in export(store))
        return path.read_bytes(), lines


_ON_A_STORE = (
    ["store", "list"], ["store", "verify"], ["explain", "last"], ["replay", "--all"],
    ["store", "export"], ["store", "forget", "A-1", "--yes"],
)  # fmt: skip


def _store(chance: random.Random, folder: Path) -> Args:
    (folder / "r.sqlite").write_bytes(bitten(chance, _store_bytes()[0]))
    return [*chance.choice(_ON_A_STORE), "--store", str(folder / "r.sqlite")]


@cache
def _kept() -> ToRecord:
    """The record of a demo visit."""
    book = open_rulebook()
    visit = read_visit(DEMO / "visits" / "pronated.yaml")
    return entry_of(outcome_of(visit, book, open_catalogue(book)))


def _forged(chance: random.Random, folder: Path) -> Args:
    """A store whose hashes are all right, and whose record says something else."""
    kept = _kept()
    name = chance.choice([*kept.documents, "facts of the head"])
    documents, facts = dict(kept.documents), dict(kept.facts)
    if name in documents:
        documents[name] = _sayable(twisted(chance, documents[name]))
    else:
        facts = _sayable(twisted(chance, facts))
    with Store(folder / "r.sqlite", write=True) as store, contextlib.suppress(RecommendError):
        store.append(ToRecord(documents, facts if isinstance(facts, dict) else {}))
    words = (["store", "list"], ["explain", "1"], ["replay", "--all"], ["store", "export"])
    return [*chance.choice(words), "--store", str(folder / "r.sqlite")]


def _sayable(data: Any) -> Any:
    """`data` without what JSON cannot say."""
    text = json.dumps(data, default=str).replace("NaN", "7").replace("Infinity", "8")
    return json.loads(text)


def _export(chance: random.Random, folder: Path) -> Args:
    lines = _store_bytes()[1].splitlines()
    if chance.random() < 0.5:
        at = chance.randrange(len(lines))
        lines[at] = json.dumps(twisted(chance, json.loads(lines[at]))).encode()
        if chance.random() < 0.3:
            chance.shuffle(lines)
        raw = b"\n".join(lines)
    else:
        raw = bitten(chance, _store_bytes()[1])
    (folder / "e.jsonl").write_bytes(raw)
    return ["store", "import", str(folder / "e.jsonl"), "--store", str(folder / "n.sqlite")]


def _npz(chance: random.Random, folder: Path) -> Args:
    good = _small_npz()
    if chance.random() < 0.5:
        raw = bitten(chance, good)
    else:  # every part as it should be, but one, which says something else
        with np.load(io.BytesIO(good)) as arrays:
            parts = {name: _npy(arrays[name]) for name in arrays.files}
        name = chance.choice(list(parts))
        shape = chance.choice(("(9999999, 999, 999)", "(-1,)", "()", "(3, 3)", "(0, 4, 4)"))
        kind = chance.choice(("'<f4'", "'|O'", "'<U9'", "'<c16'", "'<M8[s]'", "[('a', '<f4')]"))
        parts[name] = (
            _forged_npy(kind, shape) if chance.random() < 0.6 else bitten(chance, parts[name])
        )
        raw = _zipped(parts)
    (folder / "c.npz").write_bytes(raw)
    return ["measure", str(folder / "c.npz")]


@cache
def _small_npz() -> bytes:
    with np.load(DEMO / "captures" / "walk-right.npz") as arrays:
        parts = {name: arrays[name] for name in arrays.files}
    parts["pressure"] = parts["pressure"][:120]
    out = io.BytesIO()
    np.savez_compressed(out, **parts)
    return out.getvalue()


def _npy(array: Any) -> bytes:
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


def _forged_npy(kind: str, shape: str) -> bytes:
    head = f"{{'descr': {kind}, 'fortran_order': False, 'shape': {shape}, }}".ljust(117) + "\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head.encode() + b"\0" * 64


def _zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, raw in parts.items():
            archive.writestr(f"{name}.npy", raw)
    return out.getvalue()


def _csv(chance: random.Random, folder: Path) -> Args:
    name = chance.choice(("walk-left.csv", "video-left.csv", "video-right.csv"))
    raw = b"\n".join((DEMO / "captures" / name).read_bytes().splitlines()[:300]) + b"\n"
    (folder / "c.csv").write_bytes(bitten(chance, raw))
    return ["measure", str(folder / "c.csv")]


@cache
def _c3d_bytes() -> bytes:
    import tempfile

    import ezc3d

    with tempfile.TemporaryDirectory() as folder:
        made = ezc3d.c3d()
        names = ("knee", "ankle", "upper", "lower")
        made["parameters"]["POINT"]["LABELS"]["value"] = list(names)
        made["parameters"]["POINT"]["RATE"]["value"] = [100.0]
        points = np.random.default_rng(1).normal(500, 20, (4, len(names), 60))
        points[3] = 1
        made["data"]["points"] = points
        made.write(f"{folder}/c.c3d")
        return Path(f"{folder}/c.c3d").read_bytes()


def _c3d(chance: random.Random, folder: Path) -> Args:
    (folder / "c.c3d").write_bytes(bitten(chance, _c3d_bytes()))
    marks = ("upper-leg=knee", "lower-leg=ankle", "upper-heel=upper", "lower-heel=lower")
    named = [part for mark in marks for part in ("--mark", mark)]
    return ["measure", str(folder / "c.c3d"), "--side", "left", "--facing", "+x", *named]


_WORDS = (
    "A-1042", "last", "", "-", "--", "x" * 5000, "../..", "\x1b[2J", "-3", "0", "nan", "1e400",
    "\udcff.yaml",     "left.peak=5,2", "left.peak=99", "a=b", "/dev/zero", "/dev/stdin",
    "/proc/self/mem", "/", ".", "no/such/file.yaml",
    str(DEMO / "visits" / "pronated.yaml"), str(DEMO / "products"), str(DEMO / "trials"), "é" * 400,
)  # fmt: skip
# What asks for hours, or compiles, when told to.
_NOT_RUN = {("setup", "engine"), ("check", "--mutate"), ("check", "--prove")}


@cache
def _tree() -> dict[tuple[str, ...], list[Any]]:
    """Every command by its words, with its parameters."""
    found: dict[tuple[str, ...], list[Any]] = {}

    def walk(words: tuple[str, ...], command: Any) -> None:
        found[words] = list(command.params)
        for name, inner in getattr(command, "commands", {}).items():
            if (*words, name) not in _NOT_RUN:
                walk((*words, name), inner)

    group: Any = typer.main.get_command(app)
    for name in COMMANDS:
        walk((name,), group.get_command(None, name))
    return found


def _command_line(chance: random.Random, folder: Path) -> Args:
    words = chance.choice([*_tree()])
    named = [opt for param in _tree()[words] for opt in param.opts if opt.startswith("--")]
    line = [*words]
    for _ in range(chance.randint(0, 4)):
        option = chance.choice(named) if named and chance.random() < 0.5 else None
        if option and (words[0], option) in _NOT_RUN:
            continue
        line += [option] if option else []
        line += (
            [chance.choice((*_WORDS, str(folder / "new"), str(folder)))]
            if chance.random() < 0.8
            else []
        )
    return line


KINDS: dict[str, Maker] = {
    "visit": _visit, "rules": _rules, "population": _population, "catalogue": _catalogue,
    "list": _list, "mapping": _mapping, "stock": _stock, "settings": _settings, "draft": _draft,
    "store": _store, "forged": _forged, "export": _export, "npz": _npz, "csv": _csv, "c3d": _c3d,
    "name": _name, "command-line": _command_line,
}  # fmt: skip


def make(kind: str, seed: int, folder: Path) -> Args:
    """The input of a kind and seed: its files in `folder`, and the arguments.

    An argument like ``NAME=value`` before the command is put into the environment.
    """
    return KINDS[kind](random.Random(f"{kind} {seed}"), folder)
