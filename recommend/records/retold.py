"""What would be read otherwise at past visits: sentences, questions, cautions, sources."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from recommend.reading.document import parse_document
from recommend.records.keeping import Archive
from recommend.records.store import SHORTLIST, Record
from recommend.rulebook.contents import (
    Contents,
    Edit,
    contents_of,
    contents_of_files,
    edits_between,
)

# Read only at visits that they said something at, or at which the question was answered.
_OWN = frozenset({"rule", "type", "question"})


class Retold:
    """Other rules held beside those of past records, in what is read.

    Parameters
    ----------
    archive : where the records are.
    folder : the folder of the other rules.
    """

    def __init__(self, archive: Archive, folder: Path | str) -> None:
        self.archive, self.now = archive, contents_of(folder)
        self._edits: dict[str, tuple[Edit, ...]] = {}

    def over(self, records: Iterable[Record]) -> Counter[str]:
        """How many visits would have read each thing otherwise, by what changed in words."""
        counts: Counter[str] = Counter()
        for record in records:
            if record.kind == SHORTLIST:
                counts.update(edit.words for edit in self.of(record))
        return counts

    def of(self, record: Record) -> tuple[Edit, ...]:
        """What would be read otherwise at the visit of one record."""
        edits = self._of_rules(record.bodies["rulebook"])
        if not any(_named(one) for one in edits):
            return edits
        bodies = (record.bodies["outcome"], record.bodies["visit"])
        told = "".join(json.dumps(self.archive.store.body(one)) for one in bodies)
        return tuple(one for one in edits if not _named(one) or f'"{_named(one)}"' in told)

    def _of_rules(self, content: str) -> tuple[Edit, ...]:
        """What is read otherwise of the whole rulebook of a record."""
        if content not in self._edits:
            was = _contents(self.archive.store.body(content)["files"])
            words = (one for one in edits_between(was, self.now) if one.bearing == "words")
            self._edits[content] = tuple(words)
        return self._edits[content]


def _contents(files: dict[str, str]) -> Contents:
    return contents_of_files({n: parse_document(text, n).data for n, text in files.items()})


def _named(edit: Edit) -> str:
    """The id of the rule, type or question whose words these are; empty of what all visits read."""
    if edit.thing in _OWN:
        return edit.id
    parts = edit.field.split(".")
    if edit.thing == "translation" and parts[0] in ("rules", "types") and len(parts) > 1:
        return parts[1]
    return ""
