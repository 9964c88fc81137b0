"""What the YAML parser stumbles over, in words for someone who does not know YAML."""

from __future__ import annotations

import yaml

from recommend.errors import InputError, Place

_QUOTE = "put the whole value in single quotes"
_INDENT = "line it up with its neighbours, using spaces only"

# part of the parser's own problem: (what was found, how to mend it)
_WORDS: tuple[tuple[str, str, str], ...] = (
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
    for part, found, mend in _WORDS:
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
