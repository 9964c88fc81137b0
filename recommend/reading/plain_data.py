"""From the events of the YAML parser to plain data, one pass, refusing what is not plain."""

from __future__ import annotations

import math
import re
from typing import Any

import yaml

from recommend.errors import InputError, Place

_QUOTE = "put the whole value in single quotes"
_INDENT = "line it up with its neighbours, using spaces only"

# part of the parser's own problem: (what was found, how to mend it)
_STUMBLES: tuple[tuple[str, str, str], ...] = (
    (
        "mapping values are not allowed",
        "this colon cannot stand here",
        "line the key up with its neighbours, or put a value that holds a colon in quotes",
    ),
    (
        "could not find expected ':'",
        "the colon after a key is missing on the line above",
        "write `key: value` with a colon and a space",
    ),
    (
        "did not find expected ',' or ']'",
        "a list in [ ] lacks a comma or its closing bracket",
        "add the comma or the ]",
    ),
    (
        "did not find expected ',' or '}'",
        "a mapping in { } lacks a comma or its closing brace",
        "add the comma or the }",
    ),
    ("did not find expected '-' indicator", "this line is not part of the list above", _INDENT),
    ("did not find expected key", "this line does not fit the lines above it", _INDENT),
    (
        "did not find expected node content",
        "a value or a closing bracket is missing here",
        "write the value, or close the [ or { that is open",
    ),
    (
        "block sequence entries are not allowed",
        "the `-` of a list cannot stand here",
        "begin the list on a line of its own",
    ),
    ("found unexpected end of stream", "a quote is opened here and never closed", "close it"),
    ("found unexpected document indicator", "a quote is never closed before this", "close it"),
    (
        "found unknown escape character",
        "a backslash in double quotes is not followed by a known letter",
        "use single quotes, in which a backslash is a backslash",
    ),
    (
        "invalid Unicode character escape",
        "an escape (backslash u) in double quotes is no character, such as half of one",
        "write the character itself",
    ),
    (
        "did not find expected hexdecimal number",
        "an escape in double quotes lacks its hexadecimal digits",
        "write the character itself, or use single quotes",
    ),
    (
        "exceeded maximum nesting depth",
        "this is nested too deeply",
        "look for brackets that are never closed",
    ),
    (
        "unexpected ':'",
        "a colon stands here without a space after it",
        "write a space after the colon, or put the text in quotes",
    ),
    ("tab character", "a tab stands here", "indent with spaces only"),
    ("undefined tag handle", "`!` cannot stand here", _QUOTE),
    ("expected alphabetic or numeric character", "`*` or `&` cannot stand here", _QUOTE),
    ("while scanning a directive", "a line that begins with % is not YAML here", "remove the line"),
    ("while parsing a tag", "`!` cannot stand here", _QUOTE),
    ("while scanning a tag", "`!` cannot stand here", _QUOTE),
    ("while scanning a block scalar", "a block of text (| or >) is not well formed", _INDENT),
    ("document start", "text follows the end of the document", "remove it"),
    ("found incompatible YAML document", "the file asks for another YAML version", "remove %YAML"),
)

Loc = tuple[str | int, ...]

MAX_DEPTH = 40
MAX_PARTS = 500_000  # values of one file: three seconds to read, and a third of a gigabyte

_INT = re.compile(r"[-+]?[0-9]+")
# Two whole numbers with nothing but a comma between them: one with a decimal comma, perhaps.
_COMMA = re.compile(r"(?<![\d.])\d+,\d+(?![\d.])")
_REMARK = re.compile(r"\s#.*")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.?(inf|infinity|nan)|[-+]?1\.#(inf|ind|qnan|nan).*", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f]")
_WORDS = {"null": None, "~": None, "": None, "true": True, "false": False}
_MAX_DIGITS = 18


def is_bare_text(value: str) -> bool:
    """Whether `value`, written without quotes, would be read as text and not as something else."""
    others = (_INT, _FLOAT, _NOT_FINITE)
    return value.lower() not in _WORDS and not any(one.fullmatch(value) for one in others)


class Builder:
    """Builds the data of one document and notes where each part stands.

    Works on the parser's events rather than its nodes: nothing is expanded, and a file of
    brackets is refused at its fortieth instead of exhausting the C stack.
    """

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text = file, text
        # A machine wrote it: a decimal comma cannot be meant, and blanks are often left out.
        self._json = file.endswith(".json") or bool(re.match(r'\s*\{\s*"', text))
        self.places: dict[Loc, tuple[int, int]] = {}
        self.keys: dict[Loc, tuple[int, int]] = {}
        self._parser = yaml.CSafeLoader(text)

    def document(self) -> Any:
        """The data of the only document.

        Raises
        ------
        InputError
            If there is none, or more than one, or something in it is refused.
        """
        try:
            return self._document()
        finally:
            self._parser.dispose()

    def _document(self) -> Any:
        self._next()  # start of the stream
        if isinstance(self._next(), yaml.StreamEndEvent):
            raise InputError(
                Place(self.file, 1),
                "the file is empty or holds only comments",
                mend="start from an example in catalogue_demo/ or rules/",
            )
        data = self._value(self._next(), ())
        self._next()  # end of the document
        after = self._next()
        if not isinstance(after, yaml.StreamEndEvent):
            raise InputError(
                self._at(after),
                "a second document begins here (---)",
                "one document in a file",
                "move it to a file of its own",
            )
        if data is None:
            raise InputError(
                Place(self.file, 1),
                "the file holds nothing",
                mend="start from an example in catalogue_demo/ or rules/",
            )
        return data

    def _next(self) -> Any:
        try:
            return self._parser.get_event()
        except yaml.YAMLError as error:
            raise syntax_error(error, self.file, self.text) from None

    def _value(self, event: Any, loc: Loc) -> Any:
        if event.anchor is not None or event.tag is not None:
            self._refuse(event)
        self.places[loc] = _spot(event)
        if len(self.places) > MAX_PARTS:
            raise InputError(
                self._at(event),
                f"the file holds more than {MAX_PARTS:,} values",
                mend="share it out among several files",
            )
        if len(loc) > MAX_DEPTH:
            raise InputError(
                self._at(event),
                "this is nested too deeply",
                f"up to {MAX_DEPTH} levels",
                "look for brackets or indentation that are never closed",
            )
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event)
        if isinstance(event, yaml.MappingStartEvent):
            return self._mapping(loc)
        return self._sequence(event, loc)

    def _refuse(self, event: Any) -> None:
        """Refuse what a visit or a rule does not need: an alias, an anchor or a tag."""
        if isinstance(event, yaml.AliasEvent):
            what, name = "an alias", f"*{event.anchor}"
        elif event.anchor is not None:
            what, name = "an anchor", f"&{event.anchor}"
        else:
            what, name = "a tag", str(event.tag).replace("tag:yaml.org,2002:", "!!")
        raise InputError(
            self._at(event),
            f"{what} (`{name}`) stands here",
            "values written out",
            "write the value out, or put it in quotes if it is text",
        )

    def _sequence(self, begin: Any, loc: Loc) -> list[Any]:
        out: list[Any] = []
        while not isinstance(event := self._next(), yaml.SequenceEndEvent):
            out.append(self._value(event, (*loc, len(out))))
        if begin.flow_style and len(out) > 1 and all(type(one) in (int, float) for one in out):
            self._refuse_decimal_commas(begin, event, len(out))
        return out

    def _refuse_decimal_commas(self, begin: Any, end: Any, count: int) -> None:
        """Refuse ``[7,3]``: one number with a decimal comma, or two; never guessed.

        A machine's JSON leaves every blank out or none: there only a mixture is refused.
        """
        written = self.text[begin.start_mark.index : end.end_mark.index]
        written = " ".join(_REMARK.sub("", written).split())
        found = _COMMA.search(written)
        if found and (not self._json or ", " in written):
            raise InputError(
                self._at(begin),
                f"`{written[:40]}` can be read in two ways: {count} numbers, or fewer with "
                "decimal commas",
                "numbers with a decimal point, a comma and a blank between them",
                f"write {found.group().replace(',', '.')} if it is one number, or "
                f"{found.group().replace(',', ', ')} if it is two",
            )

    def _mapping(self, loc: Loc) -> dict[str, Any]:
        out: dict[str, Any] = {}
        while not isinstance(event := self._next(), yaml.MappingEndEvent):
            key = self._key(event)
            here = (*loc, key)
            if key in out:
                line = self.keys[here][0]
                raise InputError(
                    self._at(event),
                    f"`{key}` stands twice (first on line {line})",
                    "each key once",
                    "write a decimal point, not a comma, if this is part of a number"
                    if key.isdigit()
                    else "remove one of the two",
                )
            self.keys[here] = _spot(event)
            out[key] = self._value(self._next(), here)
        return out

    def _key(self, event: Any) -> str:
        if event.anchor is not None or event.tag is not None:
            self._refuse(event)
        found = ""
        if not isinstance(event, yaml.ScalarEvent):
            found = "a list or mapping stands where a key should"
        elif not event.value.strip() and not event.style:
            found = "a key is missing before this colon"
        elif event.value == "<<" and not event.style:
            found = "a merge key (`<<`) stands here"
        if found:
            raise InputError(self._at(event), found, "a word", "write each key out as a word")
        self._refuse_control(event.value, event)
        return str(event.value)

    def _scalar(self, event: Any) -> Any:
        value = str(event.value)
        if event.style:  # quoted, or a block of text
            self._refuse_control(value, event)
            return value
        if value.lower() in _WORDS:
            return _WORDS[value.lower()]
        if _NOT_FINITE.fullmatch(value):
            raise InputError(
                self._at(event),
                f"`{value}` is not a number",
                "finite numbers",
                "leave the line out if it is not known, or quote it if it is text",
            )
        return self._number(value, event)

    def _refuse_control(self, value: str, event: Any) -> None:
        """Refuse what an escape in quotes can smuggle in and a terminal would act on."""
        found = _CONTROL.search(value)
        if found:
            raise InputError(
                self._at(event),
                f"the text holds the control character U+{ord(found.group()):04X}",
                "plain text",
                "delete it",
            )

    def _number(self, value: str, event: Any) -> Any:
        if _INT.fullmatch(value):
            if len(value.lstrip("+-")) > _MAX_DIGITS:
                raise InputError(
                    self._at(event),
                    f"`{value}` has too many digits",
                    f"up to {_MAX_DIGITS} digits",
                    "correct the number, or quote it if it is text",
                )
            return int(value)
        if _FLOAT.fullmatch(value):
            number = float(value)
            if not math.isfinite(number):
                raise InputError(
                    self._at(event), f"`{value}` is too large", "numbers up to 1e308", "correct it"
                )
            return number
        return value

    def _at(self, event: Any) -> Place:
        return Place(self.file, *_spot(event))


def _spot(event: Any) -> tuple[int, int]:
    """Line and column where an event begins, counted from one."""
    mark = event.start_mark
    return mark.line + 1, mark.column + 1


def syntax_error(error: yaml.YAMLError, file: str, text: str) -> InputError:
    """The parser's error as a sentence with its place."""
    if not isinstance(error, yaml.MarkedYAMLError):
        return InputError(
            Place(file),
            "the file holds a character that YAML does not allow",
            "plain text",
            "save it as plain text in UTF-8",
        )
    problem = " ".join(filter(None, (error.context, error.problem)))
    unclosed = "unexpected end of stream" in problem
    mark = (error.context_mark if unclosed else None) or error.problem_mark or error.context_mark
    place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file)
    if "cannot start any token" in problem:
        return _cannot_start(place, text)
    for part, found, mend in _STUMBLES:
        if part in problem:
            return InputError(place, found, mend=mend)
    return InputError(
        place,
        f"the file is not YAML here ({problem})",
        mend="look at indentation, colons and quotes on this line and the one above",
    )


def _cannot_start(place: Place, text: str) -> InputError:
    character = text.splitlines()[place.line - 1][place.column - 1 :][:1]
    if character == "\t":
        return InputError(place, "a tab stands here", "spaces", "indent with spaces only")
    return InputError(place, f"a value cannot begin with {character}", mend=_QUOTE)
