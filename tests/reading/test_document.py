"""What the reader accepts: plain YAML and JSON as people and programs write it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml.comments import CommentedMap

from recommend.errors import InputError, nearest, readable
from recommend.reading import read_document, texts, written
from recommend.reading.document import parse_document
from recommend.visit.answers import Text
from recommend.visit.entry_steps import EntryStep
from recommend.visit.writing import change, edited

VISIT = {"reference": "QB-1", "feet": {"left": {"foot-length-mm": 265.5}}}


@pytest.mark.parametrize("indent", [None, 2, "\t"])
@pytest.mark.parametrize("ascii_only", [True, False])
def test_json_of_every_layout_reads(indent: int | str | None, ascii_only: bool) -> None:
    """JSON on one line, indented by spaces or tabs, with characters escaped or not."""
    data = VISIT | {"remarks": 'quote " slash / \\ step 🚶 é'}
    text = json.dumps(data, indent=indent, ensure_ascii=ascii_only)
    assert parse_document(text, "visit.json").data == data


@pytest.mark.parametrize(
    ("text", "file"),
    [('{"peak":[7,3]}', "pasted"), ('{ "peak": [7,3] }', "v.yaml"), ("{peak: [7,3]}", "v.json")],
)
def test_a_machine_that_leaves_blanks_out_is_read(text: str, file: str) -> None:
    """JSON (RFC 8259) has no decimal comma: in it, `[7,3]` is two numbers."""
    assert parse_document(text, file).data == {"peak": [7, 3]}


@pytest.mark.parametrize("as_typed", ["[7,3]", "[4,5,6]", "[\n  7,3,\n  8.5 ]", "[7.2, -8,4]"])
def test_by_hand_a_comma_between_digits_is_never_two_numbers(as_typed: str) -> None:
    """Seven point three with a decimal comma, or 7 and 3: refused, whatever stands beside it."""
    with pytest.raises(InputError, match="in two ways"):
        parse_document(f"peak: {as_typed}", "v.yaml")


@pytest.mark.parametrize("written", ["[7, 3]", "[7.5,3.5]", "[7,-3]", "[7,\n 3]", "[7, 3 # 7,3\n]"])
def test_a_list_that_reads_in_one_way_is_read(written: str) -> None:
    """A blank, a point or a sign beside the comma says that it parts two numbers."""
    assert parse_document(f"peak: {written}", "v.yaml").data == {"peak": yaml.safe_load(written)}


def test_a_backslash_before_an_escape_is_kept() -> None:
    """A written-out backslash followed by ud83d is text, not half a character."""
    data = {"remarks": "\\ud83d\\ude00 and \\\\ud83d", "step": "🚶\\"}
    assert parse_document(json.dumps(data), "visit.json").data == data


_PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**17), 10**17)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cc", "Cs", "Mn", "Mc", "Me", "Cn", "Co", "Cf"])),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.from_regex(r"[a-z]{1,8}", fullmatch=True), inner, max_size=4)
    ),
    max_leaves=20,
)


@given(st.dictionaries(st.from_regex(r"[a-z]{1,8}", fullmatch=True), _PLAIN, min_size=1))
def test_what_json_writes_is_read_alike(data: dict[str, object]) -> None:
    """Any JSON of the standard library's writer reads as json.loads reads it.

    Texts are compared as NFC, the one spelling the reader gives to accented letters.
    """
    text = json.dumps(data)
    assert _composed(parse_document(text, "x.json").data) == _composed(json.loads(text))


def _composed(value: object) -> object:
    import unicodedata

    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, list):
        return [_composed(one) for one in value]
    if isinstance(value, dict):
        return {key: _composed(one) for key, one in value.items()}
    return value


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_every_line_ending_reads_and_counts(ending: str, tmp_path: Path) -> None:
    """Files of any system read alike, and lines are counted alike."""
    path = tmp_path / "visit.yaml"
    path.write_bytes(ending.join(["reference: QB-1", "", "purpose: walking"]).encode())
    document = read_document(path)
    assert document.data == {"reference": "QB-1", "purpose": "walking"}
    assert document.place(("purpose",)).line == 3


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    """An editor's UTF-8 mark is no part of the first key."""
    path = tmp_path / "visit.yaml"
    path.write_bytes(b"\xef\xbb\xbfreference: QB-1\n")
    assert read_document(path).data == {"reference": "QB-1"}


def test_an_accent_is_one_letter_however_it_was_typed(tmp_path: Path) -> None:
    """Composed and decomposed letters read alike (Unicode standard annex 15, form C)."""
    path = tmp_path / "visit.yaml"
    path.write_text("reference: Zoe\u0301\n", encoding="utf-8")
    assert read_document(path).data == {"reference": "Zo\u00e9"}


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("yes", "yes"), ("no", "no"), ("on", "on"), ("off", "off"), ("010", 10), ("+4", 4),
        ("1e3", 1000.0), (".5", 0.5), ("5.", 5.0), ("-0.0", 0.0), ("2026-11-25", "2026-11-25"),
        ("0x1F", "0x1F"), ("0o17", "0o17"), ("1_000", "1_000"), ("12:30", "12:30"),
        ("~", None), ("null", None), ("", None), ("true", True), ("False", False),
        ("'265'", "265"), ("not a number", "not a number"), ("nano", "nano"),
    ],
)  # fmt: skip
def test_plain_values_read_as_yaml_1_2(written: str, value: object) -> None:
    """Words stay words and numbers are decimal, as in the core schema of YAML 1.2 (less its
    hexadecimal and octal numbers, which no measure is written in).
    """
    read = parse_document(f"key: {written}\n", "x").data["key"]
    assert (type(read), read) == (type(value), value)


@given(st.text(alphabet="abc-:[]{}#&*!|>'\"%@`\n\t ,0.", max_size=40))
def test_any_text_reads_or_is_refused_with_a_sentence(text: str) -> None:
    """Whatever is typed, the answer is data or one line; structure is that of the YAML library."""
    message, data = "", None
    try:
        data = parse_document(text, "x.yaml").data
    except InputError as error:
        message = str(error)
    if data is None:
        assert message.startswith("x.yaml")
        assert message.isprintable()
    else:
        assert _shape(data) == _shape(yaml.load(text, Loader=yaml.CBaseLoader))


def _shape(value: object) -> object:
    if isinstance(value, dict):
        return {str(key): _shape(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_shape(one) for one in value]
    return "leaf"


def test_a_message_shows_what_cannot_be_seen() -> None:
    """Invisible characters are spelt out, long quotations cut, visible text left alone."""
    assert readable("a\u200bb\n`c`") == "a<U+200B>b<U+000A>`c`"
    assert readable("`" + "x" * 200 + "` in `y`").endswith("...` in `y`")
    assert readable("2.5° ± é 🚶") == "2.5° ± é 🚶"


def test_the_nearest_spelling_is_offered_only_when_near() -> None:
    """A hint that is far off would mislead."""
    assert nearest("propulsoin", ["propulsion", "contact"]) == "did you mean `propulsion`?"
    assert nearest("shoes", ["contact"]) == ""


# What a person may type, and YAML, or a line in brackets, takes for something else.
ODD_TEXTS = (
    "0812", "08", "1e3", ".1e3", "+5", "inf", "-NaN", "Null", "~", "TRUE", "?a=b#c.csv", ": x",
    ":x", "é:?é", "? 'a", "- a", "a, b", "[a]", "{a: b}", "10:30", "# a", "'", '"', "*a", "&a",
    "%a", "a\nb",
)  # fmt: skip


def test_text_that_looks_like_something_else_is_read_as_it_was_written() -> None:
    """A whole file, and a part that is changed in one, hold every text in quotes where needed."""
    texts = [*ODD_TEXTS]
    for layout in ({}, {"default_flow_style": None}, {"default_flow_style": True}):
        text = written({"a": texts, "b": {"c": ODD_TEXTS[0]}}, **layout)
        assert parse_document(text, "f.yaml").data == {"a": texts, "b": {"c": ODD_TEXTS[0]}}
    named = [one for one in texts if "\n" not in one]

    def list_them(rows: Any) -> None:
        for name in named:
            rows.append(CommentedMap(file=name))
            rows[-1].fa.set_flow_style()

    document = edited(parse_document("reference: A-1\n", "v.yaml"), "captures", list_them, [])
    found = edited(document, "captures", lambda rows: rows.pop(0), []).data
    assert [one["file"] for one in found["captures"]] == named[1:]


def test_a_file_that_only_one_reader_takes_is_refused_and_not_changed(tmp_path: Path) -> None:
    """Lines that end with U+0085, a tab after a colon, a comma too many: one sentence each."""
    for text in (
        "reference: A-1\x85captures: # of the lab\x85- file: a\x85  side: left\x85",
        '{"reference": "A-1", "captures": [{"file": "a", "side": "left"}],}',
    ):
        document = parse_document(text, "v.yaml")
        assert document.data["captures"] == [{"file": "a", "side": "left"}]
        with pytest.raises(InputError, match="nothing was written"):
            edited(document, "captures", lambda rows: rows.pop(), [])
    remark = EntryStep("remarks", "", "", Text("words"), ("remarks",), "")
    visit = tmp_path / "v.yaml"
    visit.write_text("reference: A-1\nremarks:\told\n")
    with pytest.raises(InputError, match="nothing was written"):
        change(visit, remark, "new")
    assert "old" in visit.read_text()


def test_a_visit_in_json_is_changed_as_one(tmp_path: Path) -> None:
    """A top-level value is set and taken out, signs beyond U+FFFF stay, and it is JSON again."""
    visit, remark = (
        tmp_path / "v.json",
        EntryStep("remarks", "", "", Text("words"), ("remarks",), ""),
    )
    visit.write_text(json.dumps({"reference": "A-1", "captures": [{"file": "\U0001f9b6"}]}))
    change(visit, remark, "new")
    read = read_document(visit)
    visit.write_text(edited(read, "captures", lambda rows: rows.append({"file": "b"}), []).text)
    files = [{"file": "\U0001f9b6"}, {"file": "b"}]
    assert json.loads(visit.read_text("utf-8")) == {
        "reference": "A-1", "captures": files, "remarks": "new"
    }  # fmt: skip
    change(visit, remark, None)
    assert "remarks" not in json.loads(visit.read_text("utf-8"))


def test_a_file_of_too_many_values_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory and time have a bound in values, not only in bytes; the line is told."""
    monkeypatch.setattr("recommend.reading.plain_data.MAX_PARTS", 100)
    with pytest.raises(InputError, match=r"f\.yaml:1:\d+: the file holds more than 100 values"):
        parse_document("a: [" + "1, " * 200 + "1]", "f.yaml")


def test_a_whole_disk_is_no_folder_of_rules(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder with far too many files, or bytes, is refused with a sentence, and not read."""
    for name in "abc":
        (tmp_path / f"{name}.yaml").write_text("a: 1\n")
    monkeypatch.setattr(texts, "MOST_ENTRIES", 2)
    with pytest.raises(InputError, match=r"more than 2 files and folders.*not one above it"):
        texts.Texts.of_folder(tmp_path)
    assert len(texts.Texts.of_folder(tmp_path, "*.yaml")) == 3
    monkeypatch.setattr(texts, "MOST_BYTES", 10)
    with pytest.raises(InputError, match="0 MB of files"):
        texts.Texts.of_folder(tmp_path, "*.yaml")
