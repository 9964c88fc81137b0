"""A chain's feet in Parquet give the same answer on a cluster as on one machine."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.coverage.crowd import crowd_of
from recommend.coverage.population import Population
from recommend.coverage.run import CoverageQuestion, answer
from recommend.coverage.sampling import Customers, Sampler, Words
from recommend.coverage.tally import FactColumns, add, cases_of_customers, tally
from recommend.errors import InputError, RecommendError
from recommend.match.sizes import SizeClasses
from recommend.rulebook.book import Rulebook
from recommend.show.coverage import _when

pandas = pytest.importorskip("pandas")
distributed = pytest.importorskip("distributed")
pytest.importorskip("pyarrow")
from recommend.coverage.parquet import columns_of, tally_parquet  # noqa: E402 - needs the extra


def frame_of(customers: Customers, book: Rulebook) -> "pandas.DataFrame":
    """A table of drawn customers with a column for each thing told of them and of their feet."""
    columns = dict(customers.own)
    for side, foot in customers.feet.items():
        columns |= {f"{side}.{name}": foot[name] for name in book.measures if name in foot}
    plain = {n: c.texts().astype(object) if isinstance(c, Words) else c for n, c in columns.items()}
    return pandas.DataFrame(plain)


def test_a_local_cluster_counts_exactly_as_one_machine(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Four files over two workers: the same cases, the same counts."""
    drawn = Sampler(population).block(9, 0, 4000)
    sizes = SizeClasses(catalogue.items, book.parameters)
    frame = frame_of(drawn, book)
    for part in range(4):
        frame.iloc[part::4].to_parquet(tmp_path / f"{part}.parquet")
    expected = tally(cases_of_customers(book, FactColumns(book, population), drawn, sizes))
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster),
    ):
        found = add(tally_parquet(tmp_path, book, population, sizes).values())
    assert np.array_equal(found.cases, expected.cases)
    assert np.array_equal(found.counts, expected.counts)


def test_a_chain_is_counted_shop_by_shop_and_its_days_are_told(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Rows of two shops in two files: each is counted as if it were alone; another is refused."""
    drawn = Sampler(population).block(9, 0, 900)
    sizes = SizeClasses(catalogue.items, book.parameters)
    shops = np.where(np.arange(900) % 3 == 0, "upper", "lower")
    days = [f"2024-{1 + n % 6:02d}-11" for n in range(900)]
    frame = frame_of(drawn, book).assign(shop=shops, date=days)
    for part in range(2):
        frame.iloc[part::2].to_parquet(tmp_path / f"{part}.parquet")
    crowd = crowd_of(book, None, None, 1, 1, tmp_path)
    assert crowd.read.unread == ()
    found = crowd.by_shop(book, sizes)
    facts = FactColumns(book, population)
    for shop in ("upper", "lower"):
        alone = drawn.only(np.flatnonzero(shops == shop))
        expected = tally(cases_of_customers(book, facts, alone, sizes))
        assert np.array_equal(found[shop].cases, expected.cases)
        assert np.array_equal(found[shop].counts, expected.counts)
    assert set(replace(crowd, place="upper").by_shop(book, sizes)) == {"upper"}
    with pytest.raises(RecommendError, match=r"no shop is called `uper`.*`upper`"):
        replace(crowd, place="uper").by_shop(book, sizes)
    words = _when(crowd, date(2026, 3, 1))
    span = "2024-01-11 to 2024-06-11, the newest 21 months old"
    assert words == f" ({span}; none from months 7-9, 10-12)"
    run = answer(
        CoverageQuestion(book, catalogue, crowd, sensitivity=False), lambda _: lambda _a, _b: None
    )
    mean = sum(run.shops[s].value * (shops == s).mean() for s in ("upper", "lower"))
    assert mean == pytest.approx(run.coverage.served.value)


def test_differences_and_ratios_need_not_be_in_the_table(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """What follows from other columns by definition is computed where the table lacks it."""
    drawn = Sampler(population).block(9, 0, 500)
    sizes = SizeClasses(catalogue.items, book.parameters)
    lean = frame_of(drawn, book)
    assert not {"left.fpi-difference", "right.width-ratio"} & set(lean)
    lean.to_parquet(tmp_path / "lean.parquet")
    frame = lean.copy()
    for side in ("left", "right"):
        frame[f"{side}.width-ratio"] = lean[f"{side}.forefoot-width"] / lean[f"{side}.foot-length"]
        frame[f"{side}.fpi-difference"] = (lean["left.fpi"] - lean["right.fpi"]).abs()
    frame.to_parquet(tmp_path / "whole.parquet")
    whole, without = (
        tally_parquet(tmp_path / f"{name}.parquet", book, population, sizes)[""]
        for name in ("whole", "lean")
    )
    assert np.array_equal(whole.cases, without.cases)


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [("left.cop-pattern", "centre", "`central`"), ("purpose", "dancing", "walking, running")],
)
def test_a_strange_word_is_refused(
    tmp_path: Path,
    population: Population,
    book: Rulebook,
    catalogue: Catalogue,
    column: str,
    value: str,
    words: str,
) -> None:
    """A word outside the vocabulary is not taken for missing."""
    frame = frame_of(Sampler(population).block(9, 0, 5), book)
    frame.loc[2, column] = value
    frame.to_parquet(tmp_path / "one.parquet")
    sizes = SizeClasses(catalogue.items, book.parameters)
    with pytest.raises(InputError, match=words):
        tally_parquet(tmp_path / "one.parquet", book, population, sizes)


def test_what_is_no_parquet_is_refused(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """A text file, a missing one and an empty table give one sentence each."""
    (tmp_path / "text.parquet").write_text("left.fpi\n3\n")
    sizes = SizeClasses(catalogue.items, book.parameters)
    with pytest.raises(InputError, match="not Parquet"):
        tally_parquet(tmp_path / "text.parquet", book, population, sizes)
    with pytest.raises(InputError, match="no such file"):
        tally_parquet(tmp_path / "none.parquet", book, population, sizes)
    frame_of(Sampler(population).block(9, 0, 5), book)[:0].to_parquet(tmp_path / "empty.parquet")
    with pytest.raises(InputError, match="no customers"):
        tally_parquet(tmp_path / "empty.parquet", book, population, sizes)


def test_columns_that_are_not_read_are_named_and_needed_ones_stop(
    tmp_path: Path, population: Population, book: Rulebook
) -> None:
    """`Purpose` is not `purpose`: the run stops and names it; other strangers are told apart."""
    frame = frame_of(Sampler(population).block(9, 0, 5), book)
    path = tmp_path / "one.parquet"
    frame.rename(columns={"purpose": "Purpose"}).to_parquet(path)
    with pytest.raises(InputError, match="Rename the column `Purpose`"):
        columns_of(path, book)
    frame.rename(columns={"left.foot-length": "left_foot_length"}).to_parquet(path)
    with pytest.raises(InputError, match="Rename the column `left_foot_length`"):
        columns_of(path, book)
    frame.rename(columns={"left.fpi": "left_fpi"}).assign(colour="red").to_parquet(path)
    found = columns_of(path, book)
    assert found.unread == (("left_fpi", "left.fpi"), ("colour", ""))
    assert "right.fpi" in found.read
    frame.drop(columns=["left.fpi", "right.fpi"]).to_parquet(path)
    assert "fpi" in columns_of(path, book).absent


def test_centimetres_are_refused_with_the_row(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """A length that no foot has in millimetres is not counted as a size that is not made."""
    frame = frame_of(Sampler(population).block(9, 0, 5), book)
    frame["left.foot-length"] /= 10
    frame.to_parquet(tmp_path / "one.parquet")
    sizes = SizeClasses(catalogue.items, book.parameters)
    with pytest.raises(InputError, match=r"row 0 holds .*centimetres; multiply by 10"):
        tally_parquet(tmp_path / "one.parquet", book, population, sizes)
