"""Catalogue files that are each wrong in one way: name -> (content, words of the message)."""

from __future__ import annotations

Case = tuple[str | bytes, tuple[str, ...]]

SHOP = """title: Shoes (invented)
currency: EUR
products:
  - id: brook
    kind: shoe
    title: Brook shoe
    price: 90
    attributes: {stability: mild, drop: 8, for-walking: yes}
    stock: {265: 2, 270: 0}
"""


def instead(old: str, new: str) -> str:
    """The good shop with one thing replaced."""
    assert old in SHOP
    return SHOP.replace(old, new, 1)


CATALOGUES: dict[str, Case] = {
    "empty": ("", ("empty",)),
    "binary": (b"\x00\x01\x02", ("control character",)),
    "a-list": ("- id: brook\n", ("a list", "title, currency, as-of, products")),
    "no-products": ("title: x\n§products: []\n", ("has no entries", "at least 1 entry")),
    "products-missing": ("title: x\n", ("`products` is missing",)),
    "products-a-mapping": ("title: x\n§products: {brook: {}}\n", ("a group of keys", "a list")),
    "title-missing": (SHOP.partition("\n")[2], ("`title` is missing",)),
    "key-misspelt": (instead("    price", "§    prize"), ("`prize`", "`price`?")),
    "id-missing": (
        instead("  - id: brook\n    kind", "§  - kind"),
        ("`id` is missing", "products#1"),
    ),
    "id-with-space": (instead("id: brook", "§id: brook shoe"), ("`brook shoe`", "hyphens")),
    "id-capital": (instead("id: brook", "§id: Brook"), ("`Brook`", "small letters")),
    "id-number": (instead("id: brook", "§id: 12"), ("`12`", "small letters")),
    "id-long": (instead("id: brook", "§id: " + "b" * 500), ("500 characters",)),
    "kind-unknown": (instead("kind: shoe", "§kind: boot"), ("`boot`", "shoe, insole")),
    "kind-plural": (instead("kind: shoe", "§kind: shoes"), ("`shoe`?",)),
    "title-empty": (instead("title: Brook shoe", "§title: ''"), ("is empty",)),
    "title-long": (instead("Brook shoe", "§" + "B" * 61), ("61 characters", "1 to 60 characters")),
    "price-negative": (instead("90", "§-1"), ("`-1`", "from 0 to 100000")),
    "price-text": (instead("90", "§90 EUR"), ("`90 EUR`", "bare number: 90")),
    "price-comma": (instead("90", "§89,90"), ("decimal point: 89.90",)),
    "price-nan": (instead("90", "§.nan"), ("finite",)),
    "price-list": (instead("90", "§[90]"), ("a list",)),
    "attributes-missing": (
        instead("    attributes: {stability: mild, drop: 8, for-walking: yes}\n", ""),
        ("`attributes` is missing", "products#1"),
    ),
    "attributes-a-list": (
        instead("{stability: mild, drop: 8, for-walking: yes}", "§[mild]"),
        ("a list",),
    ),
    "attribute-unknown": (instead("stability: mild", "§colour: red"), ("attribute of a shoe",)),
    "attribute-misspelt": (instead("stability", "§stabilty"), ("`stability`?",)),
    "attribute-of-insole": (instead("stability: mild", "§heel-cup: 14"), ("attribute of a shoe",)),
    "level-unknown": (instead("mild", "§middling"), ("`middling`", "none, mild, marked, strong")),
    "level-misspelt": (instead("mild", "§mildly"), ("`mild`?",)),
    "level-number": (instead("mild", "§2"), ("`2`", "none, mild, marked, strong")),
    "level-empty": (instead("stability: mild", "§stability: ~"), ("is empty",)),
    "level-list": (instead("mild", "§[mild, marked]"), ("a list",)),
    "level-maybe": (instead("for-walking: yes", "§for-walking: maybe"), ("`maybe`", "no, yes")),
    "number-as-word": (instead("drop: 8", "§drop: low"), ("`low`", "-2 to 20 mm")),
    "number-quoted": (instead("drop: 8", "§drop: '8'"), ("the text `8`", "quotes")),
    "number-with-unit": (instead("drop: 8", "§drop: 8mm"), ("the text `8mm`", "-2 to 20 mm")),
    "number-out-of-range": (instead("drop: 8", "§drop: 80"), ("`80`", "-2 to 20 mm")),
    "number-true": (instead("drop: 8", "§drop: true"), ("-2 to 20 mm",)),
    "number-inf": (instead("drop: 8", "§drop: .inf"), ("finite",)),
    "stock-empty": (instead("{265: 2, 270: 0}", "§{}"), ("no entries", "at least 1")),
    "stock-missing": (instead("    stock: {265: 2, 270: 0}\n", ""), ("`stock` is missing",)),
    "stock-a-list": (instead("{265: 2, 270: 0}", "§[265, 270]"), ("a list", "key: value")),
    "stock-in-cm": (instead("265: 2", "§26.5: 2"), ("`26.5`", "Mondopoint", "265")),
    "stock-in-eu": (instead("265: 2", "§42: 2"), ("`42`", "Mondopoint")),
    "stock-word": (instead("265: 2", "§large: 2"), ("`large`", "Mondopoint")),
    "stock-quarter": (instead("265: 2", "§265.25: 2"), ("`265.25`", "262.5")),
    "stock-twice": (instead("270: 0", "§265: 0"), ("`265` stands twice",)),
    "stock-twice-as-number": (instead("270: 0", "§265.0: 0"), ("`265.0`", "Mondopoint")),
    "stock-nan-key": (instead("265: 2", "§nan: 2"), ("`nan`", "Mondopoint")),
    "stock-arabic": (instead("265: 2", "§٢٦٥: 2"), ("Mondopoint",)),
    "count-negative": (instead("265: 2", "§265: -2"), ("`-2`", "whole number from 0 to 1000000")),
    "count-half": (instead("265: 2", "§265: 2.5"), ("`2.5`", "a whole number")),
    "count-word": (instead("265: 2", "§265: many"), ("`many`", "a whole number")),
    "count-empty": (instead("265: 2", "§265: ~"), ("is empty", "a whole number")),
    "count-huge": (instead("265: 2", "§265: 99999999"), ("1000000",)),
    "id-twice": (
        SHOP + SHOP.partition("products:\n")[2].replace("id:", "§id:"),
        ("twice", "first"),
    ),
    "duplicate-attribute": (instead("drop: 8", "§drop: 8, drop: 9"), ("`drop` stands twice",)),
    "alias": (instead("{265: 2, 270: 0}", "§&s {265: 2}"), ("an anchor",)),
    "two-documents": (SHOP + "§---\n" + SHOP, ("second document",)),
    "remarks-list": (SHOP + "§    remarks: [a]\n", ("a list", "text")),
}
