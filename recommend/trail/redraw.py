"""How sure: readings redrawn within their errors, and how often the outcome holds.

Each numeric reading is replaced by one drawn from a normal distribution around it with its
standard error; scores are rounded to whole numbers, as a fitter would write them, and no value
leaves what its measure can be. One reading of the person, such as the body weight, is drawn once
for both feet; apart from that readings are drawn independently of each other, also where two
share a reading (the height of the arch and its stiffness); left-right differences and width over
length are reckoned anew from what they follow from. Classes, such as the course of the load,
carry no error and stay.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.match.shortlist import Group
from recommend.measure.model import SIDES, Side
from recommend.trail.leaders import Leading, firsts_of
from recommend.trail.nearest import breakpoints
from recommend.trail.whatif import Floats, Key, Outcomes, WhatIf

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Repeat:
    """A reading that is worth taking again.

    Attributes
    ----------
    side, measure : which reading; no side when one reading stands for both feet.
    held : share of redraws in which the outcome would hold if this reading had no error.
    """

    side: Side | None
    measure: str
    held: float


@dataclass(frozen=True, slots=True)
class HowSure:
    """How often an outcome holds when its readings are redrawn within their errors.

    Attributes
    ----------
    draws : how many redraws; `seed` is the hash they were drawn from.
    holds : share in which both foot types, every note and the first product of each group hold.
    types_hold, notes_hold, firsts_hold : share in which both foot types, all notes, and the first
        products of all groups hold.
    types : by foot, the share of each foot type that occurred ('undetermined' among them).
    notes : by rule id, the share in which the note is due, for notes that were ever due.
    first : by group, the share in which the first product stays first.
    top : by group, by product, the share in which it is among the first three.
    repeat : readings worth taking again, the one that would settle most first.
    """

    draws: int
    seed: str
    holds: float
    types_hold: float
    notes_hold: float
    firsts_hold: float
    types: Mapping[Side, Mapping[str, float]]
    notes: Mapping[str, float]
    first: Mapping[Group, float]
    top: Mapping[Group, Mapping[str, float]]
    repeat: tuple[Repeat, ...]


def how_sure(whatif: WhatIf, seed: str, draws: int) -> HowSure:
    """Redraw the readings of a visit `draws` times.

    Parameters
    ----------
    seed : a hash in hexadecimal; the same seed gives the same redraws on every machine.
    """
    drawn = {key: _drawn(whatif, key, seed, draws) for key in whatif.readings()}
    drawn = {key: values for key, values in drawn.items() if _matters(whatif, key, values)}
    without = [{k: values for k, values in drawn.items() if k != key} for key in drawn]
    redrawn = [(readings, draws) for readings in (drawn, *without)]
    before, after, *others = whatif.together([({}, 1), *redrawn])
    holds = _same(before, after)
    exact = {key: float(_same(before, one).mean()) for key, one in zip(drawn, others, strict=True)}
    return HowSure(
        draws=draws,
        seed=seed,
        holds=float(holds.mean()),
        types_hold=float(_same_types(before, after).mean()),
        notes_hold=float(_same_notes(before, after).mean()),
        firsts_hold=float(_same_firsts(before, after).mean()),
        types={side: _type_shares(whatif, after.types[side]) for side in SIDES},
        notes={rule: float(due.mean()) for rule, due in after.notes.items() if due.any()},
        first=_first_shares(before, after),
        top=_top_shares(before, after),
        repeat=_repeats(whatif, exact, float(holds.mean())),
    )


def _drawn(whatif: WhatIf, key: Key, seed: str, draws: int) -> Floats:
    """Values of one reading; each has its own stream, so that one reading more changes no other.

    The legacy generator is used because its stream is promised never to change.
    """
    measure = whatif.measure(key)
    digest = hashlib.sha256(f"{seed}/{key[0]}/{key[1]}".encode()).digest()
    stream = np.random.RandomState(np.frombuffer(digest, dtype=">u4").astype(np.uint32))
    values = float(measure.value) + (measure.error or 0.0) * stream.standard_normal(draws)
    whole = np.rint(values) if measure.unit == "score" else values
    return np.clip(whole, *whatif.possible(key))


def _matters(whatif: WhatIf, key: Key, values: Floats) -> bool:
    """Whether any redrawn value reaches a limit in play; the others cannot change anything."""
    was = float(whatif.measure(key).value)
    low, high = min(was, values.min()), max(was, values.max())
    return any(low <= at <= high for at in breakpoints(whatif, key))


def _same(before: Outcomes, after: Outcomes) -> Bools:
    """(n,) whether all of the outcome is as it was."""
    return _same_types(before, after) & _same_notes(before, after) & _same_firsts(before, after)


def _same_types(before: Outcomes, after: Outcomes) -> Bools:
    same = [after.types[side] == before.types[side][0] for side in SIDES]
    return np.asarray(np.logical_and.reduce(same), np.bool_)


def _same_notes(before: Outcomes, after: Outcomes) -> Bools:
    same = [due == before.notes[rule][0] for rule, due in after.notes.items()]
    return np.asarray(np.logical_and.reduce(same), np.bool_)


def _same_firsts(before: Outcomes, after: Outcomes) -> Bools:
    firsts = firsts_of(before.case_of(0))
    return _where(after, lambda leading: firsts_of(leading) == firsts)


def _where(outcomes: Outcomes, test: Callable[[Leading], bool]) -> Bools:
    """(n,) whether `test` is true of the products that lead."""
    answers = np.array([test(leading) for leading in outcomes.cases])
    return np.asarray(answers[outcomes.case], np.bool_)


def _type_shares(whatif: WhatIf, codes: NDArray[np.int8]) -> dict[str, float]:
    names = [*whatif.book.types, "undetermined"]  # code -1 is the last one
    found, counts = np.unique(codes, return_counts=True)
    shares = {names[code]: float(n / len(codes)) for code, n in zip(found, counts, strict=True)}
    return dict(sorted(shares.items(), key=lambda item: (-item[1], item[0])))


def _first_shares(before: Outcomes, after: Outcomes) -> dict[Group, float]:
    """How often the first product of each group stays first."""

    def stays(group: Group, first: str) -> float:
        return float(_where(after, lambda lead: firsts_of(lead).get(group) == first).mean())

    return {group: stays(group, first) for group, first in firsts_of(before.case_of(0)).items()}


def _top_shares(before: Outcomes, after: Outcomes) -> dict[Group, dict[str, float]]:
    """How often each of the leading products of each group stays among them."""

    def stays(group: Group, product: str) -> float:
        return float(_where(after, lambda lead: product in lead.get(group, ())).mean())

    leading = before.case_of(0).items()
    return {group: {one: stays(group, one) for one in ids} for group, ids in leading}


def _repeats(whatif: WhatIf, exact: Mapping[Key, float], held: float) -> tuple[Repeat, ...]:
    """Readings by how much surer the outcome were without their error; gainless ones left out."""
    found = [
        Repeat(whatif.foot_of(key), key[1], share) for key, share in exact.items() if share > held
    ]
    return tuple(sorted(found, key=lambda one: (-one.held, one.side or "", one.measure)))
