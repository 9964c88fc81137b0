"""Products as they stand in a catalogue file."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from recommend.reading import Strict
from recommend.rulebook.models import Id

Kind = Literal["shoe", "insole"]
MondopointText = Annotated[str, Field(pattern=r"^\d{3}(\.5)?$")]


class Product(Strict):
    """One product: generic attributes, and the number in stock by Mondopoint length (mm).

    `attributes` are checked against the rulebook's ``attributes.yaml``; one that is not stated
    is unknown. A size with 0 is made but not in stock; a size not listed is not made.
    """

    id: Id
    kind: Kind
    title: Annotated[str, Field(min_length=1, max_length=60)]
    price: Annotated[float, Field(ge=0, le=100_000)] | None = None
    attributes: dict[str, float | str]
    stock: dict[MondopointText, Annotated[int, Field(ge=0, le=1_000_000)]]
    remarks: str = ""


class CatalogueFile(Strict):
    """One file of a catalogue folder."""

    title: str
    currency: str = ""
    products: list[Product] = Field(min_length=1)
