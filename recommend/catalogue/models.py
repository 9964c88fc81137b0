"""Products as they stand in a catalogue file."""

# No `annotations` of the future here: a model is made a third faster from types than from text.

import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from recommend.reading import Strict
from recommend.rulebook.models import Id
from recommend.visit.models import Day

Kind = Literal["shoe", "insole"]


def _mondopoint(value: str) -> str:
    if not re.fullmatch(r"[1-3]\d\d(\.5)?", value):
        raise ValueError("a Mondopoint length in mm from 100 to 399, such as 265 or 262.5")
    return value


def _stated(value: Any) -> Any:
    """Let JSON's true and false stand for the words yes and no."""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value


MondopointText = Annotated[str, AfterValidator(_mondopoint)]
Level = Annotated[float | str, BeforeValidator(_stated)]


class Supply(Strict):
    """What a supplier asks of an order.

    `cost` of a piece, pieces in a `pack`, the `minimum` of pieces of a product in all its sizes,
    and the weeks until it comes.
    """

    cost: Annotated[float, Field(ge=0, le=100_000)] | None = None
    pack: Annotated[int, Field(ge=1, le=10_000)] | None = None
    minimum: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    lead_weeks: Annotated[float, Field(ge=0, le=520)] | None = None


class Product(Strict):
    """One product: generic attributes, and the number in stock by Mondopoint length (mm).

    `attributes` are checked against the rulebook's ``attributes.yaml``; one that is not stated
    is unknown. A size with 0 is made but not in stock; a size not listed is not made.
    `as_of` is the day of the maker's data, else that of the file.
    """

    id: Id
    kind: Kind
    title: Annotated[str, Field(min_length=1, max_length=60)]
    price: Annotated[float, Field(ge=0, le=100_000)] | None = None
    attributes: dict[str, Level]
    stock: dict[MondopointText, Annotated[int, Field(ge=0, le=1_000_000)]] = Field(min_length=1)
    supply: Supply | None = None
    remarks: str = ""
    as_of: Day | None = None


class CatalogueFile(Strict):
    """One file of a catalogue folder."""

    title: str
    currency: str = ""
    as_of: Day | None = None
    products: list[Product] = Field(min_length=1)
