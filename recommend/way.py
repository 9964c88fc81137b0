"""The whole way, from what was measured to what to bring: read it here first.

    visit -> measures -> conclusions -> needs -> redraws -> shortlist -> outcome

Each stage stands in a room of its own and is called from here, not by the stage before it.
"""

from __future__ import annotations

from recommend.catalogue.loading import Catalogue
from recommend.infer.assess import concluded
from recommend.infer.engine import Engine, engine_of
from recommend.infer.variations import Variations
from recommend.match.cases import Cases, cases_with
from recommend.match.needs import needs_of
from recommend.match.outcome import Outcome
from recommend.match.shortlist import needs_fired, ranking_of, shortlist
from recommend.measure.observed import observe
from recommend.rulebook.book import Rulebook
from recommend.visit.models import Visit


def outcome_of(
    visit: Visit, book: Rulebook, catalogue: Catalogue, engine: Engine | None = None
) -> Outcome:
    """Take a visit through the whole way; a stop withholds the shortlist.

    Raises
    ------
    ContradictionError
        If the rulebook contradicts itself on one of the feet.
    """
    observed = observe(visit, book.measures, book.parameters)
    assessment = concluded(visit, observed, engine or engine_of(book))
    if assessment.stopped:
        return Outcome(assessment, None, book, catalogue)
    needs = needs_of(book, needs_fired(assessment))
    variations = Variations(assessment, book)
    redrawn = redrawn_cases(variations, catalogue)
    ranked = shortlist(assessment, book, catalogue, needs, redrawn)
    return Outcome(assessment, ranked, book, catalogue, variations)


def redrawn_cases(variations: Variations, catalogue: Catalogue) -> Cases | None:
    """What the visit comes to when its readings are redrawn within their errors.

    None under earlier rulebooks, whose order asked nothing of redraws.
    """
    book = variations.book
    if book.parameters.rank.width is None:
        return None
    visit = variations.assessment.visit
    ranking = ranking_of(book, catalogue, visit)
    draws = book.parameters.sure.draws
    edges = ranking.length_edges(visit)
    readings = variations.redrawn(variations.seed, draws, edges)
    return cases_with(ranking, variations, readings, draws)[1]
