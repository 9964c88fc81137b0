# ruff: noqa: E501 (a case stands on one line)
"""Visit files that are each wrong in one way.

name -> (content, words that the message must hold). § marks the line that the message must
point at and is taken out; without a § the message names the file only. `BASE` is a good visit.
"""

from __future__ import annotations

import json

BASE = """reference: QB-1
age-band: adult
body-mass-kg: 70
purpose: walking
shoe-size: {system: eu, value: 42}
pain: []
answers: {diabetes: no}
feet:
  left:
    fpi: {total: 3}
    foot-length-mm: 265
    truncated-foot-length-mm: 195
"""

Case = tuple[str | bytes, tuple[str, ...]]


def after(lines: str) -> str:
    """The good visit with more lines of the left foot."""
    return BASE + "".join(f"    {line}\n" for line in lines.splitlines())


def instead(old: str, new: str) -> str:
    """The good visit with one thing replaced."""
    assert old in BASE
    return BASE.replace(old, new, 1)


def foot(lines: str) -> str:
    """A visit with only these lines of the left foot."""
    body = "".join(f"    {line}\n" for line in lines.splitlines())
    return f"reference: QB-1\nfeet:\n  left:\n{body}"


NOT_YAML: dict[str, Case] = {
    "empty": ("", ("empty", "start from an example")),
    "only-blanks": ("\n\n   \n", ("empty",)),
    "only-comments": ("# nothing\n# at all\n", ("only comments",)),
    "only-a-marker": ("---\n", ("holds nothing",)),
    "only-null": ("null\n", ("holds nothing",)),
    "only-tilde": ("~\n", ("holds nothing",)),
    "only-bom": (b"\xef\xbb\xbf", ("empty",)),
    "a-word": ("hello\n", ("the file is the text `hello`", "the keys reference")),
    "a-number": ("42\n", ("the file is `42`",)),
    "a-list": ("- reference: QB-1\n", ("the file is a list", "the keys reference")),
    "two-documents": (BASE + "§---\n" + BASE, ("second document", "file of its own")),
    "two-documents-second-empty": (BASE + "...\n§---\n", ("second document",)),
    "tab-indented": ("reference: QB-1\nfeet:\n§\tleft: {}\n", ("a tab", "spaces")),
    "indented-too-far": ("reference: QB-1\n§  purpose: walking\n", ("this colon",)),
    "indented-too-little": (
        "reference: QB-1\nfeet:\n    left:\n§  right: {}\n", ("does not fit the lines above",),
    ),
    "two-colons": ("§reference: QB: 1\n", ("this colon", "quotes")),
    "colon-missing": ("reference: QB-1\npurpose\n§age-band: adult\n", ("colon", "line above")),
    "bracket-open": (foot("rearfoot: [\n"), ("closing bracket", "close the [")),
    "brace-open": ("reference: QB-1\nshoe-size: {system: eu, value: 42\n", ("{ }", "}")),
    "bracket-of-wrong-kind": ("reference: QB-1\n§pain: [}\n", ("value",)),
    "quote-open": ('reference: QB-1\n§remarks: "no end\npurpose: walking\n', ("quote", "close it")),
    "single-quote-open": ("reference: QB-1\n§remarks: 'no end\n", ("quote", "close it")),
    "at-sign": ("§reference: @QB\n", ("cannot begin with @", "quotes")),
    "backtick": ("§reference: `QB`\n", ("cannot begin with", "quotes")),
    "percent-value": ("reference: QB-1\n§remarks: %5\n", ("cannot begin with %",)),
    "percent-line": ("§%reference QB-1\n", ("%",)),
    "unknown-escape": ('reference: QB-1\n§remarks: "C:\\windows"\n', ("backslash", "single quotes")),
    "short-escape": ('reference: QB-1\n§remarks: "\\u12"\n', ("hexadecimal",)),
    "dash-inside-line": ("reference: QB-1\n§pain: - heel\n", ("`-`", "line of its own")),
    "item-among-keys": ("reference: QB-1\n§- purpose\n", ("does not fit",)),
    "key-among-items": ("pain:\n  - {site: heel, side: left}\n§  site: heel\n", ("list above",)),
    "block-of-text-wrong": ("reference: QB-1\n§remarks: |x\n  a\n", ("block of text",)),
    "lone-brackets": ("[" * 12 + "\n", ("closing bracket",)),
    "yaml-version": ("%YAML 3.0\n---\nreference: QB-1\n", ("version",)),
    "not-yaml-html": ("<html><body>visit</body></html>\n", ("the file is the text",)),
    "csv": ("reference,purpose\nQB-1,walking\n", ("the file is the text",)),
}  # fmt: skip

BYTES: dict[str, Case] = {
    "binary-zeros": (b"\x00" * 64, ("control character U+0000", "text file")),
    "binary-png": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", ("not text in UTF-8",)),
    "binary-gzip": (b"\x1f\x8b\x08\x00\x00\x00\x00\x00", ("not text in UTF-8",)),
    "binary-zip": (b"PK\x03\x04\x14\x00\x00\x00", ("control character U+0003",)),
    "binary-sqlite": (b"SQLite format 3\x00\x10\x00\x01", ("control character U+0000",)),
    "utf-16-le": (BASE.encode("utf-16"), ("UTF-16", "save it as UTF-8")),
    "utf-16-be": (b"\xfe\xff" + BASE.encode("utf-16-be"), ("UTF-16",)),
    "utf-16-bare": (BASE.encode("utf-16-le"), ("control character U+0000",)),
    "utf-32": (BASE.encode("utf-32"), ("UTF-32",)),
    "latin-1": (BASE.replace("QB-1", "Müller").encode("latin-1"), (":1", "not text in UTF-8")),
    "latin-1-later": ((BASE + "remarks: é\n").encode("latin-1"), (":13", "UTF-8")),
    "utf-7-surrogate": (b"reference: \xed\xa0\x80\n", ("not text in UTF-8",)),
    "overlong": (b"reference: \xc0\xaf\n", ("not text in UTF-8",)),
    "cut-off-letter": (b"reference: QB-1\nremarks: caf\xc3", ("not text in UTF-8",)),
    "bell": (b"reference: QB\x07-1\n", ("U+0007",)),
    "escape-sequence": (b"reference: \x1b[31mQB\n", ("U+001B",)),
    "delete-character": (b"reference: QB\x7f1\n", ("U+007F",)),
    "c1-control": ("reference: QB\x9b31m\n", ("U+009B",)),
    "form-feed": (b"reference: QB-1\n\x0cpurpose: walking\n", (":2", "U+000C")),
    "noncharacter": ("reference: QB\uffff\n", ("U+FFFF",)),
}

NOT_PLAIN: dict[str, Case] = {
    "alias": ("reference: &r QB-1\nremarks: *r\n", ("an anchor (`&r`)", "write the value out")),
    "alias-unknown": ("§reference: *r\n", ("an alias (`*r`)",)),
    "anchor-on-mapping": ("reference: QB-1\n§feet: &f {}\n", ("an anchor (`&f`)",)),
    "anchor-on-key": ("§&a reference: QB-1\n", ("an anchor (`&a`)",)),
    "merge-key": ("reference: QB-1\nfeet:\n  left: {}\n§  <<: {right: {}}\n", ("merge key",)),
    "tag-python": ("§reference: !!python/object/apply:os.getcwd []\n", ("a tag", "python")),
    "tag-str": ("§reference: !!str 5\n", ("a tag (`!!str`)",)),
    "tag-own": ("§reference: !lab 5\n", ("a tag (`!lab`)",)),
    "tag-binary": ("§reference: !!binary aGk=\n", ("a tag (`!!binary`)",)),
    "tag-bare": ("§reference: ! QB-1\n", ("a tag (`!`)",)),
    "tag-undefined-handle": ("§reference: !x!y QB-1\n", ("`!` cannot stand here",)),
    "tag-on-key": ("§!!str reference: QB-1\n", ("a tag",)),
    "duplicate-key": ("reference: QB-1\n§reference: QB-2\n", ("twice", "line 1", "remove one")),
    "duplicate-key-deep": (after("§fpi: {total: 4}"), ("`fpi` stands twice", "line 10")),
    "duplicate-key-in-braces": (
        instead("{system: eu, value: 42}", "§{system: eu, value: 42, value: 43}"), ("`value`",),
    ),
    "list-as-key": ("reference: QB-1\n§? [a, b]\n: c\n", ("a list or mapping", "key")),
    "mapping-as-key": ("reference: QB-1\n§{a: b}: c\n", ("a list or mapping",)),
    "key-missing": ("reference: QB-1\n§: walking\n", ("does not fit",)),
    "key-missing-in-braces": ("§{: walking}\n", ("missing here",)),
    "quoted-empty-key": ('reference: QB-1\n§"": walking\n', ("not a known key",)),
    "null-key": ("reference: QB-1\n§~: walking\n", ("`~` is not a known key",)),
    "number-key": ("reference: QB-1\n§1: walking\n", ("`1` is not a known key",)),
    "true-key": ("reference: QB-1\n§true: walking\n", ("`true` is not a known key",)),
    "nan-key": ("reference: QB-1\n§.nan: walking\n", ("`.nan` is not a known key",)),
    "date-key": ("reference: QB-1\n§2026-01-01: walking\n", ("`2026-01-01`",)),
    "bomb": (
        "a: &a [x, x]\n" + "".join(f"{c}: &{c} [*{p}, *{p}]\n" for p, c in zip("abcdefgh", "bcdefghi", strict=True)),
        ("an anchor (`&a`)",),
    ),
    "bomb-of-one-line": ("§a: [&x [&y [*x, *x], *y], *x]\n", ("an anchor",)),
    "self-containing": ("§a: &a [*a]\n", ("an anchor",)),
    "brackets-41": ("§a: " + "[" * 41 + "]" * 41 + "\n", ("nested too deeply", "40 levels")),
    "brackets-999": ("§a: " + "[" * 999 + "]" * 999 + "\n", ("nested too deeply",)),
    "brackets-100000": ("§" + "[" * 100_000, ("nested too deeply",)),
    "brackets-100000-closed": ("§" + "[" * 100_000 + "]" * 100_000, ("nested too deeply",)),
    "braces-100000": ("§" + '{"a":' * 100_000, ("nested too deeply",)),
    "braces-unquoted": ("§" + "{a: " * 5_000, ("nested too deeply",)),
    "dashes-100000": ("§" + "- " * 100_000, ("nested too deeply",)),
    "questions-100000": ("§" + "? " * 100_000, ("a list or mapping stands",)),
    "indents-3000": (
        "".join(" " * n + "a:\n" for n in range(3_000)), ("nested too deeply",),
    ),
    "quotes-nested": ("§a: " + "[" * 30 + "{b: " * 30, ("nested too deeply",)),
}  # fmt: skip

NUMBERS: dict[str, Case] = {
    f"not-finite-{spelling}": (instead("70", spelling).replace("body", "§body"), ("finite",))
    for spelling in (
        ".nan", ".NaN", ".NAN", "nan", "NaN", "NAN", ".inf", ".Inf", ".INF", "inf", "-inf", "+inf",
        "-.inf", "+.inf", "Infinity", "-Infinity", "INFINITY", "1.#INF", "-1.#IND", "1.#QNAN",
    )
}  # fmt: skip
NUMBERS |= {
    "quoted-nan": (instead("70", "§'nan'"), ("the text `nan`", "a number from 8 to 300 kg")),
    "quoted-inf": (instead("70", "§'inf'"), ("the text `inf`", "a number from 8 to 300 kg")),
    "quoted-number": (instead("70", "§'70'"), ("the text `70`", "without quotes")),
    "with-unit": (instead("70", "§70 kg"), ("the text `70 kg`", "bare number: 70")),
    "decimal-comma": (instead("265", "§265,5"), ("`265,5`", "decimal point: 265.5")),
    "typographic-minus": (foot("fpi: {total: §\u22123}"), ("ordinary minus",)),
    "thousands": (instead("70", "§1_000"), ("the text `1_000`", "from 8 to 300 kg")),
    "hexadecimal": (instead("70", "§0x46"), ("the text `0x46`",)),
    "sexagesimal": (instead("70", "§1:10"), ("the text `1:10`",)),
    "fraction": (instead("70", "§141/2"), ("the text `141/2`",)),
    "arabic-digits": (instead("70", "§٧٠"), ("a number from 8 to 300 kg",)),
    "fullwidth-digits": (instead("70", "§７０"), ("a number from 8 to 300 kg",)),
    "approximately": (instead("70", "§~70"), ("the text `~70`",)),
    "question-mark": (instead("70", '§"?"'), ("leave the line out",)),
    "dash": (instead("70", '§"-"'), ("leave the line out",)),
    "n-a": (instead("70", "§n/a"), ("the text `n/a`", "leave the line out")),
    "exponent-huge": (instead("70", "§1e400"), ("too large",)),
    "exponent-negative-huge": (instead("70", "§-1e400"), ("too large",)),
    "exponent-absurd": (instead("70", "§1e999999999"), ("too large",)),
    "exponent-large": (instead("70", "§7e10"), ("a number from 8 to 300 kg",)),
    "exponent-small": (instead("70", "§7e-10"), ("a number from 8 to 300 kg",)),
    "exponent-zero": (instead("70", "§1e-400"), ("a number from 8 to 300 kg",)),
    "exponent-without-digits": (instead("70", "§7e"), ("the text `7e`",)),
    "digits-19": (instead("70", "§" + "7" * 19), ("too many digits",)),
    "digits-100000": (instead("70", "§" + "7" * 100_000), ("too many digits",)),
    "negative": (instead("70", "§-70"), ("`-70`", "from 8 to 300 kg")),
    "zero": (instead("70", "§0"), ("`0`", "from 8 to 300 kg")),
    "true-as-number": (instead("70", "§true"), ("`true`", "from 8 to 300 kg")),
    "yes-as-number": (instead("total: 3", "§total: yes"), ("the text `yes`", "from -12 to 12")),
    "true-as-item": (foot("fpi:\n  items:\n§    calcaneus: true"), ("`true`", "from -2 to 2")),
    "list-as-number": (instead("70", "§[70]"), ("a list", "from 8 to 300 kg")),
    "mapping-as-number": (instead("70", "§{kg: 70}"), ("a group of keys", "from 8 to 300 kg")),
    "date-as-number": (instead("70", "§2026-01-01"), ("the text `2026-01-01`",)),
    "half-score": (instead("total: 3", "§total: 3.5"), ("`3.5`", "a whole number")),
    "whole-but-written-decimal": (instead("total: 3", "§total: 3.0"), ("a whole number",)),
}

RANGES: dict[str, Case] = {
    "item-of-3": (foot("fpi:\n  items:\n§    talar-head: 3"), ("talar-head` is `3`", "from -2 to 2")),
    "item-of-minus-3": (foot("fpi:\n  items:\n§    calcaneus: -3"), ("`-3`", "from -2 to 2")),
    "item-of-half": (foot("fpi:\n  items:\n§    calcaneus: 0.5"), ("`0.5`", "a whole number")),
    "item-as-plus": (foot("fpi:\n  items:\n§    calcaneus: ++"), ("`++`", "from -2 to 2")),
    "total-of-13": (instead("total: 3", "§total: 13"), ("`13`", "from -12 to 12")),
    "total-of-minus-13": (instead("total: 3", "§total: -13"), ("`-13`", "from -12 to 12")),
    "angle-of-50": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: [4, 50]"),
        ("contact#2` is `50`", "from -45 to 45 degrees"),
    ),
    "angle-of-200-alone": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: 200"),
        ("`200`", "from -45 to 45 degrees"),
    ),
    "angle-as-word": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: [4, lost]"),
        ("the text `lost`", "degrees"),
    ),
    "angle-as-text": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: 4.1 5.2 4.8"),
        ("the text `4.1 5.2 4.8`", "1 to 2000 angles"),
    ),
    "angle-true": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: true"),
        ("`true`", "angles"),
    ),
    "no-strides": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: []"),
        ("has no entries", "1 to 2000 angles"),
    ),
    "too-many-strides": (
        foot(f"rearfoot:\n  - gait: walking\n    reference: vertical\n§    contact: {[4.5] * 2001}"),
        ("has 2001 entries", "1 to 2000 angles"),
    ),
    "too-many-entries": (
        foot("§rearfoot: [" + "{gait: walking, reference: vertical}, " * 21 + "]"),
        ("has 21 entries", "up to 20 entries"),
    ),
    "length-in-cm": (instead("265", "§26.5"), ("`26.5`", "from 80 to 400 mm")),
    "length-in-m": (instead("265", "§0.265"), ("from 80 to 400 mm",)),
    "length-huge": (instead("265", "§2650"), ("from 80 to 400 mm",)),
    "truncated-too-short": (instead("195", "§19.5"), ("from 50 to 350 mm",)),
    "width-huge": (after("§forefoot-width-mm: 1000"), ("from 30 to 180 mm",)),
    "heel-width-zero": (after("§heel-width-mm: 0"), ("from 20 to 120 mm",)),
    "dorsum-zero": (after("§dorsum-height-mm: {standing: 0}"), ("above 0 and below 200",)),
    "dorsum-200": (after("§dorsum-height-mm: {sitting: 200}"), ("above 0 and below 200",)),
    "dorsum-bare-number": (after("§dorsum-height-mm: 65"), ("`65`", "the keys sitting, standing")),
    "navicular-negative": (after("§navicular-height-mm: {standing: -4}"), ("above 0",)),
    "arch-index-percent": (
        after("§arch-index: {value: 24, kind: ink, load: static}"), ("`24`", "from 0 to 1"),
    ),
    "excursion-200": (after("§cop: {excursion-index-percent: 200}"), ("from -100 to 100 percent",)),
    "path-of-two": (after("§cop: {path-mm: [[0, 1], [0, 2]]}"), ("has 2 entries", "5 to 5000")),
    "path-of-triples": (
        after("§cop: {path-mm: [[0, 1, 2], [0, 1], [0, 1], [0, 1], [0, 1]]}"),
        ("has 3 entries", "[x, y]"),
    ),
    "path-of-numbers": (after("§cop: {path-mm: [0, 1, 2, 3, 4]}"), ("path-mm#1` is `0`", "[x, y]")),
    "path-far-away": (
        after("§cop: {path-mm: [[0, 1e30], [0, 2], [0, 3], [0, 4], [0, 5]]}"), ("mm",),
    ),
    "path-short-of-toes": (
        after("forefoot-width-mm: 95\ncop: {path-mm: [[0, 5], [0, 50], [0, 90], [0, 95], [0, 99]]}"),
        ("left foot", "misses a third of the foot", "heel contact to toe-off"),
    ),
    "path-backwards": (
        after("forefoot-width-mm: 95\n§cop: {path-mm: [[0, 250], [0, 200], [0, 150], [0, 100], [0, 5]]}"),
        ("goes backwards", "forward"),
    ),
    "path-on-one-spot": (
        after("forefoot-width-mm: 95\n§cop: {path-mm: [[0, 5], [0, 5], [0, 5], [0, 5], [0, 5]]}"),
        ("forward",),
    ),
    "pain-of-11": (instead("[]", "§[{site: heel, side: left, score: 11}]"), ("from 0 to 10",)),
    "pain-weeks-negative": (
        instead("[]", "§[{site: heel, side: left, weeks: -1}]"), ("from 0 to 3000 weeks",),
    ),
    "pain-41-sites": (
        instead("[]", "§[" + "{site: heel, side: left}, " * 41 + "]"), ("has 41 entries", "up to 40"),
    ),
    "shoe-of-0": (instead("value: 42", "§value: 0"), ("above 0 and below 400",)),
    "shoe-of-400": (instead("value: 42", "§value: 400"), ("above 0 and below 400",)),
    "mass-of-a-baby": (instead("70", "§3.5"), ("from 8 to 300 kg",)),
}  # fmt: skip

WORDS: dict[str, Case] = {
    "age-band-misspelt": (instead("adult", "§adlt"), ("`adlt`", "child, teen, adult", "`adult`?")),
    "age-band-capital": (instead("adult", "§Adult"), ("`adult`?",)),
    "age-as-number": (instead("age-band: adult", "§age-band: 34"), ("`34`", "child, teen")),
    "age-as-list": (instead("adult", "§[adult]"), ("a list", "child, teen")),
    "purpose-unknown": (instead("walking", "§dancing"), ("`dancing`", "standing-work")),
    "purpose-with-space": (instead("walking", "§standing work"), ("`standing-work`?",)),
    "answer-maybe": (instead("diabetes: no", "§diabetes: maybe"), ("`maybe`", "not-asked")),
    "answer-capital": (instead("diabetes: no", "§diabetes: No"), ("`No`", "`no`?")),
    "answer-number": (instead("diabetes: no", "§diabetes: 0"), ("`0`", "yes, no, not-asked")),
    "answer-empty": (instead("{diabetes: no}", "\n§  diabetes:"), ("is empty", "not-asked")),
    "answer-without-space": (instead("diabetes: no", "§diabetes:"), ("without a space",)),
    "question-misspelt": (instead("diabetes", "§diabetis"), ("screening question", "`diabetes`?")),
    "question-unknown": (instead("diabetes: no", "§smoker: no"), ("`smoker` is not a screening",)),
    "question-not-asked-misspelt": (
        instead("diabetes: no", "§open-wounds: not-asked"), ("`open-wound`?",),
    ),
    "answers-a-list": (instead("{diabetes: no}", "§[diabetes]"), ("a list", "key: value")),
    "answers-a-word": (instead("{diabetes: no}", "§none"), ("the text `none`",)),
    "pain-a-word": (instead("[]", "§none"), ("the text `none`", "a list")),
    "pain-a-mapping": (instead("[]", "§{site: heel, side: left}"), ("a list",)),
    "pain-site-unknown": (instead("[]", "§[{site: hel, side: left}]"), ("`hel`", "`heel`?")),
    "pain-side-unknown": (instead("[]", "§[{site: heel, side: lft}]"), ("`lft`", "`left`?")),
    "pain-without-side": (instead("[]", "§[{site: heel}]"), ("`side` is missing", "pain#1")),
    "pain-score-word": (instead("[]", "§[{site: heel, side: left, score: bad}]"), ("0 to 10",)),
    "gait-unknown": (foot("rearfoot:\n§  - gait: walk\n    reference: vertical"), ("`walking`?",)),
    "reference-unknown": (
        foot("rearfoot:\n  - gait: walking\n§    reference: relaxed"), ("relaxed-standing",),
    ),
    "reference-missing": (
        foot("rearfoot:\n§  - gait: walking\n    contact: 4"), ("`reference` is missing", "rearfoot#1"),
    ),
    "rearfoot-not-a-list": (
        foot("rearfoot:\n§  gait: walking\n  reference: vertical"), ("a group of keys", "a list"),
    ),
    "arch-index-without-kind": (
        after("§arch-index: {value: 0.24, load: static}"), ("`kind` is missing", "arch-index"),
    ),
    "arch-index-bare": (after("§arch-index: 0.24"), ("`0.24`", "the keys value, kind, load")),
    "arch-kind-unknown": (
        after("§arch-index: {value: 0.24, kind: sensor, load: static}"), ("pressure-sensor",),
    ),
    "pattern-unknown": (after("§cop: {pattern: medial}"), ("`medial`", "medial-early")),
    "size-system-unknown": (instead("system: eu", "§system: euro"), ("`euro`", "`eu`?")),
    "size-system-us": (instead("system: eu", "§system: us"), ("`us`", "us-men, us-women")),
    "size-bare": (instead("{system: eu, value: 42}", "§42"), ("`42`", "system, value")),
    "date-german": (instead("pain", "date: §25.11.2026\npain"), ("`25.11.2026`", "2026-11-25")),
    "date-two-digits": (instead("pain", "date: §26-11-25\npain"), ("year-month-day",)),
    "date-no-such-day": (instead("pain", "date: §2026-02-30\npain"), ("day of the calendar",)),
    "date-with-time": (instead("pain", "date: §2026-02-03T10:00\npain"), ("year-month-day",)),
    "date-number": (instead("pain", "date: §20261125\npain"), ("year-month-day",)),
    "reference-missing-at-all": ("purpose: walking\n", ("`reference` is missing",)),
    "reference-empty": ("§reference:\npurpose: walking\n", ("is empty", "a code")),
    "reference-quoted-empty": ('§reference: ""\n', ("is empty", "a code")),
    "reference-a-name": ("§reference: Jane Example\n", ("`Jane Example`", "without spaces")),
    "reference-a-number": ("§reference: 1234\n", ("`1234`", "quotes")),
    "reference-a-path": ("§reference: ../../x\n", ("without spaces",)),
    "reference-long": ("§reference: " + "Q" * 41 + "\n", ("has 41 characters", "40 letters")),
    "reference-very-long": ("§reference: " + "Q" * 100_000 + "\n", ("has 100000 characters",)),
    "reference-list": ("§reference: [QB-1]\n", ("a list",)),
    "remarks-long": ("reference: QB-1\n§remarks: " + "x" * 2001 + "\n", ("2001 characters", "2000")),
    "remarks-number": ("reference: QB-1\n§remarks: 5\n", ("`5`", "text")),
    "feet-a-list": ("reference: QB-1\n§feet: [left, right]\n", ("a list", "left, right")),
    "foot-a-word": ("reference: QB-1\nfeet: {left: §fine}\n", ("the text `fine`",)),
    "fpi-bare": (foot("§fpi: 3"), ("`3`", "the keys items, total")),
    "items-a-list": (foot("fpi:\n§  items: [1, 0, 1, 1, 0, 1]"), ("a list", "talar-head")),
}  # fmt: skip

KEYS: dict[str, Case] = {
    "key-misspelt": ("reference: QB-1\n§purpos: walking\n", ("`purpos`", "`purpose`?")),
    "key-misspelt-required": ("§referenze: QB-1\n", ("`referenze`", "`reference`?")),
    "key-capital": ("§Reference: QB-1\n", ("`reference`?",)),
    "key-underscore": (foot("§foot_length_mm: 265"), ("`foot-length-mm`?",)),
    "key-without-unit": (foot("§foot-length: 265"), ("`foot-length-mm`?",)),
    "key-in-cm": (foot("§foot-length-cm: 26.5"), ("`foot-length-mm`?",)),
    "key-deep": (foot("fpi:\n  items:\n§    talarhead: 1"), ("`talarhead`", "`talar-head`?")),
    "key-name": ("reference: QB-1\n§name: Somebody\n", ("`name`", "allowed")),
    "key-birth-date": ("reference: QB-1\n§born: 1980-01-01\n", ("`born`",)),
    "key-three-feet": ("reference: QB-1\nfeet:\n§  middle: {}\n", ("`middle`", "left, right")),
    "key-in-rearfoot": (
        foot("rearfoot:\n  - gait: walking\n    reference: vertical\n§    propulsoin: 4"),
        ("`propulsion`?", "rearfoot#1"),
    ),
    "key-long": ("reference: QB-1\n§" + "k" * 900 + ": 1\n", ("kkk...`", "not a known key")),
    "key-very-long": ("reference: QB-1\n§? " + "k" * 100_000 + "\n: 1\n", ("kkk...`",)),
    "key-too-long-for-yaml": ("reference: QB-1\n" + "k" * 2000 + ": 1\n", ("colon",)),
    "key-right-to-left": ("reference: QB-1\n§\u200fpurpose: walking\n", ("<U+200F>", "`purpose`?")),
    "key-zero-width": ("reference: QB-1\n§pur\u200bpose: walking\n", ("<U+200B>", "`purpose`?")),
    "key-no-break-space": ("reference: QB-1\n§purpose\u00a0: walking\n", ("<U+00A0>",)),
    "key-cyrillic": ("reference: QB-1\n§purp\u043ese: walking\n", ("`purpose`?",)),
    "key-decomposed": ("reference: QB-1\n§pu\u0308rpose: walking\n", ("`pürpose`", "`purpose`?")),
    "key-with-colour": ('reference: QB-1\n§"\\e[31mpurpose": walking\n', ("U+001B", "delete it")),
    "key-with-line-break": ('reference: QB-1\n§"pur\\npose": walking\n', ("<U+000A>",)),
    "value-right-to-left": (instead("walking", "§\u202ewalking"), ("<U+202E>", "`walking`?")),
    "value-with-colour": (instead("walking", '§"\\e[2Jwalking"'), ("U+001B", "delete it")),
    "value-emoji": (instead("walking", "§🚶"), ("🚶", "walking, running")),
}

CONTRADICTIONS: dict[str, Case] = {
    "truncated-longer": (instead("195", "265.5"), ("265.5 mm", "265 mm")),
    "truncated-equal": (instead("195", "265"), ("is not shorter than the foot", "measure")),
    "total-unlike-items": (
        foot(
            "fpi:\n§  total: 9\n  items: {talar-head: 1, malleolar-curves: 1, calcaneus: 1, "
            "talonavicular-bulge: 1, medial-arch: 1, forefoot-abduction: 1}"
        ),
        ("add up to 6", "`total` is 9"),
    ),
    "phases-on-standing": (
        foot("rearfoot:\n§  - gait: standing\n    reference: vertical\n    contact: 4"),
        ("a standing reading has no phases", "`angle`"),
    ),
    "angle-on-walking": (
        foot("rearfoot:\n§  - gait: walking\n    reference: vertical\n    angle: 4"),
        ("`angle` is for standing", "`contact`"),
    ),
    "same-reading-twice": (
        foot(
            "rearfoot:\n  - {gait: walking, reference: vertical, contact: 4}\n"
            "  - {gait: walking, reference: vertical, contact: 5}"
        ),
        ("in two entries", "one entry"),
    ),
}  # fmt: skip


def _json(**changes: object) -> str:
    good: dict[str, object] = {"reference": "QB-1", "purpose": "walking", "feet": {"left": {}}}
    return json.dumps(good | changes, indent=2)


JSON: dict[str, Case] = {
    "json-cut-off": ('{"reference": "QB-1", "feet": {', ("close the [ or {",)),
    "json-no-comma": ('{"reference": "QB-1"\n§"purpose": "walking"}', ("comma", "}")),
    "json-nan": (_json(**{"body-mass-kg": float("nan")}), ("`NaN`", "finite")),
    "json-infinity": (_json(**{"body-mass-kg": float("-inf")}), ("`-Infinity`", "finite")),
    "json-huge": ('{"reference": "QB-1", "body-mass-kg": 1E+400}', ("too large",)),
    "json-text-number": (_json(**{"body-mass-kg": "70"}), ("without quotes",)),
    "json-true-number": (_json(**{"body-mass-kg": True}), ("`true`", "8 to 300 kg")),
    "json-duplicate": ('{"reference": "QB-1",\n§ "reference": "QB-2"}', ("twice",)),
    "json-unknown-key": (_json(shoes=[]), ("`shoes`", "`shoe-size`?")),
    "json-half-character": ('{"reference": "QB-1",\n§ "remarks": "\\ud800"}', ("half",)),
    "json-half-low": ('{"reference": "QB-1",\n§ "remarks": "\\udc00 x"}', ("half",)),
    "json-two-values": ('{"reference": "QB-1"}\n§{"reference": "QB-2"}', ("end of the document",)),
    "json-array": ("[]", ("a list", "the keys reference")),
    "json-string": ('"visit"', ("the text `visit`",)),
    "json-null": ("null", ("holds nothing",)),
    "json-empty-object": ("§{}", ("`reference` is missing",)),
    "json-single-trailing-quote": ('{"reference": "QB-1}', ("quote",)),
    "json-escaped-control": (_json(reference="QB\u0007"), ("U+0007",)),
    "json-lines": ('{"reference": "QB-1"}\n{"reference": "QB-2"}\n', ("end of the document",)),
}

VISITS: dict[str, Case] = {
    **NOT_YAML, **BYTES, **NOT_PLAIN, **NUMBERS, **RANGES, **WORDS, **KEYS, **CONTRADICTIONS, **JSON,
}  # fmt: skip
