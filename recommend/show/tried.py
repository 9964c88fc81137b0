"""The shortlist with what was measured, at the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from recommend.match.shortlist import Candidate, Group
from recommend.match.worn import step_id
from recommend.show.layout import heading, inset
from recommend.show.letters import names_of
from recommend.show.trial_words import outside_words
from recommend.trial.outcome import TrialOutcome
from recommend.trial.tried import Tried

_TITLES: dict[Group, str] = {"pair": "Shoe with insole", "shoe": "Shoes", "insole": "Insoles"}


def shortlist_blocks(one: TrialOutcome) -> Iterator[RenderableType]:
    """Each group in its new order, with what was measured."""
    if one.shortlist is None:
        return
    yield heading("Shortlist with what was measured")
    shown = one.outcome.book.parameters.rank.shown
    names = names_of(one.outcome)
    tried = {t.id.removeprefix("own+"): t for t in one.ranking.tried}
    for group, title in _TITLES.items():
        ranked = one.shortlist.ranked[group]
        yield inset(f"{title}, {len(ranked)} suitable and in stock", 2, "bold")
        for place, candidate in enumerate(ranked[:shown], 1):
            yield inset(Text(f"{place}. {names.worn(candidate.id)}; {_state(candidate, tried)}"), 4)
        late = [c for c in ranked[shown:] if step_id(c.id) in tried]
        for candidate in late:
            place = ranked.index(candidate) + 1
            yield inset(f"{place}. {names.worn(candidate.id)}; {_state(candidate, tried)}", 4)


def _state(candidate: Candidate, tried: dict[str, Tried]) -> str:
    known = tried.get(step_id(candidate.id))
    if known is None:
        return "not tried"
    if known.bars:
        against = ", ".join(bar.value.replace("-", " ") for bar in known.bars)
        return f"tried: {against}"
    return f"tried: {outside_words(known.result)}"
