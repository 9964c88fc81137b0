"""`recommend demo`: the main job on an invented visit, one real command after another."""

from __future__ import annotations

import contextlib
import io
import os
import shlex
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.commands import command_called
from recommend.errors import Exit, InputError, Place
from recommend.extras import shipped_folder
from recommend.reading import read_document
from recommend.settings import FILE_VARIABLE, SETTINGS
from recommend.show.dialogue import say
from recommend.visit.answers import ReadTogether
from recommend.visit.entry import CLEAR
from recommend.visit.entry_steps import EntryStep
from recommend.visit.shelf import Draft, Shelf

_PATIENCE = 4  # times that one step may be asked
HEAD, TAIL = 22, 14  # lines shown of the beginning and the end of the entry
FINE = (0, None, Exit.NOTHING_SUITABLE)


@dataclass(frozen=True, slots=True)
class Scene:
    """What the demonstration works with: the folder it writes to, and what it is told to do."""

    folder: Path
    story: dict[str, Any]

    @property
    def reference(self) -> str:
        """The code of the invented customer."""
        return str(self.tree["reference"])

    @property
    def tree(self) -> dict[str, Any]:
        """The invented visit, as data."""
        file = shipped_folder("catalogue_demo") / self.story["visit"]
        tree: dict[str, Any] = read_document(file).data
        return tree

    @property
    def visit(self) -> str:
        """The file that the entry writes."""
        return str(Shelf(self.folder / "visits").newest(self.reference).path)


def demo(
    into: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Keep what it writes here, else nothing is kept."),
    ] = None,
) -> None:
    """Show the main job on an invented visit: entry, shortlist, try-on, page, coverage, why.

    Every step is a real command with what it prints; your settings, visits and records are not
    touched. At a terminal it waits for Enter between the steps.

    Example: recommend demo --into my-first-visit
    """
    if into is not None and into.exists():
        raise InputError(Place(str(into)), "it is there already", mend="name a new folder")
    with _folder(into) as folder, _own_places(folder):
        story = read_document(shipped_folder("catalogue_demo") / "demonstration.yaml").data
        scene = Scene(folder, story)
        say("A demonstration with invented feet and products. Fitting advice, not a diagnosis.")
        for number, (title, step) in enumerate(STEPS, 1):
            print(f"\n{'=' * 78}\n{number} of {len(STEPS)}. {title}\n{'=' * 78}")
            step(scene)
            if number < len(STEPS) and not _goes_on():
                break
        if into is not None:
            print(f"\nKept: {folder}")


@contextlib.contextmanager
def _folder(into: Path | None) -> Iterator[Path]:
    if into is not None:
        yield into.absolute()
        return
    with tempfile.TemporaryDirectory(prefix="recommend-demo-") as folder:
        yield Path(folder)


@contextlib.contextmanager
def _own_places(folder: Path) -> Iterator[None]:
    """Let every command of the demonstration read and write there, and nowhere else."""
    before = dict(os.environ)
    for one in SETTINGS.values():
        os.environ.pop(one.variable, None)
    os.environ[FILE_VARIABLE] = str(folder / "settings.toml")
    os.environ[SETTINGS["visits"].variable] = str(folder / "visits")
    os.environ[SETTINGS["records"].variable] = str(folder / "records.sqlite")
    if engine := before.get(SETTINGS["engine"].variable):
        os.environ[SETTINGS["engine"].variable] = engine
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


def _goes_on() -> bool:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return True
    try:
        return input("\nEnter goes on, q leaves > ").strip().lower() != "q"
    except (EOFError, KeyboardInterrupt):
        return False


def _call(words: list[str], shown: list[str] | None = None) -> None:
    """Run one command of the program, its line printed before it."""
    print(f"$ recommend {shlex.join(shown or words)}\n", flush=True)
    code = command_called(words[0]).main(
        words[1:], prog_name=f"recommend {words[0]}", standalone_mode=False
    )
    if code not in FINE:
        raise typer.Exit(code)


def _entry(scene: Scene) -> None:
    from recommend.commands.visit import enter  # only here: it brings the whole entry along

    print(f"$ recommend visit new {scene.reference}\n")
    draft = Draft({"reference": scene.reference, "date": date.today().isoformat()})
    typed = io.StringIO()
    with contextlib.redirect_stdout(typed):
        enter(
            draft, Shelf(scene.folder / "visits"), None, _answers(scene.tree, scene.story["typed"])
        )
    lines = typed.getvalue().splitlines()
    left = len(lines) - HEAD - TAIL
    print("\n".join([*lines[:HEAD], f"\n[... {left} lines more of question and answer ...]\n"]))
    print("\n".join(lines[-TAIL:]))


def _answers(tree: dict[str, Any], typed: dict[str, str]) -> Callable[[EntryStep], str]:
    """What the invented fitter types at each step: what `typed` or else `tree` says.

    Twice where it is doubted; then the step is left out.
    """
    asked: Counter[str] = Counter()

    def answer(step: EntryStep) -> str:
        asked[step.id] += 1
        if asked[step.id] > _PATIENCE:
            raise InputError(Place(step.id), "the demonstration finds no answer that is taken")
        if isinstance(step.kind, ReadTogether):
            return "n"  # its visit answers every question with no
        nothing = CLEAR if step.kind.keys else ""
        said = typed.get(step.id) or step.standing(tree)
        return said if said and asked[step.id] <= _PATIENCE // 2 else nothing

    return answer


def _shortlist(scene: Scene) -> None:
    _call(["shortlist", scene.visit, "--keep"], ["shortlist", scene.reference, "--keep"])


def _trial(scene: Scene) -> None:
    story = scene.story
    worn = ["--shoe", story["shoe"], "--insole", story["insole"]]
    ratings = [word for one in story["comfort"] for word in ("--comfort", one)]
    shown = ["trial", scene.reference, *worn, *story["readings"], *ratings]
    _call(["trial", scene.visit, *shown[2:]], shown)


def _page(scene: Scene) -> None:
    page = str(scene.folder / "page.html")
    _call(["sheet", scene.visit, "--to", page], ["sheet", scene.reference, "--to", "page.html"])
    say("One page to print or send: what was measured, what it means, what was chosen, when to "
        "see a clinician. With `--into FOLDER` it is kept for you to open.")  # fmt: skip


def _coverage(_scene: Scene) -> None:
    _call(["coverage", "--customers", "5000"])


def _explain(_scene: Scene) -> None:
    _call(["explain", "last", "--depth", "3"])


STEPS: tuple[tuple[str, Callable[[Scene], None]], ...] = (
    ("Entry: the questions of a fitting, one by one", _entry),
    ("Shortlist: what to bring from the shelf, and why; kept as a record", _shortlist),
    ("Try-on: measured again in shoe and insole", _trial),
    ("The page that the customer takes home", _page),
    ("For the buyer: which feet the demo catalogue serves", _coverage),
    ("For the auditor: where each word came from", _explain),
)
