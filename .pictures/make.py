"""Pictures of the terminal for the README, made from real runs.

python .pictures/make.py           write them anew
python .pictures/make.py --check   exit code 1 when one is not what a run shows today
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
from pathlib import Path

from rich import terminal_theme
from rich._export_format import CONSOLE_SVG_FORMAT
from rich.console import Console
from rich.text import Text

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

VISIT = "catalogue_demo/visits/pronated-high-arch-late-medial.yaml"
WIDTH, NARROW, LINES = 100, 80, 62
# No font is fetched: the picture needs nothing but itself.
FORMAT = re.sub(r"@font-face \{\{.*?\}\}", "", CONSOLE_SVG_FORMAT, flags=re.DOTALL)


def shortlist() -> str:
    """The answer of a shortlist, as `recommend shortlist` prints it at a terminal."""
    from recommend.catalogue import load_catalogue
    from recommend.extras import shipped_folder
    from recommend.match.sureness import sureness
    from recommend.rulebook import load_rulebook
    from recommend.show.answer import answer_lines
    from recommend.visit import read_visit
    from recommend.way import outcome_of

    book = load_rulebook(shipped_folder("rules"))
    products = load_catalogue(shipped_folder("catalogue_demo"), book.attributes)
    outcome = outcome_of(read_visit(ROOT / VISIT, book.questions), book, products)
    whole = Console(
        file=io.StringIO(), width=WIDTH, force_terminal=True, color_system="truecolor",
        legacy_windows=False, highlight=False, emoji=False, _environ={},
    )  # fmt: skip
    with whole.capture() as captured:
        for line in answer_lines(outcome, lambda: sureness(outcome), WIDTH, VISIT):
            whole.print(line)
    return _svg(Text.from_ansi(captured.get()), f"recommend shortlist {VISIT}", "shortlist", WIDTH)


def counter() -> str:
    """A guided entry at a real pseudo-terminal, up to the first block of posture."""
    from tests.visit.terminal import Terminal, environment, screened

    with tempfile.TemporaryDirectory() as folder:
        terminal = Terminal(["visit", "new", "A-1042"], environment(Path(folder)))
        shown = screened(terminal)
        for wait, keys in _typed():
            shown += terminal.wait_for(wait)
            shown += terminal.wait_for("> ")
            (terminal.type_line if wait in _LINES else terminal.type)(keys)
        shown += terminal.wait_for("Lengths and heights")
        terminal.kill()
    text = shown[shown.index("Where does it hurt?") :].rpartition("\n")[0]
    return _svg(Text(text.rstrip()), "recommend visit new A-1042", "counter", NARROW)


_LINES = ("Who asks", "worn now", "Body mass")  # answered by a line, all else by keys


def _typed() -> list[tuple[str, str]]:
    typed = [("Who asks", "F2"), ("shoes for?", "r"), ("worn now", "42"), ("Body mass", "78")]
    for number, keys in enumerate(("ff", "fd", "gg", "ff", "dd", "fd"), 1):
        typed += [(f"({number}/", keys)]
    return typed


def _svg(text: Text, title: str, name: str, width: int) -> str:
    lines = text.split("\n", allow_blank=True)[:LINES]
    paper = Console(
        file=io.StringIO(), width=width, record=True, force_terminal=True,
        color_system="truecolor", legacy_windows=False, highlight=False, emoji=False, _environ={},
    )  # fmt: skip
    for line in lines:
        line.rstrip()
        paper.print(line)
    return paper.export_svg(
        title=title, theme=terminal_theme.DEFAULT_TERMINAL_THEME, code_format=FORMAT, unique_id=name
    )


PICTURES = {"shortlist.svg": shortlist, "counter.svg": counter}


def main() -> int:
    """Write the pictures, or check them."""
    stale = 0
    for name, make in PICTURES.items():
        file = Path(__file__).with_name(name)
        if "--check" not in sys.argv:
            file.write_text(make() + "\n", "utf-8")
        elif not file.exists() or file.read_text("utf-8") != make() + "\n":
            print(f"{file.relative_to(ROOT)} is not what a run shows; run .pictures/make.py")
            stale = 1
    return stale


if __name__ == "__main__":
    sys.exit(main())
