"""`recommend visit list`, `edit`, `history` and `form`: what to do with visits that are there."""

from __future__ import annotations

import copy
import sys
import textwrap
from datetime import date
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
from recommend.commands.options import (
    CatalogueFolders,
    Force,
    RulesFolder,
    VisitName,
    references,
    visit_file,
)
from recommend.door import typed
from recommend.errors import InputError, Place, counted
from recommend.infer.adviser import Adviser
from recommend.infer.assess import Assessment
from recommend.match.out import harmful
from recommend.measure.into import absorber
from recommend.measure.repeated import RepeatedMeasure
from recommend.measure.repeated import history as history_of
from recommend.output import PAGE, write_output
from recommend.reading import read_document
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.console import paged, print_byline
from recommend.show.dialogue import KEYS, SAVED, LeftError, run, say, width
from recommend.show.effects import CAME_BACK, came_back_lines
from recommend.show.form import form_html
from recommend.show.history import changed_lines, plot_lines, table_lines, told_lines
from recommend.trial.came_back import came_back
from recommend.visit import Visit
from recommend.visit.answers import RefusedError
from recommend.visit.coming_back import steps_again
from recommend.visit.entry import Entry, visit_of
from recommend.visit.entry_steps import EntryStep, read_out
from recommend.visit.intake import intake
from recommend.visit.shelf import Draft, Shelf
from recommend.visit.tree import drop, put
from recommend.visit.writing import answers_in, change, edit_visit, step_called
from recommend.way import outcome_of
from recommend.whatif import change_lines, changes

_LISTED, _TOLD, _CHANGED = 9, 4, 6  # lines of each on a first screen

VisitsFolder = Annotated[
    Path | None, typer.Option("--visits", help="Folder of visits; see `recommend setup show`.")
]
Known = Annotated[
    str,
    typer.Argument(metavar="REFERENCE", help="The customer's code.", autocompletion=references),
]


def steps_for(book: Rulebook, follow_up: bool, folder: Path | None = None) -> tuple[EntryStep, ...]:
    """The steps of a first fitting, or of a customer who comes back, one by one.

    Capture files are asked for when `folder`, where the visit will stand, is given.
    """
    absorb = absorber(folder, book.parameters, book.measures) if folder else None
    sizes, zero = setting("sizes").value, setting("measured-from").value
    if not follow_up:
        return intake(book.questions, book.purposes, sizes, zero, absorb, book.measures)
    worn = open_catalogue(book).titles_by_kind
    return steps_again(book.questions, book.purposes, sizes, zero, worn, absorb, book.measures)


@paged
def list_(
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
    everything: Annotated[bool, typer.Option("--all", help="Of every day.")] = False,
    day: Annotated[str, typer.Option("--date", help="Of this day, such as 2026-03-05.")] = "",
    full: Annotated[bool, typer.Option("--full", help="However many, with their files.")] = False,
) -> None:
    """List today's visits, the newest first, and every visit that is under way.

    Example: recommend visit list
    """
    shelf = Shelf(setting("visits", visits).value)
    wanted = _day(day)
    drafts = shelf.drafts()
    found = [one for one in reversed(shelf.finished()) if everything or one.day == wanted]
    for draft in drafts:
        print(f"{'under way':<11} {draft.reference:<20} recommend visit resume {draft.reference}")
    for error in shelf.damaged():  # one that is broken hides no other
        print(f"{'under way':<11} {error}")
    counter = Adviser(open_rulebook(rules)) if found else None
    for one in found if full else found[:_LISTED]:
        assert counter is not None
        try:
            seen = open_visit(one.path, counter.book)
            out = len(harmful(seen, counter.book.parameters))
            state = _state(counter.assess(seen), counter.book, out)
        except InputError as error:  # one file that is broken hides no other
            state = f"cannot be read: {error}"
        lines = textwrap.wrap(f"{one.reference}  {state}", width() - 12)
        print(f"{one.day:<11} " + f"\n{'':<12}".join(lines))
        if full:
            print(f"{'':<11} {one.path}")
    if len(found) > _LISTED and not full:
        print(f"and {len(found) - _LISTED} older ones: --full")
    if not found:
        print(f"No finished visit {'is here' if everything else f'of {wanted}'} ({shelf.folder}).")


def _day(text: str) -> str:
    try:
        return (date.fromisoformat(text) if text else date.today()).isoformat()
    except ValueError:
        raise InputError(Place("--date"), f"`{text}` is not a date", "such as 2026-03-05") from None


def _state(seen: Assessment, book: Rulebook, out: int) -> str:
    worst = [note.level for note in seen.notes]
    if "stop" in worst:
        return "STOP: see a clinician"
    kinds = [foot.foot_type for foot in seen.feet.values()]
    types = [book.types[kind].title if kind else "not known yet" for kind in kinds]
    words = types[0] if types[0] == types[1] else f"left {types[0]}; right {types[1]}"
    count = worst.count("see-clinician")
    words += f", {counted(count, 'see-a-clinician note')}" if count else ""
    lifted = sum(one.is_lifted for one in seen.visit.out)
    words += f", {counted(out, 'product')} out after harm" if out else ""
    return words + (f", {lifted} lifted" if lifted else "")


def edit(
    reference: VisitName,
    what: Annotated[
        str | None, typer.Argument(help="What to change, such as foot-length.left.")
    ] = None,
    value: Annotated[
        str | None, typer.Argument(help="The new answer, as at the counter; x removes it.")
    ] = None,
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
    catalogue: CatalogueFolders = None,
) -> None:
    """Change one answer of a visit, and see what it did to the outcome.

    Without WHAT it asks what is open; where nothing is, it lists what there is. Several numbers as
    VALUE stand in quotes: "-3 -4.5".

    Example: recommend visit edit A-1042 foot-length.left 265
    """
    path = visit_file(reference, visits)
    book = open_rulebook(rules)
    before = open_visit(path, book)
    steps = steps_for(book, before.follow_up is not None)
    counter = Adviser(book)
    if what is None:
        open_ones = counter.assess(before).to_ask if sys.stdin.isatty() else ()
        if not open_ones or not _ask_open(path, [s for s in steps if s.id in open_ones], counter):
            _list_answers(path, steps)
        return
    step = step_called(what, steps)
    new = _new_value(step, value if value is not None else _asked(step, path))
    products = open_catalogue(book, catalogue)
    old = outcome_of(before, book, products, counter.engine)
    if not _meant(step, new, counter, path):
        print("Nothing was changed.")
        return
    change(path, step, new)
    after = open_visit(path, book)
    print(f"{step.id}: {'removed' if new is None else step.kind.show(new)}  ({path.name})")
    for line in change_lines(changes(old, outcome_of(after, book, products, counter.engine))):
        say(line)


def _meant(step: EntryStep, new: Any, counter: Adviser, path: Path) -> bool:
    """Whether a doubtful value is meant: asked at a terminal, said where nobody can be asked."""
    tree = copy.deepcopy(read_document(path).data)
    try:
        before = visit_of(tree)
        put(tree, step.path, new) if new is not None else drop(tree, step.path)
        doubt = counter.doubt(before, visit_of(tree))
    except InputError:  # refused where it is written, with its place
        return True
    if doubt:
        say(f"Is that so? {doubt}")
    if not doubt or not sys.stdin.isatty():
        return True
    print("y writes it down, any other key leaves all as it was > ", end="", flush=True)
    return typed().strip().lower() == "y"


def _ask_open(path: Path, steps: list[EntryStep], counter: Adviser) -> bool:
    """Ask the open questions into a visit file; whether all of them were gone through."""
    book, draft = counter.book, Draft(copy.deepcopy(read_document(path).data))
    begun = visit_of(draft.tree)
    draft.said = [*counter.stops(begun), *counter.advice(begun)]
    asked = tuple(read_out(steps, book.questions, book.parameters.entry.read_out_most))

    def save() -> None:
        for part in ("answers", "asked"):
            told = draft.tree.get(part, {})
            if told != read_document(path).data.get(part, {}):
                edit_visit(path, part, partial(_add, told), {})

    try:
        run(Entry(asked, draft, counter), save, lambda _block: "", intro=KEYS + SAVED)
    except LeftError:
        print()
        return False
    left = len(counter.assess(open_visit(path, book)).to_ask)
    say(f"{counted(left, 'question')} still open." if left else "Everything was asked.")
    print(f"Next:  recommend shortlist {draft.reference}")
    return True


def _add(told: dict[str, str], there: Any) -> None:
    there.update(told)


def _list_answers(path: Path, steps: tuple[EntryStep, ...]) -> None:
    data: dict[str, Any] = read_document(path).data
    print(f"{path}\nChange one with: recommend visit edit {data['reference']} WHAT VALUE\n")
    answered = answers_in(data, steps)
    for step, answer in answered:
        print(f"  {step.id:<28} {answer}")
    there = {step.id for step, _ in answered}
    say(f"Not answered: {', '.join(step.id for step in steps if step.id not in there)}")


def _asked(step: EntryStep, path: Path) -> str:
    if not sys.stdin.isatty():
        raise InputError(Place("VALUE"), f"no new answer for `{step.id}` was given")
    standing = step.standing(read_document(path).data)
    say(step.ask)
    for line in (*step.reminder, step.kind.hint):
        say(line, "  ")
    print(f"[{standing}] > " if standing else "> ", end="", flush=True)
    try:
        return input() or standing or "x"
    except (EOFError, KeyboardInterrupt):
        raise InputError(Place("VALUE"), "nothing was changed") from None


def _new_value(step: EntryStep, text: str) -> Any:
    if text.strip() == "x":
        return None
    try:
        return step.kind.parse(text)
    except RefusedError as error:
        raise InputError(Place(step.id), str(error)) from None


@paged
def history(
    reference: Known,
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
    measure: Annotated[str, typer.Option(help="Plot this measure.")] = "",
    full: Annotated[bool, typer.Option("--full", help="Every measure, and its plot.")] = False,
) -> None:
    """Show what became of a customer's feet: what was told, what changed beyond error.

    Example: recommend visit history A-1042
    """
    shelf, book = Shelf(setting("visits", visits).value), open_rulebook(rules)
    shelf.newest(reference)  # says so when there is none
    seen = [open_visit(one.path, book) for one in shelf.finished(reference)]
    lines = history_of(seen, book.measures, book.parameters)
    if measure and measure not in {line.measure for line in lines}:
        known = ", ".join(dict.fromkeys(line.measure for line in lines))
        raise InputError(Place("--measure"), f"`{measure}` was not taken", known)
    days = ", ".join(one.date or "no date" for one in seen)
    say(f"{reference}: {counted(len(seen), 'visit')} ({days})")
    if not measure:
        _tell_history(seen, lines, book)
    if full:
        print()
        for text in table_lines(seen, lines, book.measures, width()):
            print(text)
    for line in lines:
        if len(line.taken) > 1 and (full or measure == line.measure):
            print()
            for text in plot_lines(seen, line, book.measures[line.measure]):
                print(text)
    if not full and not measure:
        print("\nMore: --full (every reading at every visit) | --measure NAME")
    print_byline(book)


def _tell_history(seen: list[Visit], lines: tuple[RepeatedMeasure, ...], book: Rulebook) -> None:
    """What was told of the time between, and what changed beyond error: the newest, some lines."""
    titles = open_catalogue(book).titles
    told = list(told_lines(seen, titles))
    for text in told[-_TOLD:]:
        say(f"- {text}")
    print("\nChanged from the first reading to the last")
    changed = list(changed_lines(lines, book.measures))
    for text in changed[:_CHANGED]:
        say(f"- {text}")
    if len(changed) > _CHANGED:
        print(f"- and {len(changed) - _CHANGED} more: --full")


@paged
def outcomes(
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
    full: Annotated[bool, typer.Option("--full", help="Every product.")] = False,
) -> None:
    """Show what became of products: comfort, pain and returns of customers who came back.

    What a product does to the motion of feet: `recommend effects`.

    Example: recommend visit outcomes
    """
    shelf, book = Shelf(setting("visits", visits).value), open_rulebook(rules)
    seen = [open_visit(one.path, book) for one in shelf.finished()]
    rows = came_back(seen, book.measures, book.parameters)
    if not rows:
        print(f"No follow-up names a product yet ({shelf.folder}).")
        return
    titles = open_catalogue(book).titles
    for line in came_back_lines(rows, titles, full=full, width=width()):
        print(line)
    print()
    say(CAME_BACK)
    print_byline(book)


def form(
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Write here, not to the output.")
    ] = None,
    follow_up: Annotated[
        bool, typer.Option("--follow-up", help="For customers who come back.")
    ] = False,
    force: Force = False,
    rules: RulesFolder = None,
) -> None:
    """Write a blank intake sheet as HTML, to print from a browser.

    Example: recommend visit form --to intake.html
    """
    book = open_rulebook(rules)
    steps = steps_for(book, follow_up)
    after = {name for name, question in book.questions.items() if question.after_wear}
    asked = [step for step in steps if follow_up or step.id not in after]
    text = form_html(asked, str(setting("shop").value or ""), book)
    if to is None:
        print(text, end="")
        return
    write_output(to, text, PAGE, force=force)
    print(f"Sheet: {to}")
