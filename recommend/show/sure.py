"""How sure an outcome is, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from recommend.match.sureness import HowSure
from recommend.measure.definitions import number, unit_words
from recommend.measure.model import Side
from recommend.rulebook.book import Rulebook
from recommend.show.labels import LEVEL_WORDS, again_words
from recommend.whatif import Effect, NearestChange


def sure_line(sure: HowSure, book: Rulebook) -> str:
    """The short form: how often it holds if every reading were taken again, and which to take."""
    types, firsts = (_of_hundred(share) for share in (sure.types_hold, sure.choice))
    text = (
        f"How sure: if every reading were taken again, the kinds of feet hold in {types} of 100, "
        f"what to bring first in {firsts}."
    )
    return f"{text} {again_words(sure.repeat[0], book)}" if sure.repeat else text


def reading_words(side: Side | None, measure: str, book: Rulebook) -> str:
    """A reading: the measure for people, its id, and the foot unless it stands for both."""
    foot = f", {side}" if side else ""
    return f"{book.measures[measure].plain} ({measure}{foot})"


def sure_lines(sure: HowSure, book: Rulebook) -> Iterator[str]:
    """Everything the redraws tell, a line each."""
    yield (
        f"{sure.draws} redraws, each reading within its own error; seed {sure.seed[:12]}, a hash "
        "of the readings and the rulebook"
    )
    yield f"both foot types hold in {_of_hundred(sure.types_hold)} of 100"
    yield f"all notes hold in {_of_hundred(sure.notes_hold)} of 100"
    if sure.first:
        yield f"what to bring first holds in {_of_hundred(sure.choice)} of 100"
    yield f"all of it together holds in {_of_hundred(sure.holds)} of 100"
    for side, shares in sure.types.items():
        words = ", ".join(f"{name} {_of_hundred(share)}" for name, share in shares.items())
        yield f"foot type, {side}, of 100: {words}"
    for rule, share in sure.notes.items():
        yield f"note {rule}: due in {_of_hundred(share)} of 100"
    for group, tops in sure.top.items():
        yield f"{group}: the first group holds in {_of_hundred(sure.first[group])} of 100"
        for product, share in tops.items():
            yield f"{group} {product}: serves about as well as the best in {_of_hundred(share)}"
    for repeat in sure.repeat[:3]:
        gain = f"all would hold in {_of_hundred(repeat.held)} of 100 if it had no error"
        yield f"to settle more, repeat {reading_words(repeat.side, repeat.measure, book)}: {gain}"


def sure_data(sure: HowSure) -> dict[str, Any]:
    """The same for programs: shares from 0 to 1."""
    return {
        "draws": sure.draws,
        "seed": sure.seed,
        "holds": sure.holds,
        "foot-types-hold": sure.types_hold,
        "notes-hold": sure.notes_hold,
        "choice-holds": sure.choice,
        "foot-types": {side: dict(shares) for side, shares in sure.types.items()},
        "notes": dict(sure.notes),
        "first": dict(sure.first),
        "serve-about-alike": {group: dict(tops) for group, tops in sure.top.items()},
        "repeat": [
            {"foot": one.side, "measure": one.measure, "holds-without-its-error": one.held}
            for one in sure.repeat
        ],
    }


def change_lines(changes: tuple[NearestChange, ...], book: Rulebook) -> Iterator[str]:
    """The nearest changes, those that noise could bring about first; the others are counted."""
    far = book.parameters.sure.far
    shown = [one for one in changes if one.errors is not None and abs(one.errors) <= far]
    for one in shown:
        yield change_words(one, book)
    exact = [one for one in changes if one.errors is None]
    beyond = len(changes) - len(shown) - len(exact)
    if beyond:
        yield f"{beyond} more would take over {far:g} SE of the reading (--json lists them)"
    if exact:
        readings = dict.fromkeys(reading_words(c.side, c.measure, book) for c in exact)
        yield (
            f"{len(exact)} more would take another answer, where no error is reckoned: "
            f"{', '.join(readings)} (--json lists them)"
        )
    if not changes:
        yield "no single reading, however far, would alter a note, a foot type or a first product"


def change_words(change: NearestChange, book: Rulebook) -> str:
    """One nearest change: reading, how far in unit and errors, and what it would alter."""
    definition, unit = book.measures[change.measure], unit_words(change.unit)
    effects = "; ".join(effect_words(effect) for effect in change.effects)
    places = max(definition.decimals + 1, 2) if change.unit != "score" else 0
    errors = "" if change.errors is None else f", {change.errors:+.1f} SE"
    value = away(change.value, change.by > 0, places)
    was = number(change.was, definition.decimals)
    return (
        f"{reading_words(change.side, change.measure, book)} {was}{unit}"
        f" -> {value:.{places}f}{unit} ({value - change.was:+.{places}f}{errors}): {effects}"
    )


def effect_words(effect: Effect) -> str:
    """What a change alters, in a few words."""
    if effect.level:
        turns = "becomes due" if effect.after == "due" else "is no longer due"
        return f"{LEVEL_WORDS[effect.level]} {effect.alters} {turns}"
    return f"{effect.alters.replace('foot-type', 'foot type')} {effect.before} -> {effect.after}"


def away(value: float, upwards: bool, places: int) -> float:
    """`value` rounded away from the reading: what is shown must itself bring the change about."""
    factor: float = 10.0**places
    scaled = round(value * factor, 6)
    return (math.ceil(scaled) if upwards else math.floor(scaled)) / factor


def _of_hundred(share: float) -> str:
    """A share as so many of 100; 100 and 0 only when it is exactly so."""
    hundred = round(100 * share)
    if share < 1 and hundred == 100:
        return "over 99"
    if share > 0 and hundred == 0:
        return "under 1"
    return str(hundred)
