"""'Usual means usual': what the shipped rules say of a second population, drawn here.

The second population is drawn from published figures alone, by code of its own: nothing of
`population.yaml` and no code that draws it is used. Each figure names its source.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from recommend.coverage.population import load_population
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import FactColumns
from recommend.infer.many import Columns, ManyConclusions, conclude_many
from recommend.measure.definitions import MeasureDef
from recommend.rulebook import Rulebook
from recommend.rulebook.models import NoteThen
from tests.shipped import book

PEOPLE = 40_000

# Sobel 1999, J Am Podiatr Med Assoc 89:258-264, standing heel of adults from vertical; one-leg
# stance did not differ from the largest eversion in walking (Foot Ankle Int 1998;19:688-693).
STANDING = (6.07, 2.7)
# Lee and Hertel 2012, J Athl Train 47:83-90, jogging, by zero.
JOGGING = {"relaxed-standing": (4.03, 2.58), "subtalar-neutral": (10.91, 5.34)}
# McPoil and Cornwall 1994, Foot Ankle Int 15:141-145, mean time of the peak; J Foot Ankle Res
# 2014;7(Suppl 1):A55, class cuts 26 and 38 %, taken as one SD to either side of their middle.
PEAK_TIME = (37.9, (38 - 26) / 2)
# Nielsen et al. 2014, Br J Sports Med 48:440-447: 422 of 1,854 feet at 0 or below, 140 from +8;
# a normal through both has this mean and SD. Left and right: SD of the difference 2 (Rokkedal-
# Lausch 2013, within 2 is usual).
FPI = (2.9, 3.2)
FPI_GAP = 2.0
# Cornwall and McPoil 2009, J Am Podiatr Med Assoc 99:399-405, 279 people without symptoms: the
# shares asked for, 5 points to either side of the large ones and 1 to 6 % for the rare ones. No
# paper that was found says how far the heel comes back by push-off, so that the split of typical
# and prolonged can be fitted and not checked.
PATTERNS = {"typical": (58, 68), "prolonged": (26, 36), "delayed": (1, 6), "early": (1, 6)}
# Astrom and Arvidson 1995, and Haight 2005: heels of healthy adults stand 5.5 to 7 degrees everted.
HEELS_STAND = (5.5, 7.0)


def without_margin(rules: Rulebook) -> Rulebook:
    """The rulebook with raw readings compared: no error is asked to lie between."""
    return replace(rules, parameters=rules.parameters.changed({"noise.clearly": 0.0}))


def facts(rules: Rulebook, readings: dict[str, np.ndarray], **words: str) -> Columns:
    """Columns of readings with the words of their gait and zero; no reading has an error."""
    out: dict[str, np.ndarray] = {"side": np.array([0], np.int8)}
    vocabulary = rules.vocabulary.words
    for name in rules.measures:
        out[f"known_{name}"] = np.array([int(name in readings)], np.int8)
    for name, values in readings.items():
        out |= {f"{name}{end}": np.round(values, 4) for end in ("", "_low", "_high")}
        for qualifier in rules.measures[name].qualifiers:
            word = words[qualifier]
            code = vocabulary[f"{name}_{qualifier}"].index(word)
            out[f"{name}_{qualifier}"] = np.array([code], np.int8)
    return out


def shares(made: ManyConclusions, axis: str) -> dict[str, float]:
    """Percent of the feet with each value of an axis."""
    codes = made.axes[axis]
    return {
        name: 100 * float(np.mean(codes == i)) for i, name in enumerate(book().axes[axis].values)
    }


def drawn(mean: float, sd: float, seed: int) -> np.ndarray:
    """Readings of as many people, normal."""
    return np.random.default_rng(seed).normal(mean, sd, PEOPLE)


def peaks(gait: str, reference: str) -> np.ndarray:
    """Peaks of healthy adults of a gait and zero, from the published figures above."""
    if reference == "vertical":
        standing = drawn(*STANDING, 1)
        return standing if gait == "walking" else standing + drawn(*JOGGING["relaxed-standing"], 2)
    return drawn(*JOGGING[reference], 3)


@pytest.mark.parametrize(
    ("gait", "reference"),
    [("walking", "vertical"), ("running", "vertical"), ("running", "relaxed-standing"),
     ("running", "subtalar-neutral")],
)  # fmt: skip
def test_usual_covers_most_healthy_adults_of_the_second_population(
    gait: str, reference: str
) -> None:
    """Before the margin 'usual' covers 60 to 80 % and 'much' 5 to 20 % of healthy feet."""
    rules = without_margin(book())
    columns = facts(rules, {"peak-angle": peaks(gait, reference)}, gait=gait, reference=reference)
    found = shares(conclude_many(rules, columns, PEOPLE), "amount")
    assert 60 <= found["usual"] <= 80
    assert 5 <= found["much"] <= 20


def test_early_and_delayed_come_in_their_published_shares_in_the_second_population() -> None:
    """By the published time of the peak alone; an assumption splits the rest, which is neither."""
    rules = without_margin(book())
    timed = facts(rules, {"peak-time": drawn(*PEAK_TIME, 4)}, gait="walking")
    found = shares(conclude_many(rules, timed, PEOPLE), "timing")
    for pattern in ("early", "delayed"):
        low, high = PATTERNS[pattern]
        assert low <= found[pattern] <= high, (pattern, found)
    assert 88 <= 100 - found["early"] - found["delayed"] <= 98


def test_what_splits_typical_from_prolonged_is_called_an_assumption_and_moved() -> None:
    """The return is marked assumed, with a range that no bound on the shares can hold within."""
    rules = without_margin(book())
    population = load_population(Path(rules.folder) / "population.yaml")
    norm = population.quantities["rearfoot-return"].norm["everyone"]
    assert norm.mean.kind == "assumption"
    assert norm.mean.range_ is not None
    found = []
    for mean in (norm.mean.range_[0], norm.mean.value, norm.mean.range_[1]):
        readings = {
            "peak-time": drawn(*PEAK_TIME, 4),
            "rearfoot-return": drawn(mean, norm.sd.value, 5),
        }
        made = conclude_many(rules, facts(rules, readings, gait="walking"), PEOPLE)
        found.append(shares(made, "timing")["prolonged"])
    low, high = PATTERNS["prolonged"]
    assert found[0] > high > found[1] > low > found[2]


def test_where_most_heels_stand_is_not_called_more() -> None:
    """A heel that stands at 5.5 to 7 degrees and moves no further is usual in walking."""
    rules = without_margin(book())
    standing = np.array(HEELS_STAND)
    columns = facts(rules, {"peak-angle": standing}, gait="walking", reference="vertical")
    assert shares(conclude_many(rules, columns, 2), "amount")["usual"] == 100


@cache
def modelled() -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Shares of amount and timing before the margin, and of adults who get each level of note."""
    rules = book()
    population = load_population(Path(rules.folder) / "population.yaml")
    customers = next(Sampler(population).blocks(PEOPLE, 2026))
    raw = without_margin(rules)
    left = conclude_many(raw, FactColumns(raw, population).of_foot(customers, "left"), PEOPLE)
    return shares(left, "amount"), shares(left, "timing"), _noted(rules, population, customers)


def _noted(rules: Rulebook, population: object, customers: object) -> dict[str, float]:
    columns = FactColumns(rules, population)  # type: ignore[arg-type]
    feet = [
        conclude_many(rules, columns.of_foot(customers, side), PEOPLE).holds  # type: ignore[arg-type]
        for side in ("left", "right")
    ]
    due: dict[str, np.ndarray] = {}
    for rule in rules.rules:
        if isinstance(rule.rule.then, NoteThen):
            either = feet[0][rule.id] | feet[1][rule.id]
            due[rule.rule.then.note] = due.get(rule.rule.then.note, False) | either
    return {level: 100 * float(np.mean(who)) for level, who in due.items()}


def test_usual_covers_most_of_the_modelled_population_too() -> None:
    """The same bounds as in the second population."""
    amount, timing, _ = modelled()
    assert 60 <= amount["usual"] <= 80
    assert 5 <= amount["much"] <= 20
    for pattern, (low, high) in PATTERNS.items():
        assert low <= timing[pattern] <= high, (pattern, timing)


def test_notes_and_cautions_reach_few_healthy_adults() -> None:
    """See-a-clinician notes from measures alone at most 5 %, cautions at most 12 %, stops none."""
    _, _, noted = modelled()
    assert noted["see-clinician"] <= 5
    assert noted["caution"] <= 12
    assert noted.get("stop", 0) == 0


def test_notes_of_posture_reach_few_of_the_second_population() -> None:
    """From Nielsen's shares and Rokkedal-Lausch's differences: at most 5 % noted by posture."""
    chance = np.random.default_rng(6)
    both, apart = np.sqrt(FPI[1] ** 2 - FPI_GAP**2 / 4), FPI_GAP / 2
    common = FPI[0] + both * chance.standard_normal(PEOPLE)
    differing = apart * chance.standard_normal(PEOPLE)
    feet = [np.rint(common + sign * differing) for sign in (1, -1)]
    gap = np.abs(feet[0] - feet[1])
    due = {"see-clinician": np.zeros(PEOPLE, bool), "caution": np.zeros(PEOPLE, bool)}
    rules = book()
    for score in feet:
        made = conclude_many(rules, _scored(rules, score, gap), PEOPLE)
        for rule in rules.rules:
            if isinstance(rule.rule.then, NoteThen) and rule.rule.then.note in due:
                due[rule.rule.then.note] |= made.holds[rule.id]
    assert 100 * due["see-clinician"].mean() <= 5
    assert 100 * due["caution"].mean() <= 12


def _scored(rules: Rulebook, score: np.ndarray, gap: np.ndarray) -> Columns:
    columns = facts(rules, {"fpi": score, "fpi-difference": gap}, age="grown")
    for name in ("fpi", "fpi-difference"):
        error = _single(rules.measures[name])
        columns |= {f"{name}_low": columns[name] - error, f"{name}_high": columns[name] + error}
    return columns


def _single(measure: MeasureDef) -> float:
    assert measure.error is not None
    return measure.error.single
