"""Reading a catalogue folder against the attributes that a rulebook knows."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import field, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

from recommend.catalogue.models import CatalogueFile, Product
from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.reading import Document, Strict, problems_in
from recommend.reading.checked import mend_number
from recommend.reading.document import Loc
from recommend.reading.prepared import classes_of, prepared
from recommend.reading.texts import Texts, digest_of
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import AttributeDef


@dataclass(frozen=True, slots=True)
class Item:
    """A product with its attributes as numbers: a value in its unit, or a step of its scale.

    `levels` maps ``shoe.width`` and the like to a number; an attribute not stated is absent.
    `stock` maps Mondopoint length in mm to the number in stock. `offered` is ``shop`` for what
    stands on the shelf, ``own`` for what the customer has, ``none`` for no insole at all.
    `place` is the file and line that state it, `as_of` the day of the maker's data.
    """

    product: Product
    levels: Mapping[str, float]
    stock: Mapping[float, int]
    offered: Literal["shop", "own", "none"] = "shop"
    place: str = field(default="", compare=False)
    as_of: str | None = None

    @property
    def id(self) -> str:
        """The product's id."""
        return self.product.id


@dataclass(frozen=True)
class Catalogue:
    """All products of one folder; `digest` is the SHA-256 of the files.

    `sources` are the folders and the stock list that were stacked into it, empty when it is one
    as it was written; `texts` are the files as they were read.
    """

    folder: str
    digest: str
    currency: str
    items: tuple[Item, ...]
    sources: tuple[str, ...] = ()
    texts: Texts = field(default=Texts("", {}, {}), repr=False)

    @property
    def name(self) -> str:
        """What a person calls it: the folders it comes from."""
        return " + ".join(self.sources) or self.folder

    @cached_property
    def made(self) -> dict[int, Any]:
        """What is made of the catalogue once and used again; whoever makes it fills it."""
        return {}

    @cached_property
    def shoes(self) -> tuple[Item, ...]:
        """The shoes, by id."""
        return tuple(item for item in self.items if item.product.kind == "shoe")

    @cached_property
    def insoles(self) -> tuple[Item, ...]:
        """The insoles, by id."""
        return tuple(item for item in self.items if item.product.kind == "insole")

    @cached_property
    def by_id(self) -> dict[str, Item]:
        """Items by product id."""
        return {item.id: item for item in self.items}

    @cached_property
    def titles(self) -> dict[str, str]:
        """Titles by product id."""
        return {item.id: item.product.title for item in self.items}

    @cached_property
    def titles_by_kind(self) -> dict[str, dict[str, str]]:
        """Titles by product id, of shoes and of insoles."""
        kinds = {"shoe": self.shoes, "insole": self.insoles}
        return {kind: {one.id: one.product.title for one in items} for kind, items in kinds.items()}

    def item(self, product_id: str) -> Item:
        """The product called `product_id`.

        Raises
        ------
        InputError
            If there is none, with the nearest spelling.
        """
        if product_id not in self.by_id:
            raise InputError(
                Place(self.folder),
                f"no product is called `{product_id}`",
                mend=nearest(product_id, self.by_id),
            )
        return self.by_id[product_id]


def load_catalogue(source: Path | str | Texts, attributes: Mapping[str, AttributeDef]) -> Catalogue:
    """Read every ``*.yaml`` of a folder (its ``products`` folder when it has one), or texts.

    Raises
    ------
    InputError
        For the first thing that does not fit: an unknown attribute, a value outside its range
        or scale, a duplicate id.
    """
    catalogue, problems = read_catalogue(source, attributes)
    if problems:
        raise problems[0]
    return catalogue


def prepared_catalogue(source: Path | str | Texts, book: Rulebook) -> Catalogue:
    """As `load_catalogue` under a rulebook, or as an earlier start kept what came of the same.

    Raises
    ------
    InputError
        As `load_catalogue`.
    """
    texts = source if isinstance(source, Texts) else product_texts(source)
    if texts.unread:
        return load_catalogue(source, book.attributes)
    where = texts.where if isinstance(source, Texts) else str(source)
    bare = prepared(
        "catalogue",
        (where, digest_of(texts), book.digest),
        lambda: classes_of(Strict, Catalogue, Item, Texts),
        lambda: replace(load_catalogue(source, book.attributes), texts=Texts("", {}, {})),
    )
    return replace(bare, texts=texts)


def read_catalogue(
    source: Path | str | Texts, attributes: Mapping[str, AttributeDef]
) -> tuple[Catalogue, tuple[InputError, ...]]:
    """What can be read of a catalogue, and everything in it that does not fit."""
    reader = _Reader(attributes)
    texts = source if isinstance(source, Texts) else product_texts(source)
    for name in sorted((*texts, *texts.unread)):
        reader.read(texts, name)
    if not len(texts) and not texts.unread:
        reader.problems.append(
            InputError(
                texts.place(), "no product files (*.yaml) are here", mend="name a catalogue folder"
            )
        )
    where = texts.where if isinstance(source, Texts) else str(source)
    items = tuple(sorted(reader.items, key=lambda item: item.id))
    catalogue = Catalogue(where, reader.running.hexdigest(), reader.currency, items, (), texts)
    return catalogue, tuple(reader.problems)


def product_texts(folder: Path | str) -> Texts:
    """The files of a catalogue folder, by name."""
    inner = Path(folder) / "products"
    return Texts.of_folder(inner if inner.is_dir() else folder, "*.yaml")


def hashed(name: str, text: str) -> bytes:
    """What the digest of a catalogue takes in of one file."""
    return f"{name}\n{text}".encode()


@dataclass
class _Reader:
    attributes: Mapping[str, AttributeDef]
    running: Any = field(default_factory=hashlib.sha256)
    currency: str = ""
    items: list[Item] = field(default_factory=list)
    seen: dict[str, Place] = field(default_factory=dict)
    problems: list[InputError] = field(default_factory=list)

    def read(self, texts: Texts, name: str) -> None:
        """Add the products of one file; what does not fit is noted."""
        try:
            document = texts.document(name)
        except InputError as error:
            self.problems.append(error)
            return
        self.running.update(hashed(name, document.text))
        parsed, problems = problems_in(CatalogueFile, document)
        self.problems += problems
        if parsed is None:
            return
        for index, product in enumerate(parsed.products):
            if product.as_of is None:
                product = product.model_copy(update={"as_of": parsed.as_of})
            try:
                self._check(parsed, product, document, ("products", index))
            except InputError as error:
                self.problems.append(error)

    def _check(self, file: CatalogueFile, product: Product, at: Document, loc: Loc) -> None:
        if self.currency and file.currency not in ("", self.currency):
            raise InputError(
                at.place(("currency",)),
                f"the currency is `{file.currency}`, in another file it is `{self.currency}`",
                "one currency for a catalogue",
                "write the same in every file",
            )
        self.currency = file.currency or self.currency
        if product.id in self.seen:
            raise InputError(
                at.place((*loc, "id")),
                f"the id `{product.id}` stands twice (first at {self.seen[product.id]})",
                "each id once",
                "rename one of the two",
            )
        self.seen[product.id] = at.place((*loc, "id"))
        self.items.append(as_item(product, self.attributes, at, loc))


def as_item(
    product: Product, attributes: Mapping[str, AttributeDef], at: Document, loc: Loc
) -> Item:
    """Check a product's attributes and turn them into numbers.

    Raises
    ------
    InputError
        For an attribute that is not known, or a value outside its range or scale.
    """
    item, problems = item_in(product, attributes, at, loc)
    if problems:
        raise problems[0]
    return item


def item_in(
    product: Product, attributes: Mapping[str, AttributeDef], at: Document, loc: Loc
) -> tuple[Item, list[InputError]]:
    """The item with the attributes that fit, and everything about the others."""
    levels: dict[str, float] = {}
    problems: list[InputError] = []
    for name, value in product.attributes.items():
        where: Loc = (*loc, "attributes", name)
        full = f"{product.kind}.{name}"
        try:
            attribute = attribute_of(product.kind, name, attributes, at.place(where, key=True))
            levels[full] = level_of(full, value, attribute, at.place(where))
        except InputError as error:
            problems.append(error)
    stock = {float(size): count for size, count in product.stock.items()}
    at_line = str(at.place((*loc, "id")))
    return Item(product, levels, stock, place=at_line, as_of=product.as_of), problems


def attribute_of(
    kind: str, name: str, attributes: Mapping[str, AttributeDef], place: Place
) -> AttributeDef:
    """The attribute that a shoe or an insole calls `name`.

    Raises
    ------
    InputError
        If it has none of that name.
    """
    if f"{kind}.{name}" not in attributes:
        known = [a.partition(".")[2] for a in attributes if a.startswith(kind)]
        raise InputError(
            place,
            f"`{name}` is not an attribute of {'an' if kind == 'insole' else 'a'} {kind}",
            ", ".join(sorted(known)),
            nearest(name, known) or "remove it, or define it in attributes.yaml",
        )
    return attributes[f"{kind}.{name}"]


def level_of(name: str, value: float | str, attribute: AttributeDef, place: Place) -> float:
    """One attribute's value as a number: in its unit, or the step of its scale.

    Raises
    ------
    InputError
        If the value is not on the scale or outside the range.
    """
    if attribute.scale:
        steps = list(attribute.scale)
        if str(value) not in steps:
            hint = nearest(str(value), steps)
            shown = value if isinstance(value, str) else f"{value:g}"
            mend = hint or "choose one of these, or leave it out if it is not stated"
            raise InputError(place, f"`{name}` is `{shown}`", ", ".join(steps), mend)
        return float(steps.index(str(value)))
    low, high = attribute.low, attribute.high
    allowed = f"a number from {low:g} to {high:g} {attribute.unit}"
    if isinstance(value, str):
        raise InputError(
            place,
            f"`{name}` is the text `{value}`",
            allowed,
            mend_number(value) or "write a number",
        )
    if low is None or high is None or not low <= value <= high:
        raise InputError(
            place,
            f"`{name}` is `{value:g}`",
            allowed,
            "correct it, or leave it out if it is not stated",
        )
    return float(value)
