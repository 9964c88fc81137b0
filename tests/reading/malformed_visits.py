# ruff: noqa: E501 (a case stands on one line)
"""Visit files that are each wrong in one way: name -> (content, words of the message)."""

from __future__ import annotations

import json

from tests.reading.good_visit import BASE, Case, after, foot, instead
from tests.reading.malformed_syntax import BYTES, NOT_PLAIN, NOT_YAML

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
    "decimal-comma-in-braces": (
        foot("dorsum-height-mm: {sitting: 26,§5, standing: 60}"),
        ("`5` is not a known key", "Write a decimal point: sitting: 26.5"),
    ),
    "decimal-commas-in-braces": (
        foot("dorsum-height-mm: {sitting: 66,5, standing: 60,§5}"),
        ("`5` stands twice", "decimal point, not a comma"),
    ),
    "decimal-commas-in-a-list": (
        foot("rearfoot: [{gait: walking, reference: vertical, peak: §[7,3, 8,7]}]"),
        ("`[7,3, 8,7]` can be read in two ways", "Write 7.3 if it is one number, or 7, 3 if"),
    ),
    "decimal-comma-in-a-list": (
        foot("rearfoot: [{gait: walking, reference: vertical, peak: §[7,3]}]"),
        ("`[7,3]` can be read in two ways", "Write 7.3 if it is one number, or 7, 3 if"),
    ),
    "decimal-comma-beside-a-point": (
        foot("rearfoot: [{gait: walking, reference: vertical, peak: §[8.5, 7,3]}]"),
        ("`[8.5, 7,3]` can be read in two ways", "Write 7.3 if it is one number"),
    ),
    "decimal-comma-in-a-trial": (
        BASE + "trials:\n  - shoe: own\n    feet: {left: {rearfoot: [{gait: walking, "
        "reference: vertical,\n§      peak: [5,25]}]}}\n",
        ("`[5,25]` can be read in two ways", "Write 5.25 if it is one number"),
    ),
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
    "zero": (instead("70", "§0"), ("`0`", "from 8 to 300 kg", "Correct it")),
    "true-as-number": (instead("70", "§true"), ("`true`", "from 8 to 300 kg")),
    "yes-as-number": (instead("total: 3", "§total: yes"), ("the text `yes`", "from -12 to 12")),
    "true-as-item": (foot("fpi:\n  items:\n§    calcaneus: true"), ("`true`", "from -2 to 2")),
    "list-as-number": (instead("70", "§[70]"), ("a list", "from 8 to 300 kg")),
    "mapping-as-number": (instead("70", "§{kg: 70}"), ("a group of keys", "from 8 to 300 kg")),
    "date-as-number": (instead("70", "§2026-01-01"), ("the text `2026-01-01`",)),
    "half-score": (instead("total: 3", "§total: 3.5"), ("`3.5`", "a whole number")),
    "whole-but-written-decimal": (
        instead("total: 3", "§total: 3.0"),
        ("a whole number", "write 3"),
    ),
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
    "navicular-that-sinks": (
        after("navicular-height-mm: {sitting: 199, standing: 1}"), ("would be 198", "60 mm"),
    ),
    "instep-that-rises": (
        after("dorsum-height-mm: {sitting: 20, standing: 150}"),
        ("would be 7.5", "1.2"),
    ),
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
    "total-beyond-some-items": (
        foot("fpi:\n§  total: 12\n  items: {talar-head: -1, calcaneus: 0}"),
        ("add up to between -9 and 7", "`total` is 12"),
    ),
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
    "json-reference-of-dots": (_json(reference="..."), ("begins with a letter or digit",)),
    "json-reference-of-dashes": (_json(reference="--"), ("begins with a letter or digit",)),
    "json-cut-off": ('{"reference": "QB-1", "feet": {', ("close the [ or {",)),
    "json-no-comma": ('{"reference": "QB-1"\n§"purpose": "walking"}', ("comma", "}")),
    "json-nan": (_json(**{"body-mass-kg": float("nan")}), ("`NaN`", "finite")),
    "json-infinity": (_json(**{"body-mass-kg": float("-inf")}), ("`-Infinity`", "finite")),
    "json-huge": ('{"reference": "QB-1", "body-mass-kg": 1E+400}', ("too large",)),
    "json-text-number": (_json(**{"body-mass-kg": "70"}), ("without quotes",)),
    "json-true-number": (_json(**{"body-mass-kg": True}), ("`true`", "8 to 300 kg")),
    "json-duplicate": ('{"reference": "QB-1",\n§ "reference": "QB-2"}', ("twice",)),
    "json-unknown-key": (_json(shoesize=[]), ("`shoesize`", "`shoe-size`?")),
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
