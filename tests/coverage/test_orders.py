"""Pieces to order: demand, the newsvendor's answer, packs, budgets, and a chain's stock."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue import Catalogue, Item
from recommend.catalogue.models import Supply
from recommend.catalogue.stacking import read_counts, read_shops, together
from recommend.coverage.orders import Demand, demand_of, orders_for, with_sales
from recommend.coverage.report import Assessor
from recommend.coverage.run import CoverageQuestion
from recommend.errors import InputError
from recommend.rulebook.book import Rulebook

stats = pytest.importorskip("scipy.stats")


@pytest.mark.parametrize("mean", [0.02, 0.7, 4.0, 37.5, 900.0])
@pytest.mark.parametrize("shape", [None, 0.4, 3.0, 60.0])
def test_pieces_and_lost_customers_are_those_of_scipy(mean: float, shape: float | None) -> None:
    """Poisson and gamma-Poisson demand: quantile and expected loss against scipy.stats."""
    demand = Demand(mean, shape)
    gamma = None if shape is None else stats.nbinom(shape, shape / (shape + mean))
    peer = gamma or stats.poisson(mean)
    for service in (0.5, 0.8, 0.9, 0.975):
        assert demand.enough(service) == max(0, int(peer.ppf(service)))
    for pieces in (0, 1, 3, int(mean), int(2 * mean) + 5):
        asked = np.arange(int(peer.ppf(1 - 1e-13)) + 200)
        vain = float((np.maximum(0, asked - pieces) * peer.pmf(asked)).sum())
        assert demand.lost(pieces) == pytest.approx(vain, rel=1e-6, abs=1e-8)


def test_a_newsvendor_with_a_margin_orders_by_the_critical_ratio() -> None:
    """Underage 1, overage 3: the ratio is 1 / (1 + 3) and the best number the quantile at it.

    Checked by trying every number against the expected profit, with scipy's Poisson.
    """
    demand, peer = Demand(12.0), stats.poisson(12.0)
    asked = np.arange(80)
    profit = [
        float((peer.pmf(asked) * (np.minimum(asked, n) - 3 * np.maximum(n - asked, 0))).sum())
        for n in range(40)
    ]
    assert demand.enough(1 / (1 + 3)) == int(np.argmax(profit))


def few_demands(few: Catalogue) -> tuple[Item, dict[tuple[str, float], Demand]]:
    """One shoe with little stock, asked for in three sizes."""
    shoe = replace(few.shoes[0], stock={260.0: 1, 265.0: 0, 270.0: 9})
    return shoe, {(shoe.id, size): Demand(mean) for size, mean in ((260, 4), (265, 2), (270, 3))}


def test_stock_packs_and_the_least_order_count(few: Catalogue, book: Rulebook) -> None:
    """What is there is taken off, packs are whole, and too small an order is none."""
    shoe, demand = few_demands(few)
    wanted = {size: int(stats.poisson(mean).ppf(0.9)) for size, mean in ((260, 4), (265, 2))}

    def ordered(supply: Supply) -> dict[float, int]:
        product = shoe.product.model_copy(update={"supply": supply})
        catalogue = replace(few, items=(replace(shoe, product=product),))
        found = orders_for(catalogue, demand, book.parameters, service=0.9)
        return {line.size: line.order for line in found.lines}

    assert ordered(Supply()) == {260: wanted[260] - 1, 265: wanted[265]}
    assert ordered(Supply(pack=4)) == {260: 8, 265: 4}
    assert ordered(Supply(pack=4, minimum=12)) == {260: 8, 265: 4}
    assert ordered(Supply(pack=4, minimum=13)) == {}
    product = shoe.product.model_copy(update={"supply": Supply(lead_weeks=13)})
    catalogue = replace(few, items=(replace(shoe, product=product),))
    line = orders_for(catalogue, demand, book.parameters, service=0.9).lines[0]
    assert line.again_at == int(stats.poisson(line.asked / 2).ppf(0.9))


def test_a_budget_buys_the_pieces_that_serve_most(few: Catalogue, book: Rulebook) -> None:
    """Every way to spend the same money on two sizes: none leaves fewer in vain."""
    shoe, demand = few_demands(few)
    product = shoe.product.model_copy(update={"price": 50.0, "supply": None})
    catalogue = replace(few, items=(replace(shoe, product=product),))
    found = orders_for(catalogue, demand, book.parameters, service=0.99, budget=250.0)
    assert found.cost == 250.0
    lost = found.empty_after * found.asked
    ways = [(a, 5 - a) for a in range(6)]
    best = min(
        demand[shoe.id, 260].lost(1 + a) + demand[shoe.id, 265].lost(b)
        + demand[shoe.id, 270].lost(9) for a, b in ways
    )  # fmt: skip
    assert lost == pytest.approx(best)


def test_empty_sizes_are_as_often_met_as_in_seasons_played_out(
    question: CoverageQuestion, assessor: Assessor, few: Catalogue, book: Rulebook
) -> None:
    """Seasons simulated piece by piece: the share in vain is the one told."""
    tally = question.crowd.tally(book, assessor.classes)
    kinds = assessor.kinds(tally)
    modelled = demand_of(assessor, few, kinds, tally.customers, 300)
    buyers = 300 * book.parameters.orders.buys
    shoes = {shoe.id for shoe in few.shoes}
    served = assessor.headline(few, tally).value
    bought = sum(mean for (product, _), mean in modelled.items() if product in shoes)
    assert served * buyers <= bought <= buyers  # sold-out sizes are asked for as well
    found = orders_for(few, {key: Demand(m) for key, m in modelled.items()}, book.parameters,
                       service=0.9)  # fmt: skip
    rng, vain, asked = np.random.default_rng(3), 0, 0
    for _ in range(60):
        for (product, size), mean in modelled.items():
            left = few.item(product).stock[size]
            for _ in range(rng.poisson(mean)):
                asked, left, vain = asked + 1, left - (left > 0), vain + (left <= 0)
    assert vain / asked == pytest.approx(found.empty_before, abs=0.015)
    assert found.empty_after < found.empty_before


def test_own_sales_move_demand_and_widen_it() -> None:
    """With few sales the size lasts less surely, so more is ordered than for a known mean."""
    known = with_sales({("a", 260.0): 2.0}, {("a", 260.0): 6.0}, 0.25)["a", 260.0]
    assert known.mean == pytest.approx((0.25 * 2 + 6) / 1.25)
    assert known.enough(0.9) > Demand(known.mean).enough(0.9)


def test_a_chain_is_the_sum_of_its_shops(few: Catalogue, tmp_path: Path) -> None:
    """One file with a column of shops, or one file a shop: the same stock, and together all."""
    one, two = few.shoes[0], few.insoles[0]
    sizes = [f"{size:g}" for size in sorted(one.stock)[:2]]
    rows = [f"north,{one.id},{sizes[0]},3", f"south,{one.id},{sizes[0]},4",
            f"south,{two.id},{min(two.stock):g},1"]  # fmt: skip
    whole = tmp_path / "chain.csv"
    whole.write_text("shop,product,size,count\n" + "\n".join(rows) + "\n")
    for shop in ("north", "south"):
        mine = [row.partition(",")[2] for row in rows if row.startswith(shop)]
        (tmp_path / f"{shop}.csv").write_text("product,size,count\n" + "\n".join(mine) + "\n")
    shops = read_shops([whole], few)
    files = read_shops([tmp_path / "north.csv", tmp_path / "south.csv"], few)
    assert {n: [(i.id, i.stock) for i in c.items] for n, c in shops.items()} == {
        n: [(i.id, i.stock) for i in c.items] for n, c in files.items()
    }
    assert [item.id for item in shops["north"].items] == [one.id]
    assert together(shops).item(one.id).stock[float(sizes[0])] == 7
    items = {item.id: item for item in few.items}
    assert read_counts(whole, items)[one.id, float(sizes[0])] == 7
    assert read_counts(whole, items, "north")[one.id, float(sizes[0])] == 3
    whole.write_text("shop,product,size,count\n" + rows[0] + "\n" + rows[0] + "\n")
    with pytest.raises(InputError, match="stands twice"):
        read_shops([whole], few)
