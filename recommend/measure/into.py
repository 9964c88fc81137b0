"""Write measures of captures into a visit file, keeping its comments and its order.

What is written is what the fitter would type: values with their unit and kind, one angle for each
stride. What the capture itself gave (value, error, number, method, doubts) stands beside as data
under ``from-captures``, and counts as long as the two agree. The capture is listed with its hash.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ruamel.yaml.comments import CommentedMap

from recommend.atomic import NO_TEXT, held, write_atomically
from recommend.errors import InputError, Place
from recommend.measure.capture import measure_capture
from recommend.measure.definitions import OF_STRIDES, MeasureDefs
from recommend.measure.doubts import cross_checked
from recommend.measure.measured import Measured
from recommend.measure.model import Measure
from recommend.parameters import Parameters
from recommend.reading import read_document, validate
from recommend.reading.document import Document, parse_document
from recommend.visit.models import Visit
from recommend.visit.shelf import visit_text
from recommend.visit.tree import Tree
from recommend.visit.writing import child, edited, flow

# The range follows from touchdown and peak, so it is not written beside them.
_STRIDES = {field: name for field, name in OF_STRIDES.items() if field != "range"}
_STANDING = "standing-angle"
_KEPT = {"arch-index", "cop-pattern", "cpei", _STANDING, *_STRIDES.values()}
_CARRIED = {*_KEPT, "rearfoot-range", "rearfoot-return"}
_QUALIFIERS = ("gait", "reference", "kind", "load")


@dataclass(frozen=True, slots=True)
class Merged:
    """A visit with measures in it, and one sentence for each thing done."""

    document: Document
    done: tuple[str, ...]


def write_into(path: Path, found: Sequence[Measured], parameters: Parameters) -> tuple[str, ...]:
    """Write the measures in `found` into the visit at `path`; says what was done, in sentences.

    Raises
    ------
    InputError
        If the visit does not fit its schema (before or after), or a capture was not taken
        barefoot: a visit's feet hold barefoot measures.
    """
    with held(path):
        merged = merge(read_document(path), path, found, parameters)
        write_atomically(path, merged.document.text)
    return merged.done


def merge(
    document: Document, path: Path, found: Sequence[Measured], parameters: Parameters
) -> Merged:
    """The visit of `document`, to stand at `path`, with the measures in it; nothing is written."""
    visit = validate(Visit, document)
    for one in found:
        _refuse_shod(one)
        if not one.file.isprintable():  # a visit could not hold it
            raise InputError(Place(one.file), "no visit can hold this name", *NO_TEXT)
    done: list[str] = []
    checked = cross_checked(found, visit, parameters.capture)
    writing = [_Writing(one, path, done) for one in checked]
    kept: list[_Writing] = []

    def feet(tree: Any) -> None:
        kept.extend(one for one in writing if one.into(tree))

    def captures(rows: Any) -> None:
        for one in kept:
            one.listed(rows)

    document = edited(document, "feet", feet, {})
    if kept:
        document = edited(document, "captures", captures, [])
    return Merged(document, tuple(done))


def _refuse_shod(one: Measured) -> None:
    if one.condition != "barefoot":
        raise InputError(
            Place(one.file),
            f"the capture was taken in `{one.condition}`",
            "barefoot captures",
            "a reading in a shoe belongs in a trial: `recommend trial`",
        )


@dataclass(frozen=True, slots=True)
class _Writing:
    """One capture on its way into the visit at `path`; `done` gathers what was done."""

    one: Measured
    path: Path
    done: list[str]

    def say(self, what: str) -> None:
        """Note something that was done."""
        self.done.append(f"{self.one.side}: {what}")

    @property
    def file(self) -> str:
        """The capture's name as seen from the folder of the visit."""
        return Path(os.path.relpath(self.one.file, self.path.parent)).as_posix()

    def into(self, feet: Any) -> bool:
        """Write what a visit keeps of the capture; False when that is nothing."""
        one = self.one
        if not {measure.name for measure in one.measures} & _KEPT:
            why = "".join(f"; {f.name}: {f.detail}" for f in one.flags if f.effect == "removed")
            self.say(f"nothing of {Path(one.file).name} can be kept in a visit{why}")
            return False
        foot = child(feet, one.side)
        if one.kind == "pressure":
            self._arch_index(foot)
            self._cop(foot)
        else:
            self._rearfoot(foot)
        self._carry(foot)
        return True

    def _carry(self, foot: Any) -> None:
        """Keep each measure as the capture gave it; what an earlier capture gave of it goes."""
        new = [self._reading(m) for m in self.one.measures if m.name in _CARRIED]
        mine = [_tell(entry) for entry in new]
        film = {(e["gait"], e.get("reference")) for e in new if "gait" in e}
        kept = [
            entry
            for entry in foot.get("from-captures") or []
            if _tell(entry) not in mine and (entry.get("gait"), entry.get("reference")) not in film
        ]
        foot["from-captures"] = [*kept, *new]

    def _reading(self, measure: Measure) -> CommentedMap:
        """One line of ``from-captures``; angles of a film keep its zero even where it cancels."""
        entry, one = CommentedMap(measure=measure.name), self.one
        words = dict(measure.qualifiers)
        zeros = {m.qualifiers["reference"] for m in one.measures if "reference" in m.qualifiers}
        if one.kind == "marks" and one.gait != "standing" and zeros:
            words["reference"] = zeros.pop()
        entry.update({key: words[key] for key in _QUALIFIERS if key in words})
        known = measure.value
        entry["value"] = known if isinstance(known, str) else round(float(known), 4)
        if measure.error is not None:
            entry["error"] = float(f"{measure.error:.3g}")
        entry.update(n=measure.n, method=measure.method, file=self.file)
        if measure.flags:
            entry["doubts"] = list(dict.fromkeys(flag.name for flag in measure.flags))
        entry.fa.set_flow_style()
        return entry

    def _arch_index(self, foot: Any) -> None:
        """The area index; one of another kind or load that stands there is another scale."""
        measure = self.one.find("arch-index", kind="pressure-sensor")
        if measure is None:
            return
        words = {"kind": measure.qualifiers["kind"], "load": measure.qualifiers["load"]}
        there = foot.get("arch-index")
        if there is not None and {k: there.get(k) for k in words} != words:
            self.say(
                f"kept the arch index that stands there ({there.get('kind')}, "
                f"{there.get('load')}); the one from the mat is another scale"
            )
            return
        entry = CommentedMap(value=round(float(measure.value), 3), **words)
        entry.fa.set_flow_style()
        self._put(foot, "arch-index", entry, measure)

    def _cop(self, foot: Any) -> None:
        pattern, index = self.one.find("cop-pattern"), self.one.find("cpei")
        if pattern is None and index is None:
            return
        cop = child(foot, "cop")
        if cop.pop("path-mm", None) is not None:
            self.say("took out the old COP path; pattern and index are new")
        if pattern is not None:
            self._put(cop, "pattern", str(pattern.value), pattern)
        if index is not None:
            self._put(cop, "excursion-index-percent", round(float(index.value), 1), index)

    def _rearfoot(self, foot: Any) -> None:
        """One entry for each gait and zero reference; its strides are replaced by the new ones."""
        one = self.one
        known = {m.name: m for m in one.measures if m.name in (*_STRIDES.values(), _STANDING)}
        if not known:
            return
        reference = next(iter(known.values())).qualifiers["reference"]
        entries = foot.get("rearfoot")
        if entries is None:
            entries = foot["rearfoot"] = []
        same = (e for e in entries if (e.get("gait"), e.get("reference")) == (one.gait, reference))
        entry = next(same, None)
        if entry is None:
            entry = CommentedMap(gait=one.gait, reference=reference)
            entries.append(entry)
        names = {"angle": _STANDING} if one.gait == "standing" else _STRIDES
        for key, name in names.items():
            if name in known:
                strides = flow([round(value, 1) for value in one.strides[name]])
                self._put(entry, key, strides, known[name])
            elif entry.pop(key, None) is not None:
                self.say(f"took out {key}, which the new film cannot tell")
        entry.pop("range", None)  # of the film before; peak and touchdown say it
        if "rearfoot-angle" in one.curves:
            entry["curve"] = flow(one.curves["rearfoot-angle"].mean.round(1).tolist())

    def _put(self, parent: Any, key: str, value: Any, measure: Measure) -> None:
        """Set `key` and say so; the comment beside it is renewed, comments above it stay."""
        old, note = parent.get(key), self._note(measure)
        if key in parent or not isinstance(parent, CommentedMap):
            parent[key] = value
        else:
            parent.insert(_position(parent, key), key, value)
        if isinstance(parent, CommentedMap):  # JSON has no comments
            _comment(parent, key, note)
        known = measure.value
        shown = known if isinstance(known, str) else f"{float(known):.3g}"
        self.say(f"{'wrote' if old is None else 'replaced'} {key} ({shown}, {note})")

    def _note(self, measure: Measure) -> str:
        """Error, number and doubts of a measure in a few words, for the comment beside it."""
        words = [] if measure.error is None else [f"±{measure.error:.2g}"]
        words.append(f"n {measure.n}")
        words += dict.fromkeys(flag.name for flag in measure.flags if flag.effect != "noted")
        return ", ".join([*words, Path(self.one.file).name])

    def listed(self, captures: Any) -> None:
        """Keep the capture's name, relative to the visit, with hash, side, kind and gait."""
        one, name = self.one, self.file
        entry = CommentedMap(file=name)
        entry.update(sha256=one.sha256, side=one.side, kind=one.kind, gait=one.gait)
        if one.device:
            entry["device"] = one.device
        flags = (*one.flags, *(flag for measure in one.measures for flag in measure.flags))
        if doubts := {flag.name: flag for flag in flags}.values():
            entry["doubts"] = [
                CommentedMap(name=one.name, effect=one.effect, says=one.detail[:500])
                for one in doubts
            ]
        for index, old in enumerate(captures):
            same = os.path.normpath(old.get("file")) == os.path.normpath(name)
            if same and old.get("side", one.side) == one.side:
                captures[index] = entry
                return
        captures.append(entry)


def _tell(entry: Any) -> tuple[Any, ...]:
    return (entry["measure"], *(entry.get(key) for key in _QUALIFIERS))


def _position(parent: CommentedMap, key: str) -> int:
    """Where a new key goes: before the first that follows it in stance, else at the end."""
    order = list(_STRIDES)
    later = order[order.index(key) + 1 :] if key in order else []
    keys = list(parent)
    return next((keys.index(name) for name in later if name in parent), len(keys))


def _comment(parent: CommentedMap, key: str, note: str) -> None:
    """Renew the comment beside `key`; lines of comment that follow it in the file stay."""
    token = (parent.ca.items.get(key) or [None] * 4)[2]
    if token is None:
        parent.yaml_add_eol_comment(note, key)
    else:
        _, _, following = token.value.partition("\n")
        token.value = f"# {note}\n{following}"


def absorber(
    folder: Path, parameters: Parameters, defs: MeasureDefs
) -> Callable[[Tree, str], tuple[Tree, str]]:
    """A function that measures a capture file into the data of a visit.

    Parameters
    ----------
    folder : where the visit file will stand; the capture is named from there.

    Returns
    -------
    A function of the data and the name of the file; it gives the new data, and one sentence for
    each thing done. It raises InputError when the capture cannot be used.
    """

    def absorb(tree: Tree, name: str) -> tuple[Tree, str]:
        try:
            found = measure_capture(Path(name).expanduser().absolute(), parameters, defs)
        except OSError as error:
            raise InputError(Place(name[:40]), f"cannot be read ({error.strerror})") from error
        where = folder / "visit.yaml"  # never written: captures are named as seen from there
        merged = merge(parse_document(visit_text(tree), str(where)), where, found, parameters)
        data: Tree = merged.document.data
        return data, "; ".join(merged.done)

    return absorb
