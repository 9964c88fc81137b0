"""The folder of visits: finished visit files, and drafts of entries under way."""

from __future__ import annotations

import copy
import glob
import json
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.output import is_output
from recommend.reading import read_document, read_text, written
from recommend.reading.document import parse_document
from recommend.visit.models import Visit
from recommend.visit.tree import Tree, tidied

DRAFTS = "drafts"
WRITTEN = "written.jsonl"  # which pages and pictures were written, of whom and where
EXPORT = "(export)"  # stands for a customer where an export of all records was written
REFERENCE = r"[^\W_][\w.-]{0,39}"
_FINISHED = re.compile(rf"({REFERENCE}?)_(\d{{4}}-\d{{2}}-\d{{2}})(?:_(\d+))?\.yaml")


def code_of(path: Path) -> str:
    """The reference code in the name of a visit file; empty where it is named otherwise."""
    match = _FINISHED.fullmatch(path.name)
    return match[1] if match else ""


@dataclass
class Draft:
    """An entry under way: what was answered, and where it stands.

    `at` is the id of the step being asked, empty at the end; `doubted` has by step the value that
    is doubted, which is taken when it is typed once more; `said` are stops and advice
    already said; `halted` tells that the fitter has to choose whether to go on after a stop;
    `opened` that questions which can change nothing any more are asked all the same; `readings`
    are those for which there was time, in the order of taking them (empty: all of the shop's).
    """

    tree: Tree
    at: str = ""
    doubted: dict[str, Any] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    halted: bool = False
    opened: bool = False
    readings: list[str] = field(default_factory=list)

    @property
    def reference(self) -> str:
        """The customer's reference code."""
        return str(self.tree["reference"])

    @property
    def follow_up(self) -> bool:
        """Whether the customer has come back."""
        return "follow-up" in self.tree


@dataclass(frozen=True, slots=True)
class Shelved:
    """A finished visit file."""

    path: Path
    reference: str
    day: str
    count: int


@dataclass(frozen=True, slots=True)
class Shelf:
    """Visits in `folder`: ``REF_2026-03-05.yaml``, a second one of the day ``..._2.yaml``."""

    folder: Path

    def finished(self, reference: str | None = None) -> list[Shelved]:
        """Visit files, oldest first; those of one customer when `reference` is given."""
        found = []
        for path in self.folder.glob("*.yaml"):
            match = _FINISHED.fullmatch(path.name)
            if match and reference in (None, match[1]):
                found.append(Shelved(path, match[1], match[2], int(match[3] or 1)))
        return sorted(found, key=lambda one: (one.day, one.reference, one.count))

    def newest(self, reference: str) -> Shelved:
        """The newest visit of a customer.

        Raises
        ------
        InputError
            If there is none, with the nearest reference.
        """
        visits = self.finished(reference)
        if not visits:
            known = {one.reference for one in self.finished()}
            mend = nearest(reference, known) or "list visits with `recommend visit list --all`"
            raise InputError(
                Place(str(self.folder)), f"no visit of `{reference}` is here", mend=mend
            )
        return visits[-1]

    def drafts(self) -> list[Draft]:
        """Drafts that can be read, the last changed first."""
        return [one for one in self._drafts() if isinstance(one, Draft)]

    def damaged(self) -> list[InputError]:
        """What is wrong with each draft that cannot be read."""
        return [one for one in self._drafts() if isinstance(one, InputError)]

    def _drafts(self) -> Iterator[Draft | InputError]:
        for file in sorted((self.folder / DRAFTS).glob("*.json"), key=_changed, reverse=True):
            try:
                yield self._read(file)
            except InputError as error:
                yield error

    def draft(self, reference: str) -> Draft | None:
        """The draft of a customer, or None."""
        file = self._draft_file(reference)
        return self._read(file) if file.exists() else None

    def save(self, draft: Draft) -> None:
        """Keep a draft; it is on the disk when this returns."""
        text = json.dumps(asdict(draft), ensure_ascii=False, indent=1)
        write_atomically(self._draft_file(draft.reference), text)

    def discard(self, reference: str) -> None:
        """Remove the draft of a customer."""
        self._draft_file(reference).unlink(missing_ok=True)

    def finish(self, draft: Draft) -> Path:
        """Turn a draft into a visit file, and remove the draft.

        A crash between the two leaves both; finishing again writes the same file.
        """
        day = str(draft.tree.get("date") or date.today().isoformat())
        same = [one for one in self.finished(draft.reference) if one.day == day]
        text = visit_text(draft.tree)
        path = next((one.path for one in same if _same(one.path, draft.tree)), None)
        if path is None:
            count = max((one.count for one in same), default=0) + 1
            suffix = f"_{count}" if count > 1 else ""
            path = self.folder / f"{draft.reference}_{day}{suffix}.yaml"
            write_atomically(path, text)
        self.discard(draft.reference)
        return path

    def remember(self, reference: str, path: Path) -> None:
        """Note that a page, picture or explanation of a customer was written to `path`.

        It is nobody else's any more, who had one there before.
        """
        real = str(path.resolve())
        with held(self._written_file):
            others = [one for one in self._told() if one[1] != real]
            self._note([*others, (reference, real)])

    def _note(self, told: Iterable[tuple[str, str]]) -> None:
        lines = [json.dumps(one) for one in told]  # names may hold bytes that are no text
        write_atomically(self._written_file, "".join(f"{line}\n" for line in lines))

    def of_customer(self, reference: str) -> list[Path]:
        """Every file of a customer that is known of: visits, draft, what was written of them."""
        if not re.fullmatch(REFERENCE, reference):
            return []
        named = [one.path for one in self.finished(reference)]
        beside = [
            file for visit in named for file in self.folder.glob(f"{glob.escape(visit.stem)}.*")
        ]
        told = [Path(path) for who, path in self._told() if who == reference]
        ours = [file for file in told if file.is_file() and is_output(file)]
        draft = self._draft_file(reference)
        all_of_them = [*named, *beside, *self._named_otherwise(reference), draft, *ours]
        behind = [file.resolve() for file in all_of_them if file.is_symlink()]
        return [one for one in dict.fromkeys([*all_of_them, *behind]) if one.is_file()]

    def _named_otherwise(self, reference: str) -> Iterator[Path]:
        """Visits of a customer in the folder and those in it, whatever the files are called."""
        for file in sorted(self.folder.rglob("*")):
            if file.suffix in (".yaml", ".yml", ".json") and file.parent.name != DRAFTS:
                with suppress(InputError):
                    text = read_text(file)
                    if reference in text and _reference_in(text, file) == reference:
                        yield file

    def exports_with(self, reference: str) -> list[Path]:
        """Exports of records that were noted, are there, and still hold a reference."""
        quoted = json.dumps(reference, ensure_ascii=False).encode()
        return [
            path
            for path in (Path(told) for who, told in self._told() if who == EXPORT)
            if path.is_file() and any(quoted in line for line in path.open("rb"))
        ]

    def forget(self, reference: str) -> list[Path]:
        """Remove every file of a customer; those that could not be removed."""
        left = []
        for path in self.of_customer(reference):
            try:
                with held(path):
                    path.unlink(missing_ok=True)
            except (OSError, InputError):
                left.append(path)
        with held(self._written_file):
            if self._written_file.exists():
                self._note(one for one in self._told() if one[0] != reference)
        return left

    @property
    def _written_file(self) -> Path:
        return self.folder / WRITTEN

    def _told(self) -> Iterator[tuple[str, str]]:
        """Customer and path of what was noted; a line that is damaged says nothing."""
        file = self._written_file
        for line in read_text(file).splitlines() if file.exists() else ():
            with suppress(ValueError, TypeError):
                who, path = json.loads(line)
                yield str(who), str(path)

    @contextmanager
    def held(self, reference: str) -> Iterator[None]:
        """Keep the draft of a customer to this program; freed even when it is killed.

        Raises
        ------
        InputError
            If another terminal works on it.
        """
        file = self._draft_file(reference)
        busy = InputError(
            Place(str(file)),
            "another terminal is working on this visit",
            mend="finish there, or close it; nothing typed there is lost",
        )
        with held(file, busy):
            yield

    def _draft_file(self, reference: str) -> Path:
        return self.folder / DRAFTS / f"{reference}.json"

    def _read(self, file: Path) -> Draft:
        try:
            data = json.loads(read_text(file))
            if isinstance(data["doubted"], list):  # begun with an earlier version: doubted anew
                data["doubted"] = {}
            draft = TypeAdapter(Draft).validate_python(data)
            Visit.model_validate(tidied(copy.deepcopy(draft.tree)))
            if draft.reference != file.stem or not re.fullmatch(REFERENCE, draft.reference):
                raise ValueError("of another customer")
            return draft
        except (ValueError, TypeError, KeyError, RecursionError) as error:
            raise InputError(
                Place(str(file)), "this draft cannot be read", mend="move it out of the folder"
            ) from error


def _changed(file: Path) -> int:
    """When a file was last changed; of one that went meanwhile, or is a link to nothing, never."""
    try:
        return file.stat().st_mtime_ns
    except OSError:
        return 0


def _reference_in(text: str, file: Path) -> str:
    data = parse_document(text, str(file)).data
    return str(data.get("reference", "")) if isinstance(data, dict) else ""


def _same(path: Path, tree: Tree) -> bool:
    return bool(read_document(path).data == tidied(copy.deepcopy(tree)))


def visit_text(tree: Tree) -> str:
    """A visit as the text of a visit file."""
    head = "# A visit typed at the counter. What is not here was not asked or not measured.\n"
    return head + "".join(_part(key, value) for key, value in tidied(tree).items())


def _part(key: str, value: Any) -> str:
    """One top-level part, on lines of its own; inside it, the innermost lists on one line."""
    inner = None if isinstance(value, (dict, list)) else False
    return written({key: value}, width=100, default_flow_style=inner)
