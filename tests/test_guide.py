"""The contributor guide says what is: rooms, names, paths, and who imports whom."""

from __future__ import annotations

import ast
import graphlib
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

from tests.command_lines import ROOT

PACKAGE = ROOT / "recommend"
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
ROW = re.compile(r"^\| `recommend/([a-z]+)(\.py|/)` \| (.*) \|$", re.MULTILINE)
# A command, the room that works it out and the screen that shows it bear one name.
KEPT_NAMES = {
    "coverage": "the command and its screen",
    "effects": "the command, what `trial` learns, and its screen",
    "loading": "reads the folder of its room, a catalogue or a rulebook, by the same steps",
    "measured": "`show` draws what `measure` says a capture yielded",
    "models": "what stands in the files of its room: catalogue, rulebook, visit",
    "explain": "the command and its screen",
    "replay": "the command and the deriving again, in `records`",
    "rulebook": "the commands and their screens",
    "shortlist": "the command, what `match` makes, and its screen",
    "store": "the command and the store, in `records`",
    "trial": "the command and its screen",
}
# Modules with one importer in their room stay apart where both together were too long, or for this.
KEPT_APART = {"recommend.infer.one": "an optional extra, loaded only where it concludes"}
LONGEST = 350  # lines of a file that was put together of two
NOT_ROOMS = {"__init__", "__main__", "__pycache__", "py"}  # the package, its start, `py.typed`


def _rooms() -> list[str]:
    """Rooms in the order of the guide's table."""
    return [row[1] for row in ROW.finditer(GUIDE)]


def _imports(*, run: bool = False) -> Iterator[tuple[Path, str]]:
    """Every import of a module of ours or of others, with its file; those alone that are `run`."""
    for file in PACKAGE.rglob("*.py"):
        tree = ast.parse(file.read_text("utf-8"))
        for node in ast.walk(tree):
            if run and isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                node.body = [ast.Pass()]
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                yield from ((file, one.name) for one in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                of = PACKAGE.parent.joinpath(*node.module.split("."))
                inside = [one.name for one in node.names if (of / f"{one.name}.py").exists()]
                yield from ((file, f"{node.module}.{name}") for name in inside)
                if len(inside) < len(node.names):
                    yield file, node.module


def _room_of(file: Path) -> str:
    return file.relative_to(PACKAGE).parts[0].removesuffix(".py")


def test_the_table_names_every_room_once() -> None:
    """What lies in the package stands in the table, and the other way round."""
    there = {one.name.partition(".")[0] for one in PACKAGE.iterdir()} - NOT_ROOMS
    assert sorted(_rooms()) == sorted(there)


def test_imports_point_up_the_table() -> None:
    """No module imports from a room that stands below its own."""
    rooms = _rooms()
    wrong = {
        f"{file.relative_to(PACKAGE)} -> {name}"
        for file, name in _imports()
        if name.startswith("recommend.") and (target := name.split(".")[1]) in rooms
        and _room_of(file) in rooms and rooms.index(target) > rooms.index(_room_of(file))
    }  # fmt: skip
    assert wrong == set()


def test_nothing_imports_in_a_circle() -> None:
    """No module comes to itself by what it imports, at once or when it is used."""
    graph: dict[str, set[str]] = {}
    for file, name in _imports(run=True):
        graph.setdefault(_name_of(file), set()).add(name)
    assert "recommend.show.lines" in graph
    graphlib.TopologicalSorter(graph).prepare()  # names a circle in its error


def test_a_shortlist_goes_through_the_eight_rooms_that_the_guide_names() -> None:
    """Of all folders it imports those alone, besides tools that know nothing of feet or shoes."""
    told = re.search(r"a shortlist goes through eight of them \(([^)]*)\)", GUIDE)
    assert told is not None
    tools, _, _ = GUIDE.partition("a shortlist goes through")
    visit = ROOT / "catalogue_demo" / "visits" / "pronated-high-arch-late-medial.yaml"
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "recommend", "shortlist", str(visit)],
        capture_output=True, encoding="utf-8", check=True, env={**os.environ, "COLUMNS": "80"},
    )  # fmt: skip
    loaded = set(re.findall(r"\| +recommend\.(\w+)", done.stderr))
    crossed = {
        room for room in loaded if f"| `recommend/{room}/`" in GUIDE
        and f"| `recommend/{room}/`" not in tools
    }  # fmt: skip
    assert crossed == set(re.findall(r"`(\w+)`", told[1]))
    assert len(crossed) <= 8


def test_the_layers_that_are_linted_are_those_of_the_table() -> None:
    """`lint-imports` is given the same order, without exceptions."""
    linted = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
    (contract,) = linted["contracts"]
    assert "ignore_imports" not in contract
    order = [re.findall(r"recommend\.([a-z]+)", layer) for layer in contract["layers"]]
    flat = [room for layer in order for room in layer]
    python = [room for room in _rooms() if room != "manual"]  # pages, no modules
    assert flat[::-1] == python


def test_a_row_names_modules_that_its_room_has() -> None:
    """Each single word in code in a row is a module, a function or a command."""
    for room, kind, words in ROW.findall(GUIDE):
        for word in re.findall(r"`([a-z_]+)`", words):
            if kind == "/" and not (PACKAGE / room / f"{word}.py").exists():
                defined = f"def {word}(" in (PACKAGE / room / "__init__.py").read_text("utf-8")
                assert defined or word in _commands(), f"{room}: `{word}`"


def test_no_file_name_stands_for_two_ideas() -> None:
    """A file name occurs in one room only, or is kept for a reason that still applies."""
    rooms: dict[str, set[str]] = {}
    for file in PACKAGE.rglob("*.py"):
        if file.stem not in NOT_ROOMS:
            rooms.setdefault(file.stem, set()).add(_room_of(file))
    assert {name for name, found in rooms.items() if len(found) > 1} == set(KEPT_NAMES)


def test_a_class_name_stands_for_one_idea() -> None:
    """No two modules have a class of one name; a group of parameters bears its file's name."""
    named: dict[str, set[str]] = {}
    for file in PACKAGE.rglob("*.py"):
        classes = [
            n for n in ast.parse(file.read_text("utf-8")).body if isinstance(n, ast.ClassDef)
        ]
        for one in classes:
            bases = {ast.unparse(base) for base in one.bases}
            if not one.name.startswith("_") and "ParameterGroup" not in bases:
                named.setdefault(one.name, set()).add(_name_of(file))
    assert len(named) > 300
    assert {name: found for name, found in named.items() if len(found) > 1} == {}


def test_a_module_with_one_importer_stays_apart_for_a_reason() -> None:
    """It is merged with its importer of the same room, unless that were long or is reasoned."""
    files = {_name_of(file): file for file in PACKAGE.rglob("*.py")}
    importers: dict[str, set[str]] = {name: set() for name in files}
    for file, name in _imports():
        if name in importers:
            importers[name].add(_name_of(file))
    lines = {name: len(file.read_text("utf-8").splitlines()) for name, file in files.items()}
    apart = {
        name
        for name, (only, *more) in ((n, sorted(by)) for n, by in importers.items() if by)
        if not more and _room_of(files[name]) == _room_of(files[only])
        and "__init__.py" not in (files[name].name, files[only].name)  # the front of a package
        and lines[name] + lines[only] <= LONGEST
    }  # fmt: skip
    assert apart == set(KEPT_APART)


def _name_of(file: Path) -> str:
    parts = file.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def _commands() -> set[str]:
    from recommend.cli import COMMANDS

    return set(COMMANDS)


def test_every_path_in_the_guide_exists() -> None:
    """A file or folder that the guide names is there; a name in CAPITALS or with * is a pattern."""
    roots = (ROOT, PACKAGE, ROOT / "rules")
    for path in re.findall(r"`((?:[\w.-]+/)+[\w.*-]*)`", GUIDE):
        if re.search(r"[A-Z*]{2,}|\*", path) or path.startswith(".cache"):
            continue
        found = any((root / path).exists() or (root / f"{path}.py").exists() for root in roots)
        assert found, path


def test_only_that_module_imports_it_where_the_guide_says_so() -> None:
    """`X` is the only module that imports a library, where the guide says that it is."""
    packages = {"durable-rules": "durable_rules_engine"}
    said = re.findall(r"`([a-z_/]+)` is the only module that imports ([a-z-]+)", GUIDE)
    assert said
    for module, library in said:
        name = packages.get(library, library)
        found = {file for file, one in _imports() if one.split(".")[0] == name}
        assert {str(file.relative_to(PACKAGE).with_suffix("")) for file in found} == {module}
