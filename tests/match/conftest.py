"""Invented attributes, products and needs, small enough to work out by hand."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from recommend.catalogue.loading import Item
from recommend.catalogue.models import Product

MakeItem = Callable[..., Item]


@pytest.fixture(scope="session")
def item() -> MakeItem:
    """Make an invented product from its levels."""

    def make(name: str, price: float | None = 50.0, **levels: float) -> Item:
        kind = next(iter(levels)).partition("_")[0] if levels else "shoe"
        named = {key.replace("_", ".", 1).replace("_", "-"): v for key, v in levels.items()}
        product = Product.model_validate(
            {
                "id": name, "kind": kind, "title": name, "price": price, "attributes": {},
                "stock": {"265": 1},
            }
        )  # fmt: skip
        return Item(product, named, {265.0: 1})

    return make
