"""How sure an outcome is, in words."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.measure.definitions import unit_words
from recommend.rulebook.book import Rulebook
from recommend.trail.nearest import Change
from recommend.trail.redraw import HowSure, Repeat


def sure_line(sure: HowSure, book: Rulebook) -> str:
    """The short form: 'holds in 94 of 100 redraws; re-measure ... first'."""
    text = f"The outcome holds in {_of_hundred(sure.holds)} redraws of the readings within error"
    if sure.repeat:
        return f"{text}; re-measure {repeat_words(sure.repeat[0], book)} first."
    return f"{text}."


def repeat_words(repeat: Repeat, book: Rulebook) -> str:
    """A reading to take again: the measure for people, and the foot."""
    return f"{book.measures[repeat.measure].plain} ({repeat.measure}, {repeat.side})"


def sure_lines(sure: HowSure, book: Rulebook) -> Iterator[str]:
    """Everything the redraws tell, a line each."""
    yield f"{sure.draws} redraws, seed {sure.seed[:12]}: each reading within its own error"
    yield f"all of it (types, notes, first products) holds in {_of_hundred(sure.holds)}"
    for side, shares in sure.types.items():
        words = ", ".join(f"{name} {_of_hundred(share)}" for name, share in shares.items())
        yield f"foot type, {side}: {words}"
    for rule, share in sure.notes.items():
        yield f"note {rule}: due in {_of_hundred(share)}"
    for group, tops in sure.top.items():
        for rank, (product, share) in enumerate(tops.items()):
            stays = f"stays in the first three in {_of_hundred(share)}"
            if rank == 0:
                stays = f"stays first in {_of_hundred(sure.first[group])}, {stays}"
            yield f"{group} {product}: {stays}"
    for repeat in sure.repeat[:3]:
        gain = f"{_of_hundred(repeat.held)} if it had no error"
        yield f"to settle more, repeat {repeat_words(repeat, book)}: {gain}"


def change_lines(changes: tuple[Change, ...], book: Rulebook) -> Iterator[str]:
    """The nearest changes, those that noise could bring about first."""
    far = book.parameters["sure.far"]
    shown = [one for one in changes if one.errors is not None and abs(one.errors) <= far]
    for one in shown:
        yield change_words(one, book)
    left = len(changes) - len(shown)
    if left:
        yield f"{left} more would take over {far:g} SE, or a reading without error"
    if not changes:
        yield "no single reading, however far, would alter a foot type or a first product"


def change_words(change: Change, book: Rulebook) -> str:
    """One nearest change: reading, how far in unit and errors, and what it would alter."""
    definition, unit = book.measures[change.measure], unit_words(change.unit)
    places = max(definition.decimals + 1, 2) if change.unit != "score" else 0
    errors = "" if change.errors is None else f", {change.errors:+.1f} SE"
    return (
        f"{definition.plain} ({change.measure}, {change.side}) {change.was:.{places}f}{unit}"
        f" -> {change.value:.{places}f}{unit} ({change.by:+.{places}f}{errors}): "
        f"{change.alters} {change.before} -> {change.after}"
    )


def _of_hundred(share: float) -> str:
    """A share as so many of 100; 'all' and 'none' only when it is exactly so."""
    hundred = round(100 * share)
    if share < 1 and hundred == 100:
        return "over 99 of 100"
    if share > 0 and hundred == 0:
        return "under 1 of 100"
    return f"{hundred} of 100"
