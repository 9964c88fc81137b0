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
from recommend.measure.model import Flag, Measure
from recommend.parameters import Parameters
from recommend.reading import read_document, validate
from recommend.reading.document import Document, parse_document
from recommend.visit.models import Visit
from recommend.visit.shelf import visit_text
from recommend.visit.tree import Tree
from recommend.visit.writing import child, edited, flow

# The range follows from touchdown and peak, so it is not written beside them.
_STRIDES = {field: name for field, name in OF_STRIDES.items() if field != "range"}
_KEPT = {"arch-index", "cop-pattern", "cpei", "standing-angle", *_STRIDES.values()}
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
    done: list[str] = []
    kept: list[Measured] = []
    for one in found:
        _refuse_shod(one)
        if not one.file.isprintable():  # a visit could not hold it
            raise InputError(Place(one.file), "no visit can hold this name", *NO_TEXT)
    found = cross_checked(found, visit, parameters.capture)

    def feet(tree: Any) -> None:
        kept.extend(one for one in found if _foot(tree, one, path, done))

    def captures(rows: Any) -> None:
        for one in kept:
            _list_capture(rows, path, one)

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


def _foot(feet: Any, one: Measured, path: Path, done: list[str]) -> bool:
    """Write what a visit keeps of one capture; False when that is nothing."""
    names = {measure.name for measure in one.measures}
    if not names & _KEPT:
        why = "".join(f"; {f.name}: {f.detail}" for f in one.flags if f.effect == "removed")
        done.append(f"{one.side}: nothing of {Path(one.file).name} can be kept in a visit{why}")
        return False
    foot = child(feet, one.side)
    if one.kind == "pressure":
        _arch_index(foot, one, done)
        _cop(foot, one, done)
    else:
        _rearfoot(foot, one, done)
    _carry(foot, one, _beside(path, one))
    return True


def _carry(foot: Any, one: Measured, file: str) -> None:
    """Keep each measure as the capture gave it; what an earlier capture gave of it goes."""
    new = [_reading(measure, one, file) for measure in one.measures if measure.name in _CARRIED]
    mine = [_tell(entry) for entry in new]
    film = {(e["gait"], e.get("reference")) for e in new if "gait" in e}
    kept = [
        entry
        for entry in foot.get("from-captures") or []
        if _tell(entry) not in mine and (entry.get("gait"), entry.get("reference")) not in film
    ]
    foot["from-captures"] = [*kept, *new]


def _tell(entry: Any) -> tuple[Any, ...]:
    return (entry["measure"], *(entry.get(key) for key in _QUALIFIERS))


def _reading(measure: Measure, one: Measured, file: str) -> CommentedMap:
    """One line of ``from-captures``; angles of a film keep its zero even where it cancels."""
    entry = CommentedMap(measure=measure.name)
    words = dict(measure.qualifiers)
    zeros = {m.qualifiers["reference"] for m in one.measures if "reference" in m.qualifiers}
    if one.kind == "marks" and one.gait != "standing" and zeros:
        words["reference"] = zeros.pop()
    entry.update({key: words[key] for key in _QUALIFIERS if key in words})
    known = measure.value
    entry["value"] = known if isinstance(known, str) else round(float(known), 4)
    if measure.error is not None:
        entry["error"] = float(f"{measure.error:.3g}")
    entry.update(n=measure.n, method=measure.method, file=file)
    if measure.flags:
        entry["doubts"] = list(dict.fromkeys(flag.name for flag in measure.flags))
    entry.fa.set_flow_style()
    return entry


def _doubt(flag: Flag) -> CommentedMap:
    return CommentedMap(name=flag.name, effect=flag.effect, says=flag.detail[:500])


def _arch_index(foot: Any, one: Measured, done: list[str]) -> None:
    """The area index; one of another kind or load that stands there is another scale and stays."""
    measure = one.find("arch-index", kind="pressure-sensor")
    if measure is None:
        return
    words = {"kind": measure.qualifiers["kind"], "load": measure.qualifiers["load"]}
    there = foot.get("arch-index")
    if there is not None and {k: there.get(k) for k in words} != words:
        done.append(
            f"{one.side}: kept the arch index that stands there ({there.get('kind')}, "
            f"{there.get('load')}); the one from the mat is another scale"
        )
        return
    entry = CommentedMap(value=round(float(measure.value), 3), **words)
    entry.fa.set_flow_style()
    _put(foot, "arch-index", entry, measure, one, done)


def _cop(foot: Any, one: Measured, done: list[str]) -> None:
    pattern, index = one.find("cop-pattern"), one.find("cpei")
    if pattern is None and index is None:
        return
    cop = child(foot, "cop")
    if cop.pop("path-mm", None) is not None:
        done.append(f"{one.side}: took out the old COP path; pattern and index are new")
    if pattern is not None:
        _put(cop, "pattern", str(pattern.value), pattern, one, done)
    if index is not None:
        value = round(float(index.value), 1)
        _put(cop, "excursion-index-percent", value, index, one, done)


def _rearfoot(foot: Any, one: Measured, done: list[str]) -> None:
    """One entry for each gait and zero reference; its strides are replaced by the new ones."""
    known = [m for m in one.measures if m.name in (*_STRIDES.values(), "standing-angle")]
    if not known:
        return
    reference = known[0].qualifiers["reference"]
    entries = foot.get("rearfoot")
    if entries is None:
        entries = foot["rearfoot"] = []
    entry = next(
        (e for e in entries if (e.get("gait"), e.get("reference")) == (one.gait, reference)), None
    )
    if entry is None:
        entry = CommentedMap(gait=one.gait, reference=reference)
        entries.append(entry)
    names = {"angle": "standing-angle"} if one.gait == "standing" else _STRIDES
    for key, name in names.items():
        measure = next((m for m in known if m.name == name), None)
        if measure is not None:
            strides = flow([round(value, 1) for value in one.strides[name]])
            _put(entry, key, strides, measure, one, done)
        elif entry.pop(key, None) is not None:
            done.append(f"{one.side}: took out {key}, which the new film cannot tell")
    entry.pop("range", None)  # of the film before; peak and touchdown say it
    if "rearfoot-angle" in one.curves and known:
        entry["curve"] = flow(one.curves["rearfoot-angle"].mean.round(1).tolist())


def _put(
    parent: Any, key: str, value: Any, measure: Measure, one: Measured, done: list[str]
) -> None:
    """Set `key` and say so; the comment beside it is renewed, comments above it stay."""
    old = parent.get(key)
    note = _note(measure, one)
    if key in parent or not isinstance(parent, CommentedMap):
        parent[key] = value
    else:
        parent.insert(_position(parent, key), key, value)
    if isinstance(parent, CommentedMap):  # JSON has no comments
        _comment(parent, key, note)
    shown = f"{float(measure.value):.3g}" if not isinstance(measure.value, str) else measure.value
    verb = "wrote" if old is None else "replaced"
    done.append(f"{one.side}: {verb} {key} ({shown}, {note})")


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


def _note(measure: Measure, one: Measured) -> str:
    """Error, number and doubts of a measure in a few words, for the comment beside it."""
    words = []
    if measure.error is not None:
        words.append(f"±{measure.error:.2g}")
    words.append(f"n {measure.n}")
    words += dict.fromkeys(flag.name for flag in measure.flags if flag.effect != "noted")
    return ", ".join([*words, Path(one.file).name])


def _beside(path: Path, one: Measured) -> str:
    """The capture's name as seen from the folder of the visit."""
    return Path(os.path.relpath(one.file, path.parent)).as_posix()


def _list_capture(captures: Any, path: Path, one: Measured) -> None:
    """Keep the capture's name, relative to the visit, with hash, side, kind and gait."""
    name = _beside(path, one)
    entry = CommentedMap(file=name, sha256=one.sha256, side=one.side, kind=one.kind, gait=one.gait)
    if one.device:
        entry["device"] = one.device
    doubts = {flag.name: flag for flag in (*one.flags, *(f for m in one.measures for f in m.flags))}
    if doubts:
        entry["doubts"] = [_doubt(flag) for flag in doubts.values()]
    for index, old in enumerate(captures):
        same = os.path.normpath(old.get("file")) == os.path.normpath(name)
        if same and old.get("side", one.side) == one.side:
            captures[index] = entry
            return
    captures.append(entry)


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
