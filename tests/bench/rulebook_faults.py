"""Faults made in the shipped rules by chance, and harmless edits: which are told?

``python -m tests.bench.rulebook_faults [SEED] [full]`` makes forty faults of kinds that were once
found to slip, forty of further kinds, 58 of kinds that a saboteur thought of, and forty edits that
change nothing, each in a copy of the rules (and the demo catalogue). A fault has to be an error or
a warning of `recommend check` (`check`), or give `recommend rulebook diff` a code other than 0
(`diff`); a harmless edit has to give 0. Which line is hit is drawn, so that another seed makes
other faults. Some minutes; with `full` every fault goes through both commands whole, which is a
quarter of an hour on a quiet machine.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from shutil import copytree, rmtree

from recommend.catalogue.loading import read_catalogue
from recommend.check.changes import unseen
from recommend.check.differing import difference
from recommend.check.whole import check
from recommend.errors import RecommendError
from recommend.extras import shipped_folder
from recommend.rulebook import load_rulebook
from recommend.rulebook.contents import Contents, contents_of, edits_between

EACH, CUSTOMERS = 40, 60
RULES, SHOP = shipped_folder("rules"), shipped_folder("catalogue_demo")
To = str | Callable[[re.Match[str]], str]


@dataclass(frozen=True)
class Kind:
    """A kind of fault: in some files one match of a pattern, drawn, becomes another text."""

    name: str
    files: str
    pattern: str
    to: To
    also: tuple[str, str, str] = ("", "", "")
    moved: str = ""

    def made(self, folder: Path, rng: random.Random) -> str:
        """Make it in `folder`; where, in words."""
        places = [
            (file, match)
            for file in sorted(folder.glob(self.files))
            for match in re.finditer(self.pattern, file.read_text(encoding="utf-8"), re.MULTILINE)
        ]
        file, match = rng.choice(places)
        text = file.read_text(encoding="utf-8")
        to = self.to(match) if callable(self.to) else match.expand(self.to)
        file.write_text(text[: match.start()] + to + text[match.end() :], encoding="utf-8")
        if self.moved:
            file.rename(
                file.parent / self.moved if "/" in self.moved else file.with_suffix(self.moved)
            )
        other, pattern, instead = self.also
        for one in folder.glob(other) if other else ():
            body = one.read_text(encoding="utf-8")
            one.write_text(re.sub(pattern, instead, body, flags=re.MULTILINE), encoding="utf-8")
        line = text.count("\n", 0, match.start()) + 1
        return f"{file.relative_to(folder)}:{line}"


def _times(factor: float, more: float = 0.0) -> Callable[[re.Match[str]], str]:
    return lambda match: f"{float(match[0]) * factor + more:g}"


def _reversed(match: re.Match[str]) -> str:
    return f"scale: {{{', '.join(reversed(match[1].split(', ')))}}}"


def _swapped(pairs: dict[str, str]) -> Callable[[re.Match[str]], str]:
    return lambda match: pairs[match[0]]


# ruff: noqa: E501
NAMED = (
    Kind("a scale turned round", "rules/attributes.yaml", r"scale: \{([^}]*)\}", _reversed),
    Kind("a tolerance a hundredfold", "rules/attributes.yaml", r"(?<=tolerance: )[\d.]+", _times(100)),
    Kind("gentler turned", "rules/attributes.yaml", r"(?<=gentler: )(low|high)$",
         _swapped({"low": "high", "high": "low"})),
    Kind("a sum without a part", "rules/attributes.yaml", r"sum-of: \[([\w.-]+), ([\w.-]+)\]",
         r"sum-of: [\2]"),
    Kind("an assumption called published", "rules/limits.yaml", r"kind: assumption(?=[,}])",
         "kind: published, source: gijon-2015"),
    Kind("a printed caution gone", "rules/rulebook.yaml", r"^  - (?:.*\n)(?:    .*\n)*", ""),
    Kind("a note deleted", "rules/screen/*.yaml", r"^  - id: .*\n(?:    .*\n)*", ""),
    Kind("a limit half as high again", "rules/limits.yaml", r"(?<=\{value: )-?[\d.]+", _times(1.5, 1)),
    Kind("a must that nothing states", "rules/need/*.yaml", r"strength: prefer, weight: \w+",
         "strength: must"),
    Kind("a cure", "rules/*/*.yaml", r"(?<=    because: )", "it cures the pain; "),
    Kind("a stop that goes on", "rules/screen/health.yaml", r"note: stop, say: \"[^\"]*\"",
         'note: stop, say: "Mind the foot, and go on with the fitting."'),
    Kind("a question turned", "rules/questions.yaml", r"(?<=    ask: )(Do|Are|Is|Have|Has|Did) you",
         r"\1 you not"),
    Kind("a question turned by free words", "rules/questions.yaml",
         r"(?<=    ask: ).*\?$", "Is all well with that, as far as you can tell?"),
    Kind("inwards said for outwards", "rules/*/*.yaml", r"(?<= )(inwards|outwards)(?=[ ,.;])",
         _swapped({"inwards": "outwards", "outwards": "inwards"})),
    Kind("a sentence of a type changed", "rules/types.yaml", r"as most feet do", "as few feet do"),
    Kind("a rule that contradicts", "rules/classify/posture-and-arch.yaml",
         r"^(  - id: )([\w-]+)(\n(?:    .*\n)*?    then: \{axis: posture, value: )(\w+)\}(\n(?:    .*\n)*)",
         lambda m: m[0] + f"{m[1]}{m[2]}-too{m[3]}"
         + ("neutral" if m[4] != "neutral" else "pronated") + "}" + m[5]),
    Kind("foot types that overlap", "rules/types.yaml", r"timing, is: \[typical, early\]",
         "timing, is: [typical, early, prolonged, delayed]"),
    Kind("a measure that nobody takes", "rules/screen/*.yaml", r"measure: fpi,", "measure: fpy,"),
    Kind("a wedge of the wrong sign", "catalogue_demo/products/insoles-wedged.yaml",
         r"(?<=wedge: )[1-9]", r"-\g<0>"),
    Kind("the text it was begun with", "rules/need/*.yaml", r"(?<=    title: ).*",
         "Say in a few words what this asks for"),
)  # fmt: skip
FURTHER = (
    Kind("a comparison turned", "rules/*/*.yaml", r"(?<=is: )(above|below|at-least|at-most)(?=, limit)",
         _swapped({"above": "below", "below": "above", "at-least": "at-most", "at-most": "at-least"})),
    Kind("all becomes any", "rules/*/*.yaml", r"^      all:$", "      any:"),
    Kind("any becomes all", "rules/screen/*.yaml", r"^      any:$", "      all:"),
    Kind("a condition gone", "rules/types.yaml", r"^        - \{axis: \w+, is: .*\}\n", ""),
    Kind("a never becomes a wish", "rules/need/*.yaml", "strength: never",
         "strength: prefer, weight: slight"),
    Kind("a wish weaker", "rules/need/*.yaml", "weight: (usual|strong)", "weight: slight"),
    Kind("a wish for another step", "rules/need/*.yaml", "level: medium", "level: soft"),
    Kind("a note less grave", "rules/screen/*.yaml", "note: see-clinician", "note: caution"),
    Kind("a stop less grave", "rules/screen/*.yaml", "note: stop", "note: caution"),
    Kind("an error tenfold", "rules/measures.yaml", r"(?<=single: )[\d.]+", _times(10)),
    Kind("a norm moved", "rules/measures.yaml", r"(?<=mean: )[\d.]+", _times(1.4)),
    Kind("a weight of ranking moved", "rules/parameters/rank.yaml", r"(?<=    value: )[\d.]+", _times(3, 1)),
    Kind("a figure of sizes moved", "rules/parameters/sizing.yaml", r"(?<=    value: )[\d.]+", _times(2, 1)),
    Kind("a figure of noise moved", "rules/parameters/noise.yaml", r"(?<=    value: )[\d.]+", _times(0.2)),
    Kind("the answer that alarms turned", "rules/questions.yaml", r"(?<=alarming: )(yes|no)",
         _swapped({"yes": "no", "no": "yes"})),
    Kind("a question asked of fewer", "rules/questions.yaml", r"(?<=    alarming: yes\n)",
         "    only-if: {acute-injury: yes}\n"),
    Kind("a source says more", "rules/sources.yaml", r"(?<=    says: )(?=[A-Za-z])", "in everybody, "),
    Kind("a word of an axis changed", "rules/axes.yaml", r"(?<=: )the (?=\w)", "hardly the "),
    Kind("the German says another thing", "rules/translations/de.yaml",
         r"(?<=translation: \")(\w+)", r"Nicht \1"),
    Kind("a promise deleted", "rules/promises/*.yaml", r"^  - id: .*\n(?:    .*\n)*", ""),
    Kind("a claim of people loosened", "rules/claims.yaml", r"(?<=at-least: )[\d.]+", "0.1"),
    Kind("guarded words deleted", "rules/wording.yaml", r"^        never: .*\n", ""),
    Kind("the population moved", "rules/population.yaml", r"(?<=mean: \{value: )-?[\d.]+", _times(1.3, 1)),
    Kind("the other system of posture", "rules/rulebook.yaml", "manual-2005$", "adult-norm-2008"),
    Kind("a limit for another gait", "rules/limits.yaml", r"gait: walking", "gait: running"),
    Kind("a difference turned", "rules/measures.yaml", r"difference: \[([\w-]+), ([\w-]+)\]",
         r"difference: [\2, \1]"),
    Kind("a bound that shuts people out", "rules/measures.yaml", r"(?<=highest: )[\d.]+", _times(0.1, 1)),
    Kind("an example turned", "rules/examples/width.yaml", r"(narrow|wide|regular)\]$", "extra-wide]"),
    Kind("a stop struck from the log", "rules/changes.yaml", r"^      - rule: .*\n(?:        .*\n)*", ""),
    Kind("a plain level moved", "rules/attributes.yaml", r"(?<=plain: )none$", "mild"),
    Kind("unasked things cost more", "rules/attributes.yaml", r"(?<=unasked: )(slight|usual)", "strong"),
    Kind("a misspelt parameter", "rules/parameters/rank.yaml", r"^  (\w)([\w-]+):$", r"  \2\1:"),
    Kind("an id twice", "rules/need/*.yaml", r"(?<=  - id: )need-[\w-]+", "need-no-rocker-without-reason"),
    Kind("a film read for another zero", "rules/measures.yaml", "beside: \\{gait: walking, reference: vertical\\}",
         "beside: {gait: walking, reference: relaxed-standing}"),
    Kind("another site of pain", "rules/*/*.yaml", "pain: heel,", "pain: arch,"),
    Kind("another age", "rules/*/*.yaml", "age-band, is: older", "age-band, is: adult"),
    Kind("another purpose", "rules/*/*.yaml", "purpose, is: running", "purpose, is: walking"),
    Kind("a reason that claims more", "rules/need/*.yaml", r"(?<=    because: )", "as in most people, "),
    Kind("a translation that is stale", "rules/questions.yaml", r"(?<=    why: )", "perhaps "),
    Kind("a shelf that cannot be read", "catalogue_demo/products/*.yaml", r"(?<=stability: )(mild|none)",
         "middling"),
)  # fmt: skip
UNNAMED = (
    Kind("another limit", "rules/classify/*.yaml", r"(?<=limit: )fpi-pronated", "fpi-highly-pronated"),
    Kind("a limit moved, its examples with it", "rules/limits.yaml", r"(?<=\{value: )6(?=, where: \{age: grown\})", "8",
         also=("rules/examples/*.yaml", r"fpi: 6\b", "fpi: 8")),
    Kind("a note gone, its examples with it", "rules/screen/health.yaml", r"^  - id: caution-fall\n(?:    .*\n)*", "",
         also=("rules/examples/*.yaml", r"caution-fall(?:, )?", "")),
    Kind("a condition more", "rules/screen/health.yaml", r"^    when: (\{answer: [\w-]+, is: yes\})$",
         r"    when: {all: [\1, {visit: age-band, is: older}]}"),
    Kind("an answer less", "rules/screen/*.yaml", r"^        - \{answer: [\w-]+, is: \w+\}\n", ""),
    Kind("a never struck from a rule", "rules/need/care.yaml", r"^        - \{.*strength: never\}\n", ""),
    Kind("a need of the other product", "rules/need/*.yaml", r"attribute: insole\.(wedge|cushion-heel|cushion-forefoot)", r"attribute: shoe.\1"),
    Kind("a bound that takes its end in", "rules/need/*.yaml", r"is: above, l(imit|evel)", r"is: at-least, l\1"),
    Kind("a rule in a file nobody reads", "rules/need/pain.yaml", r"\A", "", moved=".yml"),
    Kind("a rule of its own", "rules/need/pain.yaml", r"^rules:\n", 'rules:\n  - id: need-our-brand\n    title: our own insole\n    when: {pain: heel, is: yes}\n    then: {needs: [{attribute: insole.heel-lift, is: at-least, level: 8, strength: must}]}\n    because: it is ours\n    basis: {kind: common-practice}\n'),
    Kind("a doctor less", "rules/screen/*.yaml", r"a doctor or foot clinic should", "a foot clinic should"),
    Kind("a longer wait", "rules/screen/*.yaml", r"within (?:a day|two weeks|four weeks|a week)", "within six months"),
    Kind("a reason turned", "rules/*/*.yaml", r"(?<=    because: )(\w+ \w+) (\w+)", r"\1 hardly \2"),
    Kind("a basis of another kind", "rules/*/*.yaml", r"basis: \{kind: (?:common-practice|from-memory)\}", "basis: {kind: published, sources: [ottawa]}"),
    Kind("a source taken away", "rules/*/*.yaml", r"sources: \[([\w-]+), [\w-]+\]", r"sources: [\1]"),
    Kind("a source seen", "rules/sources.yaml", r"seen: (?:second-hand|from-memory)", "seen: in-source"),
    Kind("a year of a paper", "rules/sources.yaml", r"(?<=cite: )(.*)20(\d\d)", r"\g<1>19\2"),
    Kind("a conflict of studies hidden", "rules/sources.yaml", r"^    conflict: .*\n", ""),
    Kind("a range wider", "rules/limits.yaml", r"range: \[(-?[\d.]+), (-?[\d.]+)\]", r"range: [\1, 99]"),
    Kind("a limit of other people", "rules/limits.yaml", r"(?<=    population: )", "all "),
    Kind("a limit for the other age", "rules/limits.yaml", r"where: \{age: grown\}", "where: {age: child}"),
    Kind("coarser readings", "rules/measures.yaml", r"(?<=decimals: )[123]", "0"),
    Kind("a measure taken otherwise", "rules/measures.yaml", r"(?<=    how: )", "sitting, "),
    Kind("a plain word of a measure", "rules/measures.yaml", r"(?<=    plain: )", "good "),
    Kind("no doubt about odd readings", "rules/measures.yaml", r"^    unlikely: .*\n", ""),
    Kind("fit that is no fit", "rules/attributes.yaml", r"^    about: fit\n", ""),
    Kind("a step called otherwise", "rules/attributes.yaml", r"(?<=      full: )", "not quite "),
    Kind("a key of a purpose", "rules/purposes.yaml", r"key: w", "key: v"),
    Kind("a purpose called otherwise", "rules/purposes.yaml", r"title: hiking", "title: strolling"),
    Kind("an ache that is normal", "rules/questions.yaml", r"^    heeds-every-ache: .*\n", ""),
    Kind("a question no more asked", "rules/questions.yaml", r"(?<=    alarming: yes\n)", "    retired: true\n"),
    Kind("a caution turned", "rules/rulebook.yaml", r"has not been shown", "has been shown"),
    Kind("the short caution shorter", "rules/rulebook.yaml", r" Not a\n  diagnosis;", " A\n  diagnosis;"),
    Kind("motion by the trade", "rules/rulebook.yaml", "motion-by: people", "motion-by: trade"),
    Kind("a wish that need not be met", "rules/serving.yaml", r"(?<=    part: )0\.5", "0.1"),
    Kind("a rule that anything serves", "rules/serving.yaml", r"^  - rules: .*\n(?:    .*\n)*", ""),
    Kind("a claim nobody holds", "rules/claims.yaml", r"says: \[[^,\]]+, ", "says: ["),
    Kind("a cure denied", "rules/wording.yaml", r"denials: \[", "denials: [cures the pain, "),
    Kind("sides said for one another", "rules/wording.yaml", r"above: inwards, below: outwards", "above: outwards, below: inwards"),
    Kind("fewer of the rare", "rules/parameters/compare.yaml", r"(?<=    value: )0\.[\d]+", "0"),
    Kind("a figure of a trial", "rules/parameters/trial.yaml", r"(?<=    value: )[\d.]+", _times(3, 1)),
    Kind("a figure of captures", "rules/parameters/capture.yaml", r"(?<=    value: )[\d.]+", _times(2, 1)),
    Kind("a figure of films", "rules/parameters/film.yaml", r"(?<=    value: )[\d.]+", _times(2, 1)),
    Kind("a figure of the page", "rules/parameters/sheet.yaml", r"(?<=    value: )[\d.]+", _times(2, 1)),
    Kind("a figure of coverage", "rules/parameters/coverage.yaml", r"(?<=    value: )[\d.]+", _times(0.5)),
    Kind("a promise narrowed", "rules/promises/*.yaml", r"^    when: (\{.*\})$", r"    when: {all: [\1, {visit: age-band, is: older}]}"),
    Kind("a promise emptied", "rules/promises/*.yaml", r"is: above, limit: wedge-none", "is: above, limit: wedge-bound"),
    Kind("German gone", "rules/translations/de.yaml", r"^      say:\n        original: .*\n        translation: .*\n|^    say:\n      original: .*\n      translation: .*\n", ""),
    Kind("German of another note", "rules/translations/de.yaml", r'(translation: )".*am selben Tag.*"', r'\1"Kein Anlass zur Sorge; am selben Tag ärztlich ansehen lassen, keine Anpassung."'),
    Kind("both languages of a sentence", "rules/types.yaml", "comfort can lead the choice", "price can lead the choice",
         also=("rules/translations/de.yaml", "comfort can lead the choice", "price can lead the choice")),
    Kind("a released note struck", "rules/released/*.yaml", r"^- rule: .*\n(?:  .*\n)*", "",
         also=("rules/screen/*.yaml", r"^  - id: caution-more-load\n(?:    .*\n)*", "")),
    Kind("a loss accepted in an old entry", "rules/changes.yaml", r"(?<=    date: 2026-11-28\n)", "    accepts: [{stop: stop-open-wound, reason: it was never needed, by: X1}]\n",
         also=("rules/screen/health.yaml", r"^  - id: stop-open-wound\n(?:    .*\n)*", "")),
    Kind("signed with a made-up hash", "rules/changes.yaml", r"(?<=    date: 2026-11-28\n)", "    seen: [{by: X1, words: abc, decides: abc, holds: abc}]\n",
         also=("rules/limits.yaml", r"(?<=\{value: )10(?=, where)", "12")),
    Kind("a word of an axis for another", "rules/axes.yaml", r"stands rolled outwards", "stands rolled inwards"),
    Kind("a type of fewer feet", "rules/types.yaml", r"\{axis: arch, is: \[low, ordinary\]\}", "{axis: arch, is: [low]}"),
    Kind("a stage of another kind", "rules/screen/after-wear.yaml", r"\A", "", moved="../need/after-wear.yaml"),
    Kind("people of another age", "rules/population.yaml", r"adult: \{value: 0\.75", "adult: {value: 0.15"),
    Kind("a shoe's load", "catalogue_demo/products/*.yaml", r"wedge: ([1-9])", r"wedge: -\1"),
)  # fmt: skip
_BLOCK = re.compile(
    r"(?:^  #.*\n)*^  (?:- id: .*|[a-z][\w-]*:.*)\n(?:^(?:    .*|)\n)*", re.MULTILINE
)
_PLAIN = re.compile(r"^(    (?:because|why|title|ask): [A-Za-z][^\"'#:{}\[\]\n]{40,}) (\w[^\"'#:{}\[\]\n]*)$",
                    re.MULTILINE)  # fmt: skip
_ORDERED = ("questions.yaml",)  # in these files the order is the order of asking


def _comment(text: str, rng: random.Random) -> str:
    blocks = [match.start() for match in _BLOCK.finditer(text)]
    at = rng.choice(blocks)
    return f"{text[:at]}  # A word on what follows.\n{text[at:]}"


def _blank(text: str, rng: random.Random) -> str:
    at = rng.choice([match.start() for match in _BLOCK.finditer(text)])
    return f"{text[:at]}\n\n{text[at:]}"


def _order(text: str, rng: random.Random) -> str:
    blocks = list(_BLOCK.finditer(text))
    one, two = sorted(rng.sample(range(len(blocks)), 2))
    a, b = blocks[one], blocks[two]
    return text[: a.start()] + b[0] + text[a.end() : b.start()] + a[0] + text[b.end() :]


def _folded(text: str, rng: random.Random) -> str:
    match = rng.choice(list(_PLAIN.finditer(text)))
    return f"{text[: match.start()]}{match[1]}\n      {match[2]}{text[match.end() :]}"


def _windows(text: str, _rng: random.Random) -> str:
    return text.replace("\n", "\r\n")


def _trailing(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    at = rng.choice([n for n, line in enumerate(lines) if line.endswith(":")])
    lines[at] += "  "
    return "\n".join(lines)


HARMLESS = (_comment, _blank, _order, _folded, _windows, _trailing)


def _harmless(folder: Path, rng: random.Random, number: int) -> str:
    edit = HARMLESS[number % len(HARMLESS)]
    names = ["screen", "need", "classify", "limits.yaml", "sources.yaml", "measures.yaml"]
    found = [p for name in names for p in sorted((folder / "rules").glob(f"{name}/*.yaml"))]
    found += [folder / "rules" / name for name in names if name.endswith(".yaml")]
    file = rng.choice([one for one in found if one.name not in _ORDERED])
    if edit is _folded:
        file = folder / "rules/questions.yaml" if number % 2 else folder / "rules/need/care.yaml"
    if number % 10 == 9:
        file.rename(file.with_name(f"moved-{file.name}") if file.parent.name != "rules" else file)
        return f"renamed {file.name}"
    text = file.read_text(encoding="utf-8")
    file.write_bytes(edit(text, rng).encode())
    return f"{edit.__name__.strip('_')} in {file.name}"


def told(folder: Path, full: bool) -> tuple[str, int]:
    """Codes of errors and warnings of check, and the code of diff.

    Unless `full` the customers of diff are left out, which change nothing in whether its code is 0,
    and check is asked only where that is 0.
    """
    rules, shop = folder / "rules", folder / "catalogue_demo"
    try:
        code = _diff(rules, shop) if full else _code(rules)
    except RecommendError:
        code = 2
    if code and not full:
        return "", code
    found = [f.code for f in check(rules, [shop]).findings if f.level != "note"]
    return " ".join(sorted(set(found))), code


@cache
def _shipped() -> Contents:
    return contents_of(RULES)


def _code(rules: Path) -> int:
    book = load_rulebook(rules)
    contents = contents_of(rules)
    touched = {one.bearing for one in edits_between(_shipped(), contents)}
    return 5 if touched & set(unseen(book, contents)) else 0


def _diff(rules: Path, shop: Path) -> int:
    old, new = load_rulebook(RULES), load_rulebook(rules)
    catalogues = read_catalogue(SHOP, old.attributes)[0], read_catalogue(shop, new.attributes)[0]
    moved = difference((old, new), catalogues, CUSTOMERS, 1)
    return 2 if moved.weakened else 5 if moved.unread or moved.page else 0


def _copies() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as kept:
        while True:
            folder = Path(kept) / "copy"
            rmtree(folder, ignore_errors=True)
            copytree(RULES, folder / "rules")
            copytree(SHOP, folder / "catalogue_demo")
            yield folder


def main(seed: int, full: bool) -> None:
    """Make them all, print a line for each, and how many were told."""
    rng, copies = random.Random(seed), _copies()
    for title, kinds in (("named", NAMED), ("further", FURTHER), ("unnamed", UNNAMED)):
        caught = {"check": 0, "diff": 0, "either": 0}
        count = max(EACH, len(kinds))
        for number in range(count):
            kind, folder = kinds[number % len(kinds)], next(copies)
            where = kind.made(folder, rng)
            codes, code = told(folder, full)
            caught["check"] += bool(codes)
            caught["diff"] += bool(code)
            caught["either"] += bool(codes or code)
            words = codes or "-"
            print(f"{title} {number + 1}: {kind.name} ({where}): check {words}; diff {code}"
                  f"{'' if codes or code else '  NOT TOLD'}", flush=True)  # fmt: skip
        print(
            f"{title}: {caught['either']} of {count} told; "
            f"check {caught['check']}, diff {caught['diff']}"
        )
    silent = 0
    for number in range(EACH):
        folder = next(copies)
        what = _harmless(folder, rng, number)
        codes, code = told(folder, full)
        silent += not (codes or code)
        print(f"harmless {number + 1}: {what}: {codes or '-'}; diff {code}", flush=True)
    print(f"harmless: {silent} of {EACH} end with 0")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    main(numbers[0] if numbers else 1, "full" in sys.argv)
