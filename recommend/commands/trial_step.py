"""`recommend trial step`: one try-on typed at the counter, judged on the spot."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from recommend.catalogue import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
from recommend.door import typed
from recommend.errors import InputError, Place, RecommendError
from recommend.match.out import OWN
from recommend.match.outcome import Outcome
from recommend.measure.capture import CaptureOptions, measure_capture
from recommend.reading import read_document
from recommend.settings import setting
from recommend.show.console import console
from recommend.show.dialogue import KEYS, LEAVE, SAVED, LeftError, run, say
from recommend.show.labels import BARE, LEVEL_WORDS, OWN_LETTER, names_of, worn_as
from recommend.show.trial_answer import clinician_lines, step_lines, trial_lines
from recommend.trial.enter_step import StepEntry, add_step, read_capture, write_step
from recommend.trial.guided import (
    KEYS as READING_KEYS,
)
from recommend.trial.guided import (
    Doubts,
    Worn,
    bare_readings,
    film_of,
    try_on_steps,
    wanted_readings,
)
from recommend.trial.plan import BAREFOOT
from recommend.trial.whole_trial import TrialOutcome, judged_file, trial_outcome
from recommend.visit.answers import RefusedError
from recommend.visit.entry import HELP, Entry
from recommend.visit.entry_steps import side_by_side
from recommend.visit.models import Visit
from recommend.visit.shelf import Draft
from recommend.way import outcome_of

Meant = TypeVar("Meant")
_WORN_HELP = (
    "The letter of what was fetched, as on the shortlist; w for the shoe the customer came in; o "
    "to walk barefoot once more; or codes of the catalogue, a shoe and its insole with + between. "
    "q stops."
)
_WANTED_HELP = (
    "a takes again what was read barefoot, so that before and after can be compared; c asks for "
    "comfort alone; f reads a file of the mat or the video; letters choose, such as pm for peak "
    "and midstance. q stops."
)
_FILE_HELP = "The name of one file of the mat or the video; Enter when there is no more. q stops."


def guided_step(file: Path, catalogue: list[Path] | None, rules: Path | None) -> TrialOutcome:
    """Ask one try-on into the visit in `file`; what is typed is in the file after every answer.

    Returns
    -------
    TrialOutcome
        The whole trial as it now stands; when a stop withholds it, nothing is asked.
    """
    book = open_rulebook(rules)
    products = open_catalogue(book, catalogue)
    seen = open_visit(file, book)
    outcome = outcome_of(seen, book, products)
    if outcome.shortlist is None:
        return trial_outcome(outcome, read_document(file))
    for text in clinician_lines(outcome):
        say(f"{LEVEL_WORDS['see-clinician']} first: {text}")
    try:
        worn = _chosen(outcome, seen)
        wanted = _wanted(seen)
        if wanted is None:
            _from_captures(file, worn, outcome)
        _converse(file, worn, wanted or (), outcome)
    except (LeftError, EOFError, KeyboardInterrupt):
        print()
        say(f"Saved. Go on with: recommend trial step {seen.reference}")
    return judged_file(file, book, products)


def _chosen(outcome: Outcome, seen: Visit) -> Worn:
    """What is on the feet: a letter of what was fetched, ids, the own shoe, or barefoot."""
    names = names_of(outcome)
    tried = {worn_as(step.shoe, step.insole) for step in seen.trials if step.shoe}
    say("What is on the feet?")
    for name, letter in names.letters.items():
        again = "   (tried: further strides, a second rating)" if name in tried else ""
        if letter not in (BARE, OWN_LETTER) or again:
            say(f"{names.called(name)}{again}", "  ")
    say(f"{OWN_LETTER}  own shoe     {BARE}  barefoot once more", "  ")
    say("or what is in the catalogue: SHOE, SHOE+INSOLE, own+INSOLE", "  ")
    letters = {letter: name for name, letter in names.letters.items()} | {OWN_LETTER: OWN}
    return _asked("> ", lambda text: _worn(text, letters, outcome.catalogue), _WORN_HELP)


def _worn(text: str, letters: dict[str, str], products: Catalogue) -> Worn:
    word = text.strip().lower()
    name = letters.get(word, word)
    if name == BAREFOOT:
        return Worn(None, None)
    shoe, _, insole = name.partition("+")
    parts = ((shoe, "shoe"), (insole, "insole"))
    if not insole and shoe in products.by_id and products.by_id[shoe].product.kind == "insole":
        parts = ((OWN, "shoe"), (shoe, "insole"))  # an insole alone lies in the own shoe
    for part, kind in parts:
        if part and part != OWN and products.item(part).product.kind != kind:
            raise RefusedError(f"`{part}` is no {kind}; write SHOE, SHOE+INSOLE or own+INSOLE")
    return Worn(parts[0][0], parts[1][0] or None)


def _wanted(seen: Visit) -> tuple[str, ...] | None:
    """The readings to type; None for a capture."""
    bare = bare_readings(seen)
    say("What is measured?")
    if bare:
        say(f"a  as barefoot ({', '.join(name.replace('-', ' ') for name in bare)})", "  ")
    say("c  comfort only     f  a capture file     or letters of readings:", "  ")
    say("  ".join(f"{key} {name.replace('-', ' ')}" for key, name in READING_KEYS.items()), "     ")

    def meant(text: str) -> tuple[str, ...] | None:
        return None if text.strip().lower() == "f" else wanted_readings(text, bare)

    return _asked("> ", meant, _WANTED_HELP)


def _asked(prompt: str, meant: Callable[[str], Meant], explained: str) -> Meant:
    """A line that means something; what is refused is said, and asked once more."""
    while True:
        print(prompt, end="", flush=True)
        text = typed()
        if text.strip() == LEAVE:
            raise LeftError
        if text.strip() == HELP:
            say(explained, "  ")
            continue
        try:
            return meant(text)
        except RecommendError as error:
            say(str(error), "  ")


def _from_captures(file: Path, worn: Worn, outcome: Outcome) -> None:
    """Capture files, one after the other, until Enter."""
    book = outcome.book

    def take(text: str) -> bool:
        if not text.strip():
            return False
        path = Path(text.strip())
        if not path.is_file():
            raise InputError(Place(text.strip()), "there is no such file")
        entry = StepEntry(worn.shoe, worn.insole)
        for one in measure_capture(path, book.parameters, book.measures, CaptureOptions()):
            read_capture(entry, one)
        add_step(file, entry)
        say(f"taken: {path.name}", "  ")
        return True

    while _asked("capture file, or Enter when done > ", take, _FILE_HELP):
        pass


def _converse(file: Path, worn: Worn, wanted: tuple[str, ...], outcome: Outcome) -> None:
    data: dict[str, Any] = copy.deepcopy(read_document(file).data)
    seen = outcome.assessment.visit
    film = film_of(seen, setting("measured-from").value)
    steps = try_on_steps(worn, wanted, film, data)
    if setting("feet").value == "side-by-side":
        steps = tuple(side_by_side(steps))
    draft, told = Draft(data), set[str]()

    def save() -> None:
        write_step(file, worn.place.among(draft.tree))

    def after_block(_block: str) -> str:
        judged = judged_file(file, outcome.book, outcome.catalogue)
        lines = step_lines(judged, worn_as(worn.shoe, worn.insole))
        new = [line for line in lines if line not in told]  # each verdict once
        told.update(new)
        return "\n".join(new)

    run(Entry(steps, draft, Doubts(outcome.book, worn)), save, after_block, intro=KEYS + SAVED)


def print_end(one: TrialOutcome) -> None:
    """The screen of the whole trial."""
    out = console()
    print()
    for line in trial_lines(one, out.width):
        out.print(line)
