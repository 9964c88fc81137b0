"""Options that the buyer's commands share, and what they become."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal, Optional

import typer

from recommend.catalogue.loading import Catalogue
from recommend.catalogue.stacking import read_shops, together
from recommend.errors import RecommendError, nearest

# The option parser reads `Optional`, not `X | None`.
CatalogueOption = Annotated[
    Optional[list[Path]],  # noqa: UP045
    typer.Option(
        "--catalogue", help="Folder of a catalogue, may be repeated; else as in `setup show`."
    ),
]
RulesOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--rules", help="Folder of the rulebook; else as in `setup show`."),
]
VisitsOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--visits", help="The shop's own visits: a folder of visit files, or its store."),
]
PopulationOption = Annotated[
    Optional[Literal["modelled", "shop", "both"]],  # noqa: UP045
    typer.Option(
        "--population",
        help="Who is counted: the modelled population, the shop's visits alone, or the "
        "modelled one moved towards the visits. Default: both with --visits, else modelled.",
    ),
]
CustomersOption = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option("--customers", min=1, max=100_000_000, help="How many customers are drawn."),
]
SeedOption = Annotated[int, typer.Option("--seed", min=0, help="Seed of the drawing.")]
SoldOption = Annotated[
    Literal["pair", "shoe", "insole", "any"],
    typer.Option("--sold", help="What is sold: shoe with insole, one of them alone, or any."),
]
SoldOutOption = Annotated[
    bool, typer.Option("--sold-out-counts", help="Count sizes that are made but sold out.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the same as JSON.")]


FeetOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--feet", help="Measured feet of a chain, Parquet: a file or a folder of files."),
]

StockOption = Annotated[
    Optional[list[Path]],  # noqa: UP045
    typer.Option(
        "--stock", help="Stock of a chain's shops, CSV with product, size, count and shop; "
        "may be repeated, a file a shop."
    ),
]  # fmt: skip
ShopOption = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--shop", help="Look at this shop of the chain alone."),
]
ClusterOption = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--cluster", help="Count on the dask cluster whose scheduler is there."),
]


def stocked(catalogue: Catalogue, stock: Sequence[Path] | None, shop: str | None) -> Catalogue:
    """The catalogue as it is, or with the stock of a chain: of one shop, or of all together.

    Raises
    ------
    RecommendError
        If a shop is named and there is no such shop.
    """
    if not stock:
        if shop:
            raise RecommendError("--shop names one of a chain; give its stock with --stock FILE")
        return catalogue
    shops = read_shops(stock, catalogue)
    if shop is None:
        return together(shops)
    if shop not in shops:
        hint = nearest(shop, shops) or f"the shops are {', '.join(shops)}"
        raise RecommendError(f"no shop is called `{shop}`; {hint}")
    return shops[shop]
