"""The command lines that the documents show, taken out of them and parsed by the real commands."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from recommend.cli import COMMANDS, app

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "catalogue_demo" / "README.md",
    ROOT / "catalogue_demo" / "captures" / "README.md",
    *sorted((ROOT / "recommend" / "manual").glob("*.md")),
]
_OF_EVERY_COMMAND = ("--help", "--install-completion", "--show-completion")
ON_PURPOSE = {"COMMAND", "TOPIC"}  # stand for any command, any page


def fenced(document: Path) -> Iterator[str]:
    """Every line to type that calls the program, continued lines joined, comments taken off."""
    for block in re.findall(r"```sh\n(.*?)```", document.read_text("utf-8"), re.DOTALL):
        for line in block.replace("\\\n", " ").splitlines():
            for part in line.split("&&"):
                words = shlex.split(part, comments=True)
                if words and Path(words[0]).name == "recommend":
                    yield shlex.join(["recommend", *words[1:]])


def spans(document: Path) -> Iterator[str]:
    """Every stretch of code inside a sentence."""
    prose = re.sub(r"```.*?```", "", document.read_text("utf-8"), flags=re.DOTALL)
    yield from (" ".join(one.split()) for one in re.findall(r"(?<!`)`([^`]+)`(?!`)", prose))


def called(document: Path) -> Iterator[str]:
    """Stretches of code in sentences that call the program, or begin as one of its commands do."""
    for span in spans(document):
        words = span.split()
        if words[0] == "recommend" and len(words) > 1 and not ON_PURPOSE & set(words):
            yield span
        elif words[0] in COMMANDS and len(words) > 1 and _is_inner(words[0], words[1]):
            yield f"recommend {span}"


def _is_inner(command: str, word: str) -> bool:
    inner: Any = _tree().get_command(None, command)
    return word in getattr(inner, "commands", ())


def _tree() -> Any:
    return typer.main.get_command(app)


def parse(line: str) -> str:
    """What is wrong with a command line, by the parser of the command itself; else nothing."""
    command, context = _tree(), None
    words = [one for one in shlex.split(line)[1:] if one not in _OF_EVERY_COMMAND]
    try:
        while words or not hasattr(command, "resolve_command"):
            context = command.make_context(command.name or "recommend", list(words), context)
            if not hasattr(command, "resolve_command"):
                break
            words = [*context._protected_args, *context.args]
            if words:
                _, command, words = command.resolve_command(context, words)
    except Exception as error:  # the option parser has its own kinds of error
        return f"{type(error).__name__}: {getattr(error, 'message', error)}"
    return ""


def options() -> set[str]:
    """Every option of every command."""
    return {*_OF_EVERY_COMMAND, *(name for _, name, _ in every_option())}


def every_option() -> Iterator[tuple[str, str, str]]:
    """Command, option and kind of value of every option, such as ``gaps``, ``--budget``, float."""
    for name in COMMANDS:
        command: Any = _tree().get_command(None, name)
        for inner, one in {"": command, **getattr(command, "commands", {})}.items():
            for parameter in one.params:
                kind = _kind(parameter)
                for opt in (*parameter.opts, *parameter.secondary_opts):
                    if opt.startswith("-"):
                        yield f"{name} {inner}".strip(), opt, kind


def _kind(parameter: Any) -> str:
    """What one value is: bool, int, float, Path, or a word (one of a list of words is one too)."""
    annotation = str(parameter.type_descriptor.annotation)
    if "Literal" in annotation:
        return "word"
    kind = re.sub(r"^list\[(.*)\]$|^<class '(.*)'>$", r"\1\2", annotation).split(".")[-1]
    return {"str": "word"}.get(kind, kind)
