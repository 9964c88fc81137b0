"""The visits that a shop kept, and what their trials teach: observations gathered, effects learned.

Kept visits stand in a folder of visit files, or in the record store.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import fmean

from recommend.catalogue.loading import Catalogue, Item
from recommend.catalogue.shop import open_visit
from recommend.cluster import pieces
from recommend.errors import InputError, Place
from recommend.match.out import OWN
from recommend.measure.model import SIDES
from recommend.records.keeping import Archive
from recommend.records.store import SHORTLIST, Store
from recommend.rulebook.book import Rulebook
from recommend.trial.effects import (
    Check,
    Learned,
    ObservedChange,
    PooledProduct,
    Prior,
    check_of,
    learn,
)
from recommend.trial.judged_steps import StepResult, judge_trial
from recommend.trial.steps import LEARNED, ReadingKey
from recommend.visit.models import Visit
from recommend.visit.shelf import DRAFTS

_SUFFIXES = (".yaml", ".yml", ".json")
STORES = (".sqlite", ".sqlite3", ".db")


def kept_visits(path: Path, book: Rulebook) -> tuple[Visit, ...]:
    """The visits of a folder of visit files (and its folders), or of a record store.

    A folder may hold the stores of several shops as well. Of a visit that was recorded several
    times the last record counts; what was forgotten on request is left out.

    Raises
    ------
    InputError
        If there is nothing of that name, no visit in it, or a file that does not fit: a visit
        that is silently left out would shift what is learned.
    """
    return tuple(visit for visits in kept_by_shop(path, book).values() for visit in visits)


def kept_by_shop(path: Path, book: Rulebook) -> dict[str, tuple[Visit, ...]]:
    """The same by shop: each store in a folder is one, and each folder in it; '' for the rest."""
    if not os.path.isdir(path):  # what cannot be a path is refused as a store is
        found = {"": _of_store(path)}
    else:
        named = (file for file in path.rglob("*") if file.suffix in _SUFFIXES)
        files = sorted(file for file in named if file.parent.name != DRAFTS)
        stores = sorted(file for file in path.rglob("*") if file.suffix in STORES)
        if not files and not stores:
            raise InputError(Place(str(path)), "no visit files are here", ", ".join(_SUFFIXES))
        by_folder: dict[str, list[Visit]] = {}
        for file in files:
            inside = file.relative_to(path).parts
            one = open_visit(file, book)
            by_folder.setdefault(inside[0] if len(inside) > 1 else "", []).append(one)
        found = {shop: tuple(visits) for shop, visits in sorted(by_folder.items())}
        for store in stores:
            found[store.stem] = (*found.get(store.stem, ()), *_of_store(store))
    if not any(found.values()):
        raise InputError(Place(str(path)), "no kept visits are here", "visit files or records")
    return found


def _of_store(path: Path) -> tuple[Visit, ...]:
    visits: dict[str, Visit] = {}
    with Store(path) as store:
        archive = Archive(store)
        for record in store.records():
            if record.kind == SHORTLIST and store.private(record) is not None:
                visit = archive.visit(record)
                # Without a date nothing says that two records are of one visit but their content.
                when = visit.date or visit.model_dump_json()
                visits[f"{visit.reference} {when}"] = visit
    return tuple(visits.values())


PIECE = 200  # visits judged together
PUBLISHED = ("peak", "contact")  # readings that published effects are of
Kind = tuple[str, str]  # gait and reading: effects in walking say nothing certain of running


@dataclass
class TriedTally:
    """How often a product was tried, and how its feet did with it on.

    Attributes
    ----------
    visits : visits in which it was tried.
    feet : feet that were judged with it on.
    landed : of these, feet with every reading within its band.
    over : of these, feet that were over-corrected.
    """

    visits: set[str] = field(default_factory=set)
    feet: int = 0
    landed: int = 0
    over: int = 0


@dataclass(frozen=True, slots=True)
class ShopTrials:
    """Everything learned from a shop's trials.

    Attributes
    ----------
    visits : how many visits with a trial it stands on.
    learned : effects by gait and reading; gaits that were never tried are absent.
    checks : whether those foretell visits that they have not seen, by gait and reading.
    tallies : by gait and product id.
    unknown : ids that were tried and are not in the catalogue any more; left out.
    doubtful : steps left out because a foot changed by more than footwear is known to bring about.
    """

    visits: int
    learned: Mapping[Kind, Learned]
    checks: Mapping[Kind, Check]
    tallies: Mapping[tuple[str, str], TriedTally]
    unknown: frozenset[str]
    doubtful: int


def shop_of(visits: Iterable[Visit], book: Rulebook, catalogue: Catalogue) -> ShopTrials:
    """Learn from all trials of these visits.

    Parameters
    ----------
    visits : kept visits; those without a trial teach nothing.
    book, catalogue : bands, parameters ``trial.prior-*``, and attributes of the products.

    Raises
    ------
    InputError
        If a step was measured against another zero reference than the bare foot.
    """
    gathering = _Gathering(catalogue)
    count = 0
    tried = [(number, visit) for number, visit in enumerate(visits) if visit.trials]
    parts = [[visit for _, visit in tried[at : at + PIECE]] for at in range(0, len(tried), PIECE)]
    results = (one for part in pieces(results_of, (((book,), (p,)) for p in parts)) for one in part)
    for (number, visit), found in zip(tried, results, strict=True):
        count += 1
        name = f"{number} {visit.reference}"  # joined shops may use the same codes
        for result in found:
            gathering.add(name, result)
    learned, checks = {}, {}
    confidence, least = book.parameters.trial.confidence, book.parameters.trial.check_least
    for kind, seen in gathering.observed.items():
        of_it = {item_of(catalogue.by_id[p], book, kind[1]) for o in seen for p in o.products}
        items, prior = sorted(of_it, key=lambda i: i.id), prior_of(book, kind[1])
        learned[kind] = learn(items, seen, prior)
        checks[kind] = check_of(items, seen, prior, confidence, least)
    unknown = frozenset(gathering.unknown)
    return ShopTrials(count, learned, checks, gathering.tallies, unknown, gathering.doubtful)


def results_of(book: Rulebook, visits: Iterable[Visit]) -> list[Sequence[StepResult]]:
    """What each step of each visit's trial changed; a piece of the work of a cluster."""
    return [judge_trial(visit, book).results for visit in visits]


def prior_of(book: Rulebook, reading: str) -> Prior:
    """What is believed of a reading before any trial.

    The published effects are of peak eversion. For the other readings no effect was found
    published: their prior is centred on none.
    """
    p = book.parameters
    known = reading in PUBLISHED
    return Prior(
        mean={
            "shoe": p.trial.prior_shoe if known else 0.0,
            "insole": p.trial.prior_insole if known else 0.0,
        },
        kind_sd=p.trial.prior_kind_sd,
        profile_sd=p.trial.prior_profile_sd,
        product_sd=p.trial.prior_product_sd,
        person_sd=p.trial.prior_person_sd,
        person_weight=p.trial.prior_person_weight,
    )


def item_of(ware: Item, book: Rulebook, reading: str) -> PooledProduct:
    """A product with its attribute profile, and what published work expects of that profile.

    Insoles of one profile have the same medial arch support and about the same wedge; shoes of
    one profile resist rolling inwards alike. What a maker does not state makes a profile of its
    own and expects nothing further. A shoe that resists as much as a shoe can is expected to do
    what motion-control shoes did; the steps below it, their share of that (an assumption).
    """
    p = book.parameters
    offset = 0.0
    if ware.product.kind == "insole":
        wedge, arch = ware.levels.get("insole.wedge"), ware.levels.get("insole.arch-medial")
        step = p.trial.profile_wedge_step
        profile = f"wedge {'?' if wedge is None else round(wedge / step)}, arch {arch}"
        if wedge is not None:
            offset = p.trial.prior_per_wedge * (wedge - p.trial.prior_insole_wedge)
    else:
        stability = ware.levels.get("shoe.stability")
        profile = f"stability {stability}"
        strongest = len(book.attributes["shoe.stability"].scale) - 1
        if stability is not None:
            offset = p.trial.prior_motion_control * stability / strongest
    return PooledProduct(
        ware.id, ware.product.kind, profile, offset if reading in PUBLISHED else 0.0
    )


@dataclass
class _Gathering:
    """Observations by gait and phase, collected visit by visit."""

    catalogue: Catalogue
    observed: dict[Kind, list[ObservedChange]] = field(default_factory=lambda: defaultdict(list))
    tallies: dict[tuple[str, str], TriedTally] = field(
        default_factory=lambda: defaultdict(TriedTally)
    )
    unknown: set[str] = field(default_factory=set)
    doubtful: int = 0

    def add(self, visit: str, result: StepResult) -> None:
        """Add what one step of one visit shows of the products that it added."""
        added = [p for p in result.step.products if p not in result.parent.products]
        gone = {p for p in added if p not in self.catalogue.by_id}
        self.unknown |= gone
        # The own shoe against barefoot is no product's effect, nor is own shoe and insole at once.
        mixed = result.step.shoe == OWN and result.parent.barefoot
        if gone or not added or mixed:
            return
        if any(judged.doubtful for judged in result.part.values()):
            self.doubtful += 1
            return
        kinds = dict.fromkeys((k.gait, k.reading) for k in result.part if k.reading in LEARNED)
        for kind in kinds:
            self.observed[kind].append(_observed(visit, tuple(added), result, kind))
        for gait in dict.fromkeys(gait for gait, _ in kinds):
            for product in added:
                _count(self.tallies[gait, product], visit, gait, result)


def _count(tally: TriedTally, visit: str, gait: str, result: StepResult) -> None:
    """Count the feet of one step; a foot without any band to land in is not counted."""
    tally.visits.add(visit)
    over = {one.side if isinstance(one, ReadingKey) else one for one in result.over}
    for side in SIDES:
        judged = [j for k, j in result.whole.items() if (k.side, k.gait) == (side, gait)]
        outside = [j.residual for j in judged if j.band]
        if outside:
            tally.feet += 1
            tally.over += side in over
            tally.landed += side not in over and not any(outside)


def _observed(visit: str, added: tuple[str, ...], result: StepResult, kind: Kind) -> ObservedChange:
    """The two feet of a person as one observation: the mean of their changes."""
    feet = [j.change for k, j in result.part.items() if (k.gait, k.reading) == kind]
    variance = sum(c.variance for c in feet)
    return ObservedChange(visit, added, fmean(c.value for c in feet), variance / len(feet) ** 2)
