"""The best of what was tried, and the shortlist with what was measured, at the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from recommend.errors import counted
from recommend.match.shortlist import Candidate, Group
from recommend.show.layout import bullet, heading, inset
from recommend.show.trial_words import bar_words, worn_words
from recommend.trial.outcome import TrialOutcome
from recommend.trial.tried import Tried

_TITLES: dict[Group, str] = {"pair": "Shoe with insole", "shoe": "Shoes", "insole": "Insoles"}


def best_blocks(one: TrialOutcome) -> Iterator[RenderableType]:
    """The best combination with its reason, or none of these; and what bars the others."""
    best = one.ranking.best
    yield heading("Best of what was tried")
    if best is None:
        yield inset("None of these: see what stands against each.", 2, "bold")
    else:
        yield inset(worn_words(best.result.step), 2, "bold")
        yield inset(best_reason(best, one), 2)
    for tried in one.ranking.tried:
        if tried.bars:
            book, against = one.outcome.book, one.against.get(tried.id, "")
            words = "; ".join(bar_words(bar, tried.result, against, book) for bar in tried.bars)
            yield bullet(f"not {worn_words(tried.result.step)}: {words}")
    if best is None:
        yield inset(_next_words(one), 2)


def best_reason(best: Tried, one: TrialOutcome) -> str:
    """Why this combination is the best of those tried, in a few sentences."""
    result = best.result
    told = sum(judged.change.told for judged in result.whole.values())
    text = (
        f"{_outside(best)} on average over {counted(best.readings, 'reading')}; "
        f"{told} of {len(result.whole)} changed beyond noise"
    )
    text += f"; comfort {result.comfort:.1f} of 10." if result.comfort is not None else "."
    others = [tried for tried in one.ranking.tried if tried is not best and not tried.bars]
    if not others:
        return f"{text} Nothing else that was tried has nothing against it."
    weighed = "comfort weighed in" if best.with_comfort else "comfort not asked for all"
    text += f" Next: {worn_words(others[0].result.step)}, {_outside(others[0])} ({weighed})."
    pair = {best.id: best, others[0].id: others[0]}
    for one_, other in (tuple(pair), tuple(pair)[::-1]):
        if pair[one_].result.parent.id == other:
            part = pair[one_].result.part.values()
            apart = sum(judged.change.told for judged in part)
            readings = counted(len(part), "reading")
            text += f" Between the two, {apart} of {readings} differ beyond noise."
    return text


def _outside(tried: Tried) -> str:
    if tried.residual is None:
        return "no reading has a band"
    return f"{tried.residual:.1f}° outside the band" if tried.residual else "within the band"


def _next_words(one: TrialOutcome) -> str:
    tried = {t.id for t in one.ranking.tried}
    groups: tuple[Group, ...] = ("pair", "shoe")
    ranked = one.shortlist.ranked if one.shortlist else {}
    fresh = [[c.id for c in ranked.get(g, ()) if c.id not in tried][:2] for g in groups]
    names = [name for group in fresh for name in group]
    if names:
        return f"See next on the shortlist: {', '.join(names)}."
    return "Nothing suitable is left to try in this size; where it troubles, see a clinician."


def shortlist_blocks(one: TrialOutcome) -> Iterator[RenderableType]:
    """Each group in its new order, with what was measured."""
    if one.shortlist is None:
        return
    yield heading("Shortlist with what was measured")
    shown = int(one.outcome.book.parameters["rank.shown"])
    tried = {t.id.removeprefix("own+"): t for t in one.ranking.tried}
    for group, title in _TITLES.items():
        ranked = one.shortlist.ranked[group]
        yield inset(f"{title}, {len(ranked)} suitable and in stock", 2, "bold")
        for place, candidate in enumerate(ranked[:shown], 1):
            line = Text(f"{place}. {candidate.id}, {_state(candidate, tried)}")
            yield inset(line, 4)
        late = [c for c in ranked[shown:] if c.id in tried]
        for candidate in late:
            yield inset(
                f"{ranked.index(candidate) + 1}. {candidate.id}, {_state(candidate, tried)}", 4
            )


def _state(candidate: Candidate, tried: dict[str, Tried]) -> str:
    known = tried.get(candidate.id)
    if known is None:
        return f"score {candidate.score:.0f}, not tried"
    if known.bars:
        against = ", ".join(bar.value.replace("-", " ") for bar in known.bars)
        return f"score {candidate.score:.0f}, tried: {against}"
    return f"score {candidate.score:.0f}, tried: {_outside(known)}"
