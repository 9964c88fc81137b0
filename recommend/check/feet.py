"""From facts back to a visit file that gives them: how a finding shows itself at the counter."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from recommend.infer.facts import facts_of
from recommend.measure.definitions import OF_STRIDES, Derivation, known_as
from recommend.measure.derived import derivations, error_of
from recommend.measure.model import SIDES, Side
from recommend.measure.observed import observe
from recommend.reading import written
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Facts
from recommend.rulebook.vocabulary import AGE_BAND, PURPOSE, SOCKS, Fact, about, part_of
from recommend.visit.models import Visit

# Measures taken stride by stride: their error can be made larger by scatter, not smaller.
RETURN = "rearfoot-return"  # follows from the peak and propulsion of the same strides
MOVING = (*OF_STRIDES.values(), RETURN)
STRIDES = ("standing-angle", *MOVING, "arch-rigidity")
PAIN = "pain-score"  # of a side that is said not to hurt it has no error
READINGS = 8  # an even number, above the count from which scatter is trusted by itself
_TRUNCATED_MM = 190.0
_PEAK_DEG = 6.0  # where only the way back from the peak matters
_LENGTH_MM = 265.0
_MARK = "Q-0001"


def visit_text(facts: Facts, book: Rulebook, heading: str, *, both: bool = False) -> str:
    """A visit file, as text, whose foot has `facts`; empty when no visit can give them.

    With `both` the other foot is the same, so that it does not stand in the way of a pair.

    The visit is read back and measured, so a text that is returned does give the facts.
    """
    side: Side = "right" if facts.get("side") == "right" else "left"
    if RETURN in facts:  # written as the push-off it is reckoned from
        told = Fact("known", "propulsion-angle").name
        facts = {name: v for name, v in facts.items() if name != told}
    try:
        data = _visit(facts, side, book)
        if both:
            data |= _on_both(data, side)
            # Two equal feet have known differences of nothing; the one foot had none.
            facts = {name: v for name, v in facts.items() if not name.endswith("-difference")}
        visit = Visit.model_validate(data)
    except (KeyError, ValueError):
        return ""
    if not _gives(visit, side, facts, book):
        return ""
    body = written(data, width=92, default_flow_style=None)
    comment = "".join(f"# {line}\n" for line in heading.splitlines())
    return f"{comment}# An invented visit; nobody's feet.\n{body}"


def foot_words(facts: Facts, book: Rulebook) -> str:
    """The known facts of a foot in one line of words."""
    return "; ".join(_words(facts, book)) or "nothing measured"


def smallest_margin(measure: str, book: Rulebook) -> float:
    """The least margin (`noise.clearly` errors) that a visit can give to a reading."""
    error = book.measures[measure].error
    if error is None:
        return 0.0
    clearly = book.parameters.noise.clearly
    if measure in STRIDES:
        return clearly * error.floor
    how = derivations(book.measures).get(measure)
    own = math.hypot(error.single, error.floor)
    if how is None or not all(book.measures[part].typed for part in how.parts):
        return clearly * own
    parts = [book.measures[part].error for part in how.parts]
    return clearly * error_of(how, own, [math.hypot(e.single, e.floor) for e in parts if e])


def _words(facts: Facts, book: Rulebook) -> Iterator[str]:
    for name, definition in book.measures.items():
        if name not in facts:
            continue
        value = facts[name]
        told = (part_of(name, qualifier) for qualifier in definition.qualifiers)
        words = " ".join(str(facts[fact]) for fact in told if fact in facts)
        margin = ""
        if isinstance(value, float):
            low = facts.get(part_of(name, "low"), value)
            places = definition.decimals + 1
            gap = round(value - float(low), places)
            margin = f" ± {gap:g}" if gap and name in STRIDES else ""
            value = f"{round(value, places):g}"
        yield f"{name} {value}{margin}" + (f" ({words})" if words else "")
    for fact, value in sorted(facts.items()):
        kind, name, _ = about(fact)
        if kind == "visit":
            yield f"{name} {value}"
        elif kind == "answer":
            yield f"{name}: {value}"
        elif kind == "pain" and value == "yes":
            yield f"pain: {name}"


def _on_both(data: dict[str, Any], side: Side) -> dict[str, Any]:
    foot = data["feet"].get(side, {})
    feet = {name: data["feet"].get(name, foot) for name in SIDES}
    pain = data.get("pain")
    return {"feet": feet} | ({"pain": [{**p, "side": "both"} for p in pain]} if pain else {})


def _gives(visit: Visit, side: Side, facts: Facts, book: Rulebook) -> bool:
    measures = observe(visit, book.measures, book.parameters).used[side]
    made = facts_of(visit, side, measures, book)
    return all(_same(made.get(name), value) for name, value in facts.items())


def _same(made: float | str | None, wanted: float | str) -> bool:
    if isinstance(made, float) and isinstance(wanted, float):
        return abs(made - wanted) < 1.1e-4  # one unit of the last decimal that engines compare
    return made == wanted


def _visit(facts: Facts, side: Side, book: Rulebook) -> dict[str, Any]:
    visit = {AGE_BAND: "age-band", PURPOSE: "purpose"}
    data: dict[str, Any] = {"reference": _MARK, **_under(visit, facts)}
    if SOCKS in facts:
        data["keeps"] = {"socks": facts[SOCKS]}
    if "growing" in facts:
        data["age-band"] = "child"
    data |= _under({"body-mass": "body-mass-kg"}, facts)
    pain = _pain(facts, side)
    if pain is not None:
        data["pain"] = pain
    if answers := {about(n).of: a for n, a in facts.items() if about(n).kind == "answer"}:
        data["answers"] = answers
    feet = {side: _foot(facts, book), **_other(facts, side, book)}
    data["feet"] = {name: foot for name, foot in feet.items() if foot}
    return data


def _under(keys: Mapping[str, str], facts: Facts) -> dict[str, Any]:
    """Those of some facts that are there, each under its key of a visit file."""
    return {key: facts[name] for name, key in keys.items() if name in facts}


def _pain(facts: Facts, side: Side) -> list[dict[str, Any]] | None:
    sites = {about(n).of: v for n, v in facts.items() if about(n).kind == "pain"}
    score, weeks = facts.get("pain-score"), facts.get("pain-weeks")
    if not sites and score is None and weeks is None:
        return None
    here = [site for site, value in sites.items() if value == "yes"]
    hurts = any(isinstance(v, float) and v > 0 for v in (score, weeks))
    if not here and not hurts:
        return []
    entry: dict[str, Any] = {"site": "", "side": side}
    if score is not None:
        entry["score"] = int(float(score))
    if weeks is not None:
        entry["weeks"] = weeks
    free = [s for s in ("hip", "back", "shin", "toes") if sites.get(s) != "no"]
    return [{**entry, "site": site} for site in here or free[:1]]


def _other(facts: Facts, side: Side, book: Rulebook) -> dict[str, Any]:
    """The other foot, only as far as differences between the feet ask for it."""
    other: dict[str, Any] = {}
    if "fpi-difference" in facts:
        other["fpi"] = {"total": int(_apart("fpi", "fpi-difference", facts, book))}
    for difference, field in (("peak-difference", "peak"), ("contact-difference", "contact")):
        if difference in facts:
            name = derivations(book.measures)[difference].parts[0]
            mine, gap = float(facts[name]), float(facts[difference])
            entry = {q: facts[part_of(name, q)] for q in ("gait", "reference")}
            other["rearfoot"] = [{**entry, field: [round(mine - gap, 4)]}]
    if "length-difference" in facts:
        length = _apart("foot-length", "length-difference", facts, book)
        other["foot_length_mm"] = round(length, 4)
    return {"right" if side == "left" else "left": other}


def _apart(name: str, difference: str, facts: Facts, book: Rulebook) -> float:
    """A reading of the other foot that differs by as much: the smaller one, where there can be."""
    mine, gap = float(facts[name]), float(facts[difference])
    return mine - gap if mine - gap >= book.measures[name].lowest else mine + gap


def _foot(facts: Facts, book: Rulebook) -> dict[str, Any]:
    foot: dict[str, Any] = {}
    if "fpi" in facts:
        if float(facts["fpi"]) % 1:
            raise ValueError("the FPI is a whole number")
        foot["fpi"] = {"total": int(float(facts["fpi"]))}
    foot |= _sizes(facts)
    foot |= _heights(facts, book)
    if "arch-index" in facts:
        foot["arch-index"] = {
            "value": facts["arch-index"],
            "kind": facts.get("arch-index_kind", "ink"),
            "load": facts.get("arch-index_load", "static"),
        }
    if rearfoot := list(_rearfoot(facts, book)):
        foot["rearfoot"] = rearfoot
    if cop := _under({"cop-pattern": "pattern", "cpei": "excursion-index-percent"}, facts):
        foot["cop"] = cop
    typed = dict(_typed(facts, book))
    return {**foot, "measures": typed} if typed else foot


def _typed(facts: Facts, book: Rulebook) -> Iterator[tuple[str, float]]:
    """Typed measures, and parts of what follows from typed ones alone."""
    for name, one in book.measures.items():
        if one.typed and name in facts:
            yield name, float(facts[name])
    for name, how in derivations(book.measures).items():
        if name not in facts or not all(book.measures[part].typed for part in how.parts):
            continue
        yield from _parts_of(how, float(facts[name]), facts, book)


def _parts_of(
    how: Derivation, value: float, facts: Facts, book: Rulebook
) -> Iterator[tuple[str, float]]:
    """Readings, within what can be written down, of which a derived measure has this value."""
    first, *others = [part for part in how.parts if part not in facts] or [""]
    if not first:
        return
    bounds = {part: (book.measures[part].lowest, book.measures[part].highest) for part in how.parts}
    for share in (1.0, 0.5, 0.0):
        usual = {p: low + share * (high - low) for p, (low, high) in bounds.items()}
        usual |= {part: float(facts[part]) for part in how.parts if part in facts}
        solved = _solved(how, first, value, usual)
        if bounds[first][0] <= solved <= bounds[first][1]:
            break
    yield from ((part, usual[part]) for part in others)
    yield first, solved


def _solved(how: Derivation, part: str, value: float, others: Mapping[str, float]) -> float:
    """What `part` is, where the derived measure has this value and its other parts are these."""
    if how.ratio:
        top, below = how.ratio
        return round(value * others[below] if part == top else others[top] / value, 6)
    if how.difference:
        top, less = how.difference
        return round(value + others[less] if part == top else others[top] - value, 6)
    return round(value - sum(v for name, v in others.items() if name != part), 6)


def _sizes(facts: Facts) -> dict[str, Any]:
    names = {"foot-length": "foot-length-mm", "forefoot-width": "forefoot-width-mm",
             "heel-width": "heel-width-mm"}  # fmt: skip
    out = _under(names, facts)
    ratios = {"width-ratio": "forefoot-width-mm", "heel-ratio": "heel-width-mm"}
    for name in facts.keys() & ratios.keys():
        length = float(out.setdefault("foot-length-mm", _LENGTH_MM))
        out.setdefault(ratios[name], round(float(facts[name]) * length, 6))
    return out


def _heights(facts: Facts, book: Rulebook) -> dict[str, Any]:
    out: dict[str, Any] = {}
    index = known_as("arch-rigidity", book.measures)
    ratio, rigidity = facts.get("arch-height-ratio"), facts.get(index)
    if ratio is not None or rigidity is not None:
        standing = round(float(0.34 if ratio is None else ratio) * _TRUNCATED_MM, 6)
        out["dorsum-height-mm"] = {"standing": standing}
        if rigidity is not None:
            readings = _strides(index, facts, book)
            out["dorsum-height-mm"] = {
                "standing": [standing] * len(readings),
                "sitting": [round(standing / reading, 6) for reading in readings],
            }
        if ratio is not None:
            out["truncated-foot-length-mm"] = _TRUNCATED_MM
    if "navicular-drop" in facts:
        drop = float(facts["navicular-drop"])
        out["navicular-height-mm"] = {"sitting": 40 + drop, "standing": 40.0}
    return out


def _rearfoot(facts: Facts, book: Rulebook) -> Iterator[dict[str, Any]]:
    if "standing-angle" in facts:
        reference = facts.get(part_of("standing-angle", "reference"), "vertical")
        yield {"gait": "standing", "reference": reference,
               "angle": _strides("standing-angle", facts, book)}  # fmt: skip
    for name, definition in book.measures.items():
        if definition.beside and name in facts:
            yield {**definition.beside, "peak": _strides(name, facts, book)}
    moving = [name for name in MOVING if name in facts]
    if not moving:
        return
    told = {q: [part_of(name, q) for name in moving] for q in ("gait", "reference")}
    words = {q: {facts[fact] for fact in some if fact in facts} for q, some in told.items()}
    if any(len(found) > 1 for found in words.values()):
        raise ValueError("phases of one film have one gait and one zero reference")
    entry: dict[str, Any] = {
        "gait": next(iter(words["gait"]), "walking"),
        "reference": next(iter(words["reference"]), "vertical"),
    }
    for field, name in OF_STRIDES.items():
        if name in facts:
            entry[field] = _strides(name, facts, book)
    if RETURN in facts:
        back = _strides(RETURN, facts, book)
        peak = entry.setdefault("peak", [_PEAK_DEG] * len(back))
        entry["propulsion"] = [round(p - b, 5) for p, b in zip(peak, back, strict=True)]
    yield entry


def _strides(name: str, facts: Facts, book: Rulebook) -> list[float]:
    """Readings whose mean is the value and whose scatter gives the margin asked for."""
    value = float(facts[name])
    margin = value - float(facts.get(part_of(name, "low"), value - smallest_margin(name, book)))
    floor = smallest_margin(name, book)
    if margin < floor - 5e-5:
        raise ValueError("no film is as sure as this")
    scatter = math.sqrt(max(0.0, margin**2 - floor**2)) / book.parameters.noise.clearly
    swing = scatter * math.sqrt(READINGS - 1)
    return [round(value + (swing if i % 2 else -swing), 5) for i in range(READINGS)]
