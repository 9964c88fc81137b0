"""`recommend visit`: type a visit at the counter, go on with it, look at it again."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
from recommend.commands.decide import decide
from recommend.commands.lift import lift
from recommend.commands.options import RulesFolder, TakesNegatives, called, drafts, group
from recommend.commands.shelved import (
    Known,
    VisitsFolder,
    edit,
    form,
    history,
    list_,
    outcomes,
    steps_for,
)
from recommend.door import typed
from recommend.errors import Exit, InputError, Place
from recommend.infer.adviser import Adviser, Progress
from recommend.match.out import handed_on
from recommend.measure.repeated import Repeated
from recommend.measure.repeated import repeatability as repeatability_of
from recommend.records.database import store_path
from recommend.records.keeping import keep_event, keeps, kept_words
from recommend.rulebook import Rulebook
from recommend.settings import setting, write_settings
from recommend.show.console import print_byline
from recommend.show.dialogue import (
    LeftError,
    heading,
    note_lines,
    plan_lines,
    progress_line,
    run,
    say,
)
from recommend.show.history import REPEATS, repeat_lines
from recommend.show.labels import LEVEL_WORDS
from recommend.show.sure import sure_line
from recommend.trial.resemblance import lab_resemblance
from recommend.visit import Visit, read_visit
from recommend.visit.answers import RefusedError, Text
from recommend.visit.coming_back import begun_again
from recommend.visit.entry import Entry, visit_of
from recommend.visit.entry_steps import EntryStep, read_out, side_by_side
from recommend.visit.intake import NO_READING, READINGS, in_order, measures_of, taken
from recommend.visit.shelf import REFERENCE, Draft, Shelf
from recommend.way import outcome_of

app = group("Type a visit at the counter, go on with it, change it, look back.")

REFERENCE_KIND = Text(
    "a reference code of the shop: letters, digits, - _ . (up to 40); never a name", REFERENCE
)

_FROM_CAPTURES = ("footprint", "angles", "load-path")  # readings that a capture can give

Reference = Annotated[
    str | None, typer.Argument(metavar="[REFERENCE]", help="The customer's code, never a name.")
]
UnderWay = Annotated[
    str | None,
    typer.Argument(metavar="[REFERENCE]", help="The customer's code.", autocompletion=drafts),
]


@app.command(short_help="Begin a visit, question by question.")
def new(
    reference: Reference = None,
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
    minutes: Annotated[
        float | None,
        typer.Option(
            min=1, max=600, help="Minutes there are: ask first what settles most in them."
        ),
    ] = None,
) -> None:
    """Begin a visit: the questions of a fitting, one by one, saved after every answer.

    Ends with exit code 3 when a stop was found.

    Example: recommend visit new A-1042
    """
    shelf = Shelf(setting("visits", visits).value)
    code = _reference(reference)
    with shelf.held(code):
        _refuse_under_way(shelf, code)
        draft = Draft({"reference": code, "date": date.today().isoformat()})
        if minutes is not None:
            draft.readings = _planned(open_rulebook(rules), minutes)
        enter(draft, shelf, rules)


@app.command(short_help="Go on with a visit that was interrupted.")
def resume(
    reference: UnderWay = None, visits: VisitsFolder = None, rules: RulesFolder = None
) -> None:
    """Go on with a visit that was interrupted; the last one when no code is given.

    Example: recommend visit resume
    """
    shelf = Shelf(setting("visits", visits).value)
    drafts = shelf.drafts()
    found = shelf.draft(reference) if reference else next(iter(drafts), None)
    if found is None:
        waiting = ", ".join(one.reference for one in drafts) or "none"
        raise InputError(
            Place(str(shelf.folder)),
            f"no visit{f' of `{reference}`' if reference else ''} is under way",
            mend=f"under way: {waiting}; begin one with `recommend visit new`",
        )
    with shelf.held(found.reference):
        say(f"Going on with {found.reference}.")
        enter(shelf.draft(found.reference) or found, shelf, rules)


def _reference(given: str | None) -> str:
    """The reference code, asked for when it was not given."""
    while True:
        try:
            return REFERENCE_KIND.parse(given if given is not None else _asked_reference())
        except RefusedError as error:
            if given is not None or not sys.stdin.isatty():
                raise InputError(Place("REFERENCE"), str(error)) from None
            say(str(error))


def _asked_reference() -> str:
    print("Reference code of the customer (never a name) > ", end="", flush=True)
    try:
        return typed()
    except (EOFError, KeyboardInterrupt):
        raise InputError(Place("REFERENCE"), "no reference code was given") from None


@app.command("follow-up", short_help="Begin the visit of a customer who comes back.")
def follow_up(
    reference: Known,
    visits: VisitsFolder = None,
    rules: RulesFolder = None,
) -> None:
    """Begin the visit of a customer who comes back: screening, the time since, measures again.

    Linked to the newest visit of the reference code; what was answered there stands in brackets.
    Ends with exit code 3 when a stop was found.

    Example: recommend visit follow-up A-1042
    """
    shelf = Shelf(setting("visits", visits).value)
    code = _reference(reference)
    earlier = shelf.newest(code)
    with shelf.held(code):
        _refuse_under_way(shelf, code)
        parameters = open_rulebook(rules).parameters
        child_days = parameters.entry.child_carried_days
        before = read_visit(earlier.path)
        tree = begun_again(before, earlier.path.stem, date.today(), child_days)
        if out := handed_on(before, parameters):
            tree["out"] = out
        say(f"Back since {earlier.day}: {earlier.path.name}")
        enter(Draft(tree), shelf, rules)


def _refuse_under_way(shelf: Shelf, code: str) -> None:
    if shelf.draft(code) is not None:
        raise InputError(
            Place(str(shelf.folder)),
            f"a visit of `{code}` is under way",
            mend=f"go on with `recommend visit resume {code}`",
        )


def enter(
    draft: Draft, shelf: Shelf, rules: Path | None, answer: Callable[[EntryStep], str] | None = None
) -> None:
    """Ask what is still to be asked, then put the visit on the shelf.

    With `answer` it is asked for each answer in place of the fitter.
    """
    counter = Adviser(open_rulebook(rules))
    entry = Entry(_steps(counter, draft, shelf), draft, counter)
    shelf.save(draft)
    begun = visit_of(draft.tree)
    stops, advice = counter.stops(begun), counter.advice(begun)
    say("\n".join(f"{LEVEL_WORDS['stop']}: {text}" for text in stops.values()))
    say("\n".join(f"{LEVEL_WORDS['see-clinician']}: {text}" for text in advice.values()))
    draft.said = [*stops, *advice]
    told: set[str] = set()
    known = _Known(counter)

    def after_block(block: str) -> str:
        visit = visit_of(draft.tree)
        progress = counter.progress(visit)
        told.update(draft.said)
        notes = list(note_lines(progress, told))
        told.update(note.rule for note in progress.notes)
        before = known.said
        now = known.lines(visit, progress, block)
        return "\n".join([*notes, *(now if now != before else ())])  # said once

    try:
        run(entry, lambda: shelf.save(draft), after_block, answer=answer)
    except LeftError:
        print()
        say(f"Saved. Go on with: recommend visit resume {draft.reference}")
        return
    _ended(counter, draft, shelf, known)


@dataclass(slots=True)
class _Known:
    """What is known so far, and how sure it is once nothing is missing for the foot types.

    Attributes
    ----------
    said : the lines that were said last.
    sure : how sure the outcome is, and of which visit: redraws take their time.
    """

    counter: Adviser
    said: tuple[str, ...] = ()
    sure: tuple[Visit, str] | None = None

    def lines(self, visit: Visit, progress: Progress, block: str) -> tuple[str, ...]:
        """What is to be said after a block."""
        sure = () if progress.next_measure else (self._sure_of(visit),)
        self.said = (progress_line(progress, block), *sure)
        return self.said

    def _sure_of(self, visit: Visit) -> str:
        if self.sure is None or self.sure[0] != visit:
            self.sure = visit, _sure(self.counter, visit)
        return self.sure[1]


def _ended(counter: Adviser, draft: Draft, shelf: Shelf, known: _Known) -> None:
    """Put the visit on the shelf; say what came of it and what to type next."""
    visit = visit_of(draft.tree)
    path = shelf.finish(draft)
    if visit.follow_up is not None and keeps():
        _keep_return(visit, shelf)
    progress = counter.progress(visit)
    stopped = bool(counter.stops(visit))
    lines = () if stopped else known.lines(visit, progress, "end")
    heading("The visit")
    say("\n".join([*note_lines(progress), *lines]))
    print(f"Visit: {path}")
    if stopped:
        print(f"Next:  recommend sheet {called(path)}   (the page that says whom to see)")
        raise typer.Exit(Exit.STOP)
    print(f"Next:  recommend shortlist {called(path)}")


def _keep_return(visit: Visit, shelf: Shelf) -> None:
    """Keep that the customer came back as a record that names that of the earlier visit."""
    assert visit.follow_up is not None
    told = visit.follow_up.model_dump(mode="json", by_alias=True, exclude_unset=True)
    told = {"remark" if key == "changed" else key: one for key, one in told.items() if key != "of"}
    earlier = shelf.folder / f"{visit.follow_up.of}.yaml"
    if earlier.is_file():
        by = visit.measured_by or str(setting("fitter").value or "")
        kept = keep_event(store_path(), read_visit(earlier), "came-back", told, by)
        print(kept_words(kept), file=sys.stderr)


def _steps(counter: Adviser, draft: Draft, shelf: Shelf) -> tuple[EntryStep, ...]:
    """The steps as this shop asks them: its readings, sides, screening read out in groups."""
    book = counter.book
    steps = list(steps_for(book, draft.follow_up, shelf.folder))
    fitter = setting("fitter").value
    if fitter and "measured-by" not in draft.tree:
        draft.tree["measured-by"] = fitter
    if fitter:
        steps = [step for step in steps if step.id != "measured-by"]
    steps = [step for step in steps if taken(step, draft.readings or setting("readings").value)]
    steps = in_order(steps, [one for one in draft.readings if one != NO_READING])
    if setting("feet").value == "side-by-side":
        steps = list(side_by_side(steps))
    most = book.parameters.entry.read_out_most
    return tuple(read_out(steps, book.questions, most, _last_answers(draft, shelf)))


def _planned(book: Rulebook, minutes: float) -> list[str]:
    """The readings for which there is time; says what they settle and what was given up."""
    from recommend.coverage.population import load_population
    from recommend.coverage.settling import plan

    steps = steps_for(book, False)
    named: list[str] = setting("readings").value or list(READINGS)
    feeds = {one: measures_of(one, steps) for one in named if measures_of(one, steps)}
    takes = {one: book.parameters.entry[f"minutes-{one}"] for one in feeds}
    population = load_population(Path(book.folder) / "population.yaml")
    made = plan(book, population, feeds, takes, book.parameters.entry.minutes_fixed, minutes)
    say("\n".join(plan_lines(made)))
    readings = list(made.readings)
    read_off = [at for at, one in enumerate(readings) if one in _FROM_CAPTURES]
    if read_off and "captures" in named:  # a file at hand is quicker than what it holds is typed
        readings.insert(read_off[0], "captures")
    return readings or [NO_READING]


def _last_answers(draft: Draft, shelf: Shelf) -> dict[str, str]:
    """Screening answers of the visit before, to be shown; they never count."""
    earlier = draft.tree.get("follow-up", {}).get("of")
    file = shelf.folder / f"{earlier}.yaml"
    return dict(read_visit(file).answers) if earlier and file.exists() else {}


def _sure(counter: Adviser, visit: Visit) -> str:
    """How sure the outcome is by redraws, and what to take again first; empty after a stop."""
    from recommend.match.sureness import sureness  # only here: most blocks need none of it

    book = counter.book
    outcome = outcome_of(visit, book, open_catalogue(book), counter.engine)
    if outcome.shortlist is None or outcome.shortlist.unplaced:
        return ""
    return sure_line(sureness(outcome), book)


app.command("list", short_help="Today's visits, and all under way.")(list_)
app.command(cls=TakesNegatives, short_help="Change one answer, and see what it did.")(edit)
app.command(short_help="Write down what was chosen, sold or left.")(decide)
app.command(short_help="Let what did harm stand again, with a reason.")(lift)
app.command(short_help="A customer's visits side by side.")(history)
app.command(short_help="What became of products: comfort, pain, returns.")(outcomes)
app.command(short_help="A blank intake sheet to print.")(form)


@app.command(short_help="This lab's own errors of measurement.")
def repeatability(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILES...", help="Visit files: the same feet, measured again."),
    ],
    use: Annotated[
        bool, typer.Option("--use", help="Write them to the settings without asking.")
    ] = False,
    rules: RulesFolder = None,
) -> None:
    """Estimate this lab's own errors of measurement from repeated visits.

    Measure some ten feet two or three times, with the marks put on anew, and name all the files.
    Visits of one reference code are repeats of the same feet, in the order given.

    Example: recommend visit repeatability catalogue_demo/repeats/*.yaml
    """
    book = open_rulebook(rules)
    visits = [open_visit(file, book) for file in files]
    found = repeatability_of(visits, book.measures, book.parameters)
    if not found:
        raise InputError(
            Place(str(files[0])),
            "no measure of two feet or more stands twice in these files",
            mend="give repeated visits the same reference code",
        )
    for line in repeat_lines(found, book.measures):
        print(line)
    print()
    say(REPEATS)
    alike = lab_resemblance(visits, book.parameters)
    for name, value in alike.items():
        say(f"{name}: each stride resembles the one before by at most {value:.2f} (95 %).")
    print_byline(book)
    _offer(found, alike, book.parameters.noise.repeat_freedom, use)


def _offer(found: Sequence[Repeated], alike: Mapping[str, float], enough: int, use: bool) -> None:
    """Write the errors that stand on enough repeats to the settings, if that is wanted."""
    usable = _usable(found, enough)
    few = [one.measure for one in found if one.measure not in usable]
    if few:
        say(f"Too few repeats to use (df below {enough}): {', '.join(dict.fromkeys(few))}.")
    if not usable or not (use or _wanted(usable)):
        return
    errors: dict[str, dict[str, Any]] = {}
    for name, one in usable.items():
        note = f"{one.targets} feet, {one.readings} visits, {date.today().isoformat()}"
        errors[name] = {"single": round(one.single, 4), "floor": round(one.floor, 4)}
        if name in alike:
            errors[name]["resemblance"] = round(alike[name], 3)
        errors[name]["note"] = note
    say(f"Written to {write_settings({}, errors)}; used from now on.")


def _usable(found: Sequence[Repeated], enough: int) -> Mapping[str, Repeated]:
    """By measure, the estimate on the most degrees of freedom, if those are enough."""
    best: dict[str, Repeated] = {}
    for one in sorted(found, key=lambda one: one.freedom):
        if one.freedom >= enough and one.sem > 0:
            best[one.measure] = one
    return best


def _wanted(usable: Mapping[str, Repeated]) -> bool:
    if not sys.stdin.isatty():
        say(f"To use them here ({', '.join(usable)}): the same command with --use.")
        return False
    print(f"Use these errors in this shop ({', '.join(usable)})? y or n > ", end="", flush=True)
    try:
        return input().strip().lower() in ("y", "yes")
    except (EOFError, KeyboardInterrupt):
        return False
