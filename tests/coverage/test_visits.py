"""The shop's own visits as the population, or as what moves it."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from recommend.coverage.crowd import Crowd, assumed_figures
from recommend.coverage.population import Population, load_population
from recommend.coverage.run import CoverageQuestion, answer
from recommend.coverage.visits import of_one, read_shop
from recommend.errors import InputError, RecommendError
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.infer.engine import engine_of
from recommend.match.shortlist import shortlist
from recommend.records.store import Store, ToRecord
from recommend.rulebook.book import Rulebook
from tests.coverage.test_agrees_with_one_visit import marked_wishes, serves

VISITS = shipped_folder("catalogue_demo") / "visits"


def test_the_shops_visits_alone_are_counted_as_the_counter_would(
    question: CoverageQuestion, book: Rulebook
) -> None:
    """Of the demo visits, as many are served as have a pair in stock that meets what is marked."""
    shop = read_shop(VISITS, book)
    crowd = replace(question.crowd, mode="shop", shop=shop)
    run = answer(replace(question, crowd=crowd), lambda _: lambda _a, _b: None)
    engine, served, open_ = engine_of(book), 0, 0
    for visit in shop.visits:
        seen = assess(visit, book, engine)
        open_ += not seen.stopped
        listed = shortlist(seen, book, question.catalogue)
        sized = "length-unknown" not in listed.unplaced
        both = (*listed.ranked["pair"], *(listed.without_place["pair"] if sized else ()))
        found = [c for c in both if c.parts[0].offered == "shop"]
        served += not seen.stopped and any(serves(c, marked_wishes()) for c in found)
    assert run.coverage.customers == len(shop.visits)
    assert run.coverage.served.value == pytest.approx(served / len(shop.visits))
    stopped = run.coverage.outcomes["stopped"].value
    assert stopped == pytest.approx(1 - open_ / len(shop.visits))
    assert run.scenarios == ()


def test_visits_move_the_population_and_the_report_says_how_many(
    population: Population, book: Rulebook
) -> None:
    """Drawn from both, the mean FPI lies between the publication and the shop."""
    shop = read_shop(VISITS, book)
    crowd = Crowd("both", population, 100, 1, shop)
    numbers = crowd.numbers(book)
    seen = np.nanmean([shop.customers.feet[side]["fpi"] for side in ("left", "right")])
    mean = numbers.mean[0, numbers.names.index("fpi")]
    assert min(2.9, seen) < mean < max(2.9, seen)
    assert crowd.visits == len(shop.visits)


def test_visits_come_from_a_record_store_as_well(tmp_path: Path, book: Rulebook) -> None:
    """The same visits, kept as records, give the same columns; one kept twice counts once."""
    shop = read_shop(VISITS, book)
    path = tmp_path / "kept.sqlite"
    plain = [visit.model_dump(mode="json", by_alias=True) for visit in shop.visits]
    with Store(path, write=True) as store:
        store.append_all(ToRecord({"visit": one}) for one in [*plain, plain[0]])
    kept = read_shop(path, book)
    assert len(kept.visits) == len(shop.visits)
    for side in ("left", "right"):
        expected, found = (s.customers.feet[side]["peak-angle"] for s in (shop, kept))
        assert np.array_equal(expected, found, equal_nan=True)


def test_stores_of_several_shops_in_one_folder_are_told_apart(
    tmp_path: Path, book: Rulebook
) -> None:
    """Two stores and a folder are three shops; one of them is looked at alone, another refused."""
    shop = read_shop(VISITS, book)
    plain = [visit.model_dump(mode="json", by_alias=True) for visit in shop.visits]
    for name, some in (("upper", plain[:5]), ("lower", plain[5:])):
        with Store(tmp_path / f"{name}.sqlite", write=True) as store:
            store.append_all(ToRecord({"visit": one}) for one in some)
    (tmp_path / "third").mkdir()
    shutil.copy(next(VISITS.glob("*.yaml")), tmp_path / "third")
    chain = read_shop(tmp_path, book)
    assert {name: chain.where.count(name) for name in chain.where} == {
        "lower": len(plain) - 5, "third": 1, "upper": 5,
    }  # fmt: skip
    alone = of_one(chain, "upper")
    assert [v.reference for v in alone.visits] == [v.reference for v in shop.visits[:5]]
    assert alone.customers.count == 5
    with pytest.raises(RecommendError, match="no shop is called `uppr`"):
        of_one(chain, "uppr")


def test_an_empty_folder_is_refused(tmp_path: Path, book: Rulebook) -> None:
    """No visits is not the same as nobody served."""
    with pytest.raises(InputError, match="no visit files are here"):
        read_shop(tmp_path, book)


def test_assumed_figures_are_counted_from_the_file(population: Population) -> None:
    """Every figure of the file is either known (published or derived) or not."""
    text = (shipped_folder("rules") / "population.yaml").read_text()
    lines = [line for line in text.splitlines() if not line.lstrip().startswith("#")]
    kinds = [part for line in lines for part in line.split("kind: ")[1:]]
    assumed, total = assumed_figures(population)
    known, rest = ("published", "derived"), ("assumption", "from-memory")
    named = [kind for kind in kinds if kind.startswith((*known, *rest))]
    assert total == len(named)
    assert total - assumed == sum(kind.startswith(known) for kind in named)


def test_every_source_of_the_population_is_in_the_bibliography(
    tmp_path: Path, book: Rulebook
) -> None:
    """The shipped file names known sources only; a misspelt one is refused where it stands."""
    shipped = shipped_folder("rules") / "population.yaml"
    load_population(shipped, book.sources)
    other = tmp_path / "population.yaml"
    other.write_text(shipped.read_text().replace("nielsen-2014", "nielson-2014", 1))
    with pytest.raises(InputError, match="`nielsen-2014`") as caught:
        load_population(other, book.sources)
    assert caught.value.place.line > 1


def test_few_visits_widen_the_interval(question: CoverageQuestion, book: Rulebook) -> None:
    """The interval of a population moved by thirteen visits holds their error beside drawing's."""
    widths = []
    for mode, shop in (("modelled", None), ("both", read_shop(VISITS, book))):
        crowd = replace(question.crowd, mode=mode, shop=shop, count=6000)
        run = answer(replace(question, crowd=crowd), lambda _: lambda _a, _b: None)
        widths.append(run.coverage.served.high - run.coverage.served.low)
    assert widths[1] > 1.1 * widths[0]
