"""`recommend visit decide`: what came of the fitting, written into the visit and the stock list."""

from __future__ import annotations

import copy
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
from recommend.catalogue.stacking import selling
from recommend.commands.options import VisitName, called, visit_file
from recommend.errors import InputError, Place
from recommend.infer.adviser import Adviser
from recommend.match.out import harmful
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Group
from recommend.measure.model import SIDES
from recommend.measure.sizing import TITLES, box_size
from recommend.reading import read_document
from recommend.records.database import store_path
from recommend.records.keeping import entry_of, keep_event, keeps, kept_words
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.answer import day_words
from recommend.show.dialogue import KEYS, LeftError, run, say
from recommend.show.labels import (
    LEVEL_WORDS,
    Names,
    brought,
    name_of,
    names_of,
    size_words,
    worn_as,
)
from recommend.trial.plan import BAREFOOT
from recommend.visit.answers import RefusedError
from recommend.visit.deciding import OWN, Offered, OnHand, by_whom, deciding, reading_out
from recommend.visit.entry import Entry, with_answer
from recommend.visit.entry_steps import EntryStep
from recommend.visit.models import Decision, Visit
from recommend.visit.shelf import Draft
from recommend.visit.tree import Tree, get
from recommend.visit.writing import edit_visit
from recommend.way import outcome_of


def decide(
    visit: VisitName,
    answer: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT=ANSWER",
            help="answer without being asked, may be repeated, such as decision=sold",
        ),
    ] = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="take the decision back, and put the stock back")
    ] = False,
) -> None:
    """Write down what came of a fitting: what was chosen, sold, ordered or left, and by whom.

    What is sold is taken off the shop's stock list (`stock` in the settings).

    Example: recommend visit decide A-1042
    """
    file = visit_file(visit)
    book = open_rulebook()
    seen = open_visit(file, book)
    products = open_catalogue(book)
    titles = products.titles
    if undo:
        _undo(file, seen, Names({}, titles), book)
        return
    if seen.decision is not None and seen.decision.stock_file:
        raise InputError(
            Place(str(file)),
            "the decision was written down and the stock list lowered",
            mend="take it back first with --undo",
        )
    counter = Adviser(book)
    outcome = outcome_of(seen, book, products, counter.engine)
    asking = _asking(outcome, _fitter_before(file))
    tree = _answered(asking, answer) if answer else _asked(asking, seen.reference, counter)
    if tree is not None:
        _refuse_harmful(tree["decision"], harmful(seen, book.parameters), visit)
        _write(file, tree["decision"], names_of(outcome), book)
        _keep(outcome, tree["decision"])


@dataclass(frozen=True, slots=True)
class _Asking:
    """What is asked: the steps, what stands before them, and what is offered by letter."""

    steps: tuple[EntryStep, ...]
    begun: Tree
    offered: Mapping[str, Offered]


def _asking(outcome: Outcome, fitter: str) -> _Asking:
    """The questions of this decision, the notes said first; nothing is offered after a stop."""
    notes = [note for note in outcome.assessment.notes if note.level in ("stop", "see-clinician")]
    for note in notes:
        say(f"{LEVEL_WORDS[note.level]}{'' if note.level == 'stop' else ' first'}: {note.say}")
    rules = list(dict.fromkeys(note.rule for note in notes))
    if outcome.shortlist is None:
        say("A stop withholds the shortlist: nothing is handed over.")
        steps = (*reading_out(rules), by_whom(fitter))
        return _Asking(steps, {"decision": {"outcome": "nothing"}}, {})
    offered = _offers(outcome)
    first, shelf = _first(outcome), _shelf(outcome)
    return _Asking(deciding(offered, first, shelf, date.today(), fitter, rules), {}, offered)


def _keep(outcome: Outcome, told: Tree) -> None:
    """Keep what came of the fitting as a record that names the shortlist it departs from or not."""
    if not keeps():
        return
    first = {c.id for group in GROUPS for c in _first_group(outcome, group)}
    chosen = worn_as(told.get("shoe"), told.get("insole"))
    event = {**told, "of-the-first-group": not chosen or chosen in first}
    what = "read-out" if outcome.shortlist is None else str(told["outcome"])
    visit, by = outcome.assessment.visit, str(told.get("fitter") or "")
    kept = keep_event(store_path(), visit, what, event, by, lambda: entry_of(outcome))
    print(kept_words(kept), file=sys.stderr)


def _first_group(outcome: Outcome, group: Group) -> tuple[Candidate, ...]:
    groups = outcome.shortlist.groups[group] if outcome.shortlist else ()
    return groups[0].members if groups else ()


def _refuse_harmful(told: Tree, out: Mapping[str, str], called: str) -> None:
    """What did harm is not handed over again before a fitter has lifted it with a reason."""
    for product in (told.get("shoe"), told.get("insole")):
        if told.get("outcome") != "nothing" and product in out:
            raise InputError(
                Place(str(product)),
                f"it is out ({out[str(product)]})",
                mend=f"lift it with a reason first: recommend visit lift {called} {product}",
            )


def _offers(outcome: Outcome) -> dict[str, Offered]:
    """What the shortlist offers, and what was tried, by the letters of the visit."""
    names = names_of(outcome)
    ranked = outcome.shortlist
    assert ranked is not None
    listed = {
        name_of(c): c for group in GROUPS for c in (*ranked.ranked[group], *ranked.missing[group])
    }
    tried = {worn_as(t.shoe, t.insole) for t in outcome.assessment.visit.trials}
    found = {}
    for name, letter in names.letters.items():
        candidate = listed.get(name) or listed.get(name.removeprefix(f"{OWN}+"))
        if name != BAREFOOT and (candidate is not None or name in tried):
            title = names.worn(name) + (" (tried)" if name in tried else "")
            found[letter] = _offered(name, title, candidate)
    return found


def _offered(name: str, title: str, candidate: Candidate | None) -> Offered:
    """A combination by its id as a try-on; its sizes where it is on the shortlist."""
    shoe, _, insole = name.partition("+")
    pairs = zip(candidate.parts, candidate.sized, strict=True) if candidate is not None else ()
    sizes = {part.product.kind: sized.size for part, sized in pairs if part.offered == "shop"}
    return Offered(shoe, insole or None, title, sizes.get("shoe"), sizes.get("insole"))


def _first(outcome: Outcome) -> set[tuple[str | None, str | None]]:
    """Shoe and insole of each member of the first group."""
    ranked = outcome.shortlist
    group = brought(ranked) if ranked is not None else None
    members = _first_group(outcome, group) if group is not None else ()
    offers = [_offered(name_of(one), "", None) for one in members]
    return {(one.shoe, one.insole) for one in offers}


def _shelf(outcome: Outcome) -> OnHand:
    """All products by kind, and what the numbers on boxes stand for in the shop's system."""
    items, system = outcome.catalogue.items, setting("sizes").value
    boxes: dict[str, set[float]] = {}
    for size in {size for item in items for size in item.stock}:
        if system != "mondopoint":
            label = f"{box_size(system, size, outcome.book.parameters):g}"
            boxes.setdefault(label, set()).add(size)
    return OnHand(outcome.catalogue.titles_by_kind, boxes, TITLES[system] if boxes else "")


def _fitter_before(file: Path) -> str:
    """The fitter's code of the decision that stands already, to be offered again."""
    told = get(read_document(file).data, ("decision", "fitter"))
    return str(told or setting("fitter").value or "")


def _answered(asking: _Asking, answers: list[str]) -> Tree:
    """The decision from answers on the command line, each checked as if it were typed."""
    by_id = {step.id: step for step in asking.steps}
    tree: Tree = copy.deepcopy(asking.begun)
    for one in answers:
        name, _, text = one.partition("=")
        if name not in by_id:
            raise InputError(Place("--answer"), f"`{name}` is no question", ", ".join(by_id))
        tree = _answer(tree, by_id[name], text)
    for step in asking.steps:  # what follows from the rest, such as the size of a chosen product
        usual = step.usual(tree) if step.asked_if(tree) and not get(tree, step.path) else None
        if usual and (step.id.endswith("-size") or step.id == "fitter"):
            tree = _answer(tree, step, usual)
    if not get(tree, ("decision", "outcome")):
        raise InputError(Place("--answer"), "what came of it is not said", "decision=sold, ...")
    return tree


def _answer(tree: Tree, step: EntryStep, text: str) -> Tree:
    try:
        return with_answer(tree, step, step.kind.parse(text))[0]
    except RefusedError as error:
        raise InputError(Place("--answer"), str(error)) from None


def _asked(asking: _Asking, reference: str, counter: Adviser) -> Tree | None:
    """The decision asked for at the terminal; None when the fitter leaves."""
    for letter, one in asking.offered.items():
        say(f"{letter}  {one.title}", "   ")
    draft = Draft({"reference": reference, **copy.deepcopy(asking.begun)})
    try:
        run(Entry(asking.steps, draft, counter), lambda: None, lambda _block: "", intro=KEYS)
    except LeftError:
        print()
        say("Nothing was written down.")
        return None
    return draft.tree if get(draft.tree, ("decision", "outcome")) else None


def _write(file: Path, told: Tree, names: Names, book: Rulebook) -> None:
    decision = Decision.model_validate(told)
    stock, sold = setting("stock").value, dict(_sold(decision))
    kept = {"outcome": told["outcome"], "date": date.today().isoformat(), **told}
    if sold and stock is not None:
        with selling(stock, sold) as left:
            _put_down(file, kept | {"stock-file": "lowered"})
    else:
        left = {}
        _put_down(file, kept)
    say(f"Written down: {_words(decision, names, book)}.")
    for (product, size), count in left.items():
        say(f"{names.worn(product)}, {size_words(size, book)}: {count} left on the stock list.")
    if sold and stock is None:
        say("No stock list is set: `recommend setup --set stock=FILE` lets it be counted down.")
    print(f"Next:  recommend sheet {called(file)}")


def _put_down(file: Path, told: Tree) -> None:
    def replace(part: Any) -> None:
        part.clear()
        part.update(told)

    edit_visit(file, "decision", replace, {})


def _sold(decision: Decision) -> Iterator[tuple[tuple[str, float], int]]:
    """Pairs that leave the shelf: two when each foot takes a size of its own."""
    if decision.outcome != "sold":
        return
    for product, sizes in decision.handed:
        if product == OWN:
            continue
        for size in dict.fromkeys(getattr(sizes, side) for side in SIDES):
            if size is not None:
                yield (product, size), 1


def _undo(file: Path, seen: Visit, names: Names, book: Rulebook) -> None:
    decision = seen.decision
    if decision is None:
        raise InputError(Place(str(file)), "no decision is written down in this visit")
    stock = setting("stock").value
    if decision.stock_file and stock is not None:
        with selling(stock, {key: -count for key, count in _sold(decision)}) as left:
            _put_down(file, {"outcome": "nothing"})
        for (product, size), count in left.items():
            words = f"{names.worn(product)}, {size_words(size, book)}"
            say(f"{words}: {count} on the stock list again.")
    else:
        _put_down(file, {"outcome": "nothing"})
    say("The decision is taken back.")
    if keeps():
        by = str(setting("fitter").value or "")
        told = decision.model_dump(mode="json", by_alias=True, exclude_unset=True)
        print(kept_words(keep_event(store_path(), seen, "taken-back", told, by)), file=sys.stderr)


def _words(decision: Decision, names: Names, book: Rulebook) -> str:
    things = [
        f"{names.worn(product)}{_size_words(sizes, book)}" for product, sizes in decision.handed
    ]
    told = f"{decision.outcome.replace('-', ' ')} {' + '.join(things)}".strip()
    back = f"; back on {day_words(decision.back_on)}" if decision.back_on else ""
    return f"{told}{back}"


def _size_words(sizes: Any, book: Rulebook) -> str:
    known = [size for side in SIDES if (size := getattr(sizes, side)) is not None]
    found = dict.fromkeys(size_words(size, book) for size in known)
    return f", {' and '.join(found)}" if found else ""
