"""A supplier's list becomes products, all or none."""

from pathlib import Path

import pytest

from recommend.catalogue import load_catalogue
from recommend.catalogue.importing import RowsError, import_csv, write_products
from recommend.errors import InputError
from recommend.parameters import Parameters
from recommend.reading import read_document, validate
from recommend.rulebook.files import AttributesFile
from recommend.rulebook.models import AttributeDef

RULES = Path(__file__).parents[2] / "rules"

PARAMETERS = Parameters.load(RULES / "parameters")
MAPPING = """
title: Invented supplier
currency: EUR
delimiter: ";"
decimal: ","
id: {column: Article}
kind: {column: Type, words: {footbed: insole, boot: shoe}}
name: {column: Name}
price: {column: Net, factor: 2}
sizes: {column: Sizes}
insole:
  wedge: {column: Post}
  heel-cup: {column: Cup, factor: 10}
  cushion-heel: {column: Heel, words: {plush: soft, mid: medium, hard: firm}}
shoe:
  drop: {column: Post}
"""
HEADING = "Article;Type;Name;Net;Sizes;Post;Cup;Heel\n"
GOOD = "A 1;footbed;Long name;12,50;250:3 255:0;0;1,4;plush\nB2;boot;Shoe;40;260:1;8;;\n"


@pytest.fixture(scope="module")
def attributes() -> dict[str, AttributeDef]:
    """The shipped attributes under their full names."""
    file = validate(AttributesFile, read_document(RULES / "attributes.yaml"))
    groups = {"shoe": file.shoe, "insole": file.insole, "pair": file.pair}
    return {f"{kind}.{name}": one for kind, group in groups.items() for name, one in group.items()}


def written(folder: Path, rows: str, mapping: str = MAPPING) -> tuple[Path, Path]:
    """A list and its mapping on disk."""
    (folder / "list.csv").write_text(HEADING + rows, "utf-8")
    (folder / "map.yaml").write_text(mapping, "utf-8")
    return folder / "list.csv", folder / "map.yaml"


def test_columns_become_attributes(tmp_path: Path, attributes: dict[str, AttributeDef]) -> None:
    """Words are translated, numbers scaled, empty cells unknown, stock read by size."""
    insole, shoe = import_csv(*written(tmp_path, GOOD), attributes, PARAMETERS).items
    assert insole.id == "a-1"
    assert insole.product.price == 25.0
    assert insole.levels == {"insole.wedge": 0, "insole.heel-cup": 14, "insole.cushion-heel": 2}
    assert insole.stock == {250.0: 3, 255.0: 0}
    assert shoe.levels == {"shoe.drop": 8}


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("C;footbed;N;1;250:1;40;1;plush", ["list.csv:4", "wedge", "-8 to 10"]),
        ("C;footbed;N;1;250:1;0;1;plsh", ["list.csv:4", "`Heel` is `plsh`", "`plush`"]),
        ("C;sandal;N;1;250:1;0;1;plush", ["list.csv:4", "`Type`", "footbed, boot"]),
        ("C;footbed;N;1;large:1;0;1;plush", ["list.csv:4", "`Sizes`", "250:3"]),
        ("C;footbed;N;1;250:x;0;1;plush", ["list.csv:4", "size 250", "whole number"]),
        ("C;footbed;;1;250:1;0;1;plush", ["list.csv:4", "`title` is missing"]),
        ("A-1;footbed;N;1;250:1;0;1;plush", ["list.csv:4", "`a-1` stands twice", "line 2"]),
        ("C;footbed;N;-1;250:1;0;1;plush", ["list.csv:4", "price"]),
    ],
)
def test_one_bad_row_loads_nothing_and_is_named(
    tmp_path: Path, attributes: dict[str, AttributeDef], row: str, words: list[str]
) -> None:
    """A row that cannot be used is named by line, and the good rows are not loaded either."""
    with pytest.raises(RowsError) as caught:
        import_csv(*written(tmp_path, GOOD + row + "\n"), attributes, PARAMETERS)
    assert "1 of 3 rows" in str(caught.value)
    for word in words:
        assert word in str(caught.value)


def test_faults_are_told_column_by_column(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """Thirty bad rows are counted, the first of each column spelled out, and all are held."""
    rows = "".join(f"C{n};footbed;N;1;250:1;99;1;plsh\n" for n in range(30))
    with pytest.raises(RowsError) as caught:
        import_csv(*written(tmp_path, rows), attributes, PARAMETERS)
    assert "30 of 30 rows" in str(caught.value)
    assert str(caught.value).count("list.csv:4:") == 2
    assert "list.csv:5:" not in str(caught.value)
    assert str(caught.value).count("and 27 more like these") == 2
    assert len(caught.value.problems) == 60


@pytest.mark.parametrize(
    ("cell", "level"), [("14 mm", 14), ("14mm", 14), ("1,4 cm", 14), ("0,5 in", 12.7)]
)
def test_a_unit_in_a_cell_is_read(
    tmp_path: Path, attributes: dict[str, AttributeDef], cell: str, level: float
) -> None:
    """Lengths in other units become ours; an inch has 25.4 mm by definition."""
    mapping = MAPPING.replace("{column: Cup, factor: 10}", "{column: Cup}")
    rows = f"A1;footbed;N;12,50 EUR;250:1;0;{cell};plush\n"
    imported = import_csv(*written(tmp_path, rows, mapping), attributes, PARAMETERS)
    assert imported.items[0].levels["insole.heel-cup"] == pytest.approx(level)
    assert imported.items[0].product.price == 25
    strange = written(tmp_path, rows.replace(cell, "14 kg"), mapping)
    with pytest.raises(RowsError, match="a number in mm"):
        import_csv(*strange, attributes, PARAMETERS)


def test_sizes_of_another_system_and_a_second_heading_are_read(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """EU 40 is a last of 40 Paris points of 20/3 mm, less 15 mm for the toes: 251.67, so 251.5."""
    mapping = MAPPING.replace("{column: Sizes}", "{column: Sizes, system: eu}")
    files = written(tmp_path, "", mapping)
    rows = "A1;footbed;N;1;40:2;0;1;plush\n"
    other = "Type;Article;Name;Net;Sizes;Post;Cup;Heel\nfootbed;A2;N;1;36:1;0;1;plush\n"
    files[0].write_text("Our list\n\n" + HEADING + rows + other, "utf-8")
    found = import_csv(*files, attributes, PARAMETERS).items
    assert [item.stock for item in found] == [{251.5: 2}, {225.0: 1}]
    assert [item.id for item in found] == ["a1", "a2"]


def test_what_is_refused_is_told_in_the_words_of_the_list(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """A size number that no foot has, an empty cell among the words, a column misspelt beneath
    lines that are no heading.
    """
    mapping = MAPPING.replace("{column: Sizes}", "{column: Sizes, system: eu}")
    files = written(tmp_path, "A1;footbed;N;1;99:2;0;1;plush\n", mapping)
    with pytest.raises(RowsError) as refused:
        import_csv(*files, attributes, PARAMETERS)
    assert "`Sizes` is `99`; allowed: a size number of eu for feet of 100 to 399 mm" in str(
        refused.value
    )
    files[0].write_text("Our list;;;;;;;\n\n" + HEADING.replace("Post", "Wedge"), "utf-8")
    with pytest.raises(InputError, match="has no column `Post`; allowed: Article"):
        import_csv(*files, attributes, PARAMETERS)


@pytest.mark.parametrize(
    ("decimal", "cell", "words"),
    [
        (",", "1.049", ["decimal comma", "Write 1049 for thousands, or 1,049 for a fraction"]),
        (",", "12.5", ["decimal comma", "Write 12,5"]),
        (",", "1.049,00", ["decimal comma", "Write 1049,00"]),
        (".", "1,049", ["decimal point", "Write 1049 for thousands, or 1.049 for a fraction"]),
        (".", "1,049.50", ["decimal point", "Write 1049.50"]),
        (".", "12,50", ["decimal point", "Write 12.50, or correct `decimal`"]),
        (".", "1,234,567", ["decimal point", "Write 1234567"]),
    ],
)
def test_a_number_with_the_other_mark_is_refused(
    tmp_path: Path, attributes: dict[str, AttributeDef], decimal: str, cell: str, words: list[str]
) -> None:
    """1.049 may be a thousand or a fraction: it is never taken for the one that was not meant."""
    mapping = MAPPING.replace('decimal: ","', f'decimal: "{decimal}"')
    row = f"C;footbed;N;{cell};250:1;0;1;plush\n"
    with pytest.raises(RowsError) as caught:
        import_csv(*written(tmp_path, row, mapping), attributes, PARAMETERS)
    for word in ("list.csv:2", f"`Net` is `{cell}`", *words):
        assert word in str(caught.value)


def test_every_fault_of_a_row_is_named(tmp_path: Path, attributes: dict[str, AttributeDef]) -> None:
    """Price, sizes, range and word of one row are mended at one go; nothing is said twice."""
    row = "C;footbed;N;1.5;42:3;40;1;plsh\n"
    with pytest.raises(RowsError) as caught:
        import_csv(*written(tmp_path, GOOD + row), attributes, PARAMETERS)
    said = [problem.found for problem in caught.value.problems]
    assert [s.split(" is ")[0] for s in said] == ["`Net`", "`Sizes`", "`Heel`", "`insole.wedge`"]
    assert "1 of 3 rows" in str(caught.value)
    row = "C;sandal;N;1;250:x;0;1;plush\n"
    with pytest.raises(RowsError) as caught:
        import_csv(*written(tmp_path, row), attributes, PARAMETERS)
    said = [problem.found for problem in caught.value.problems]
    assert said == ["`Type` is `sandal`", "`size 250` is `x`"]


def test_an_eu_size_is_told_in_mondopoint(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """42 Paris points are 280 mm of last, 265 mm of foot; 36.5 are 243.3 and 228."""
    for size, length in (("42", "265"), ("36,5", "228"), ("36.5", "228")):
        row = f"C;footbed;N;1;{size}:3;0;1;plush\n"
        with pytest.raises(RowsError, match="Mondopoint") as caught:
            import_csv(*written(tmp_path, row), attributes, PARAMETERS)
        assert f"If {size} is an EU size, write its foot length, about {length}." in str(
            caught.value
        )


def test_text_that_looks_like_a_number_stays_text(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """A product may be called 3.5; a size may be written with either mark."""
    row = "C;footbed;3.5;1;252,5:1 257.5:2;0;1;plush\n"
    (item,) = import_csv(*written(tmp_path, row), attributes, PARAMETERS).items
    assert item.product.title == "3.5"
    assert item.stock == {252.5: 1, 257.5: 2}


@pytest.mark.parametrize(
    ("mapping", "rows", "words"),
    [
        (MAPPING.replace("column: Post", "column: Posting"), GOOD, ["map.yaml", "`Posting`"]),
        (MAPPING.replace("sizes:", "size:"), GOOD, ["map.yaml", "`size`"]),
        (MAPPING.replace("{column: Net,", "{always: 1, column: Net,"), GOOD, ["exactly one"]),
        (MAPPING, "A;footbed\n", ["list.csv:2", "8 cells"]),
        (MAPPING, "", ["no rows"]),
    ],
)
def test_a_mapping_that_does_not_fit_the_list_is_refused(
    tmp_path: Path, attributes: dict[str, AttributeDef], mapping: str, rows: str, words: list[str]
) -> None:
    """The file that must be mended is named."""
    with pytest.raises(InputError) as caught:
        import_csv(*written(tmp_path, rows, mapping), attributes, PARAMETERS)
    for word in words:
        assert word in str(caught.value)


def test_a_list_that_is_not_text_is_refused(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """Bytes that are not UTF-8 give one sentence."""
    path, mapping = written(tmp_path, GOOD)
    path.write_bytes(b"\xff\xfe\x00binary")
    with pytest.raises(InputError, match="UTF-8"):
        import_csv(path, mapping, attributes, PARAMETERS)


def test_what_is_written_reads_back_the_same(
    tmp_path: Path, attributes: dict[str, AttributeDef]
) -> None:
    """The catalogue file that the import writes holds the same items."""
    imported = import_csv(*written(tmp_path, GOOD), attributes, PARAMETERS)
    folder = tmp_path / "shop"
    folder.mkdir()
    write_products(imported, folder / "supplier.yaml", replace=False)
    assert load_catalogue(folder, attributes).items == imported.items
    with pytest.raises(InputError, match="exists already"):
        write_products(imported, folder / "supplier.yaml", replace=False)
