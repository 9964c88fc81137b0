"""Topics of `recommend help`: written once here, with numbers taken from the rulebook in use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

from recommend.errors import EXIT_WORDS
from recommend.measure.definitions import MeasureDef, unit_words
from recommend.rulebook import Rulebook
from recommend.show.words import number

_KIND = {
    "published": "published",
    "derived": "derived from published figures",
    "common-practice": "common practice",
    "from-memory": "from memory, to be verified",
    "assumption": "an assumption of ours",
}


def measuring(book: Rulebook) -> Iterator[str]:
    """How to take each measure well."""
    few = book.parameters["noise.few-strides"]
    yield "Measuring well"
    yield ""
    yield (
        "Same order, same marks, same person: most of the error is in the hands, not in the "
        "instrument. Take both feet, each by itself."
    )
    yield (
        "Standing: relaxed, weight alike on both feet, looking ahead, a few steps on the spot "
        "first. A customer who looks down changes the feet."
    )
    yield (
        f"Moving: let them walk or run until it looks easy, then take at least {few:g} strides; "
        "from then on their own scatter tells the error. The camera square behind the heel and "
        "level: about two degrees out of square move an angle by one."
    )
    yield (
        "Say the zero: an angle from the vertical, from relaxed standing or from subtalar neutral "
        "are three different numbers, up to 7 degrees apart, and are never compared."
    )
    yield (
        "Write down what you saw, not what you expected. Leave out what you did not measure; "
        "missing is never zero."
    )
    yield (
        "Know your own error: measure some ten feet two or three times on different days, marks "
        "put on anew, and run `recommend visit repeatability` on the files."
    )
    yield ""
    for name, one in book.measures.items():
        if one.how:
            yield f"  {name}: {one.how}"


def numbers(book: Rulebook) -> Iterator[str]:
    """What each number means, how far it can be trusted, and what is usual."""
    clearly = book.parameters["noise.clearly"]
    yield "What the numbers mean"
    yield ""
    yield (
        "A number after ± is one standard error: measured again, two of three readings would fall "
        "within it. In the phases of stance a reading counts as outside its band only beyond "
        f"{clearly:g} standard error{'s' if clearly != 1 else ''}; a see-a-clinician note asks for "
        "the raw reading."
    )
    yield "Eversion (rolling in, pronation) is positive. Lateral is positive for paths of load."
    yield (
        "A score of a product is not a cure in percent: it says how far the product has what these "
        "feet need. 100 means that nothing is missing."
    )
    yield ""
    for name, one in book.measures.items():
        yield f"  {name}: {one.title}.{_error_words(one)}{_norm_words(one)}"


def _error_words(one: MeasureDef) -> str:
    if one.error is None or not one.error.single:
        return ""
    size = f"{number(one.error.single, one.decimals + 1)}{unit_words(one.unit)}"
    return f" One reading ±{size} ({_KIND[one.error.kind]})."


def _norm_words(one: MeasureDef) -> str:
    if one.norm is None:
        return ""
    mean, sd = number(one.norm.mean, one.decimals), number(one.norm.sd, one.decimals + 1)
    return f" Mean of a studied group {mean}, SD {sd} ({_KIND[one.norm.kind]})."


def limits(book: Rulebook) -> Iterator[str]:
    """What the tool cannot do, and how well its limits are known."""
    kinds = Counter(value.kind for value in book.limit_values)
    yield "Limits of the tool"
    yield ""
    yield (
        "It gives fitting advice, not a diagnosis. It sees what is typed, not the customer. Local "
        "codes and licensed practice come first; when it says stop, stop."
    )
    yield (
        "It never promises a change of motion: effects of shoes and insoles are about two degrees "
        "on average, and one foot may differ, or go the other way. Try it, measure again, and let "
        "comfort decide."
    )
    yield (
        "No foot type has been shown to need one product. Static measures agree with each other "
        "only moderately and say little of motion; mixed and undetermined feet are honest answers."
    )
    yield (
        "Its limits are for adults unless they say otherwise. For a child it is careful and says "
        "little. It knows nothing of medicines, of the rest of the leg, or of how a shoe is worn "
        "down."
    )
    yield (
        f"It has {len(book.limits)} limits with {sum(kinds.values())} values, those of every norm "
        "counted: "
        + ", ".join(f"{count} are {_KIND[kind]}" for kind, count in kinds.most_common())
        + ". `rules/limits.yaml` says which is which, and `rules/sources.yaml` where studies "
        "disagree."
    )
    yield ""
    yield "On every shortlist:"
    for caution in book.heading.cautions:
        yield f"  - {caution}"


def exit_codes(_book: Rulebook) -> Iterator[str]:
    """What each command returns."""
    yield "Exit codes"
    yield ""
    for code, words in EXIT_WORDS.items():
        yield f"  {code.value}  {words}"
    yield ""
    yield "Data goes to standard output, errors to standard error."


def keys(_book: Rulebook) -> Iterator[str]:
    """Keys at the counter."""
    yield "Keys at the counter"
    yield ""
    yield "  ?      help on this question"
    yield "  Enter  leave the question out, or keep what stands in [brackets]"
    yield "  <      back to the question before (also the arrow to the left)"
    yield "  >      leave out the rest of this block"
    yield "  x      remove the answer; missing stays missing"
    yield "  q      stop for now (also Ctrl-C); `recommend visit resume` goes on"
    yield ""
    yield (
        "Questions with keys in front of words take one key and no Enter. For the six items of the "
        "Foot Posture Index: a s d f g for -2 -1 0 +1 +2, or the score itself."
    )
    yield (
        "Numbers: a decimal point or comma, and mm or cm if you write it. Several strides: spaces "
        "between. Pain: site side score weeks, with commas between sites."
    )


TOPICS: dict[str, tuple[str, Callable[[Rulebook], Iterator[str]]]] = {
    "measuring": ("how to measure well", measuring),
    "numbers": ("what the numbers mean, and how far to trust them", numbers),
    "limits": ("what the tool cannot do", limits),
    "keys": ("keys at the counter", keys),
    "exit-codes": ("what each command returns", exit_codes),
}
