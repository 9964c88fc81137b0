"""`recommend store`: look after the record store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated

import typer

from recommend.atomic import written_whole
from recommend.commands.options import Force, StorePath, customers, group
from recommend.door import typed
from recommend.errors import Exit, InputError, Place, RecommendError, counted
from recommend.output import REQUEST, write_output
from recommend.records.database import store_path
from recommend.records.keeping import tell_witnesses
from recommend.records.stamps import request_of, stamped, stamps_of
from recommend.records.store import Store
from recommend.records.store import forget as forget_customer
from recommend.records.transfer import export as export_lines
from recommend.records.transfer import import_file
from recommend.records.verify import missing, said
from recommend.records.verify import verify as verify_store
from recommend.settings import setting
from recommend.show.console import working
from recommend.show.records import list_lines, stamp_line, verdict_lines
from recommend.visit.shelf import EXPORT, Shelf

app = group("Look after the records: list, verify, stamp, export, import, forget.")


@app.command("list")
def list_(
    store: StorePath = None,
    limit: Annotated[int, typer.Option(min=1, max=10**9, help="How many, newest first.")] = 20,
) -> None:
    """List the newest records.

    Example: recommend store list --limit 5
    """
    with Store(store_path(store)) as opened:
        for line in list_lines(opened, limit):
            typer.echo(line)


@app.command()
def verify(
    store: StorePath = None,
    expect: Annotated[
        list[str] | None,
        typer.Option(help="Hash of a record noted earlier, or its beginning; must be there."),
    ] = None,
    against: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="A witness beside those of the settings."),
    ] = None,
    roots: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Certificates (PEM) that time stamps must lead to."),
    ] = None,
) -> None:
    """Check every hash and link of the chain.

    Names the first thing that differs, and then ends with exit code 2. What the shop's witnesses
    say (`witnesses` in the settings, --against), and time stamps, are held against it too.

    Example: recommend store verify
    """
    with Store(store_path(store)) as opened, working("verifying"):
        verdict = verify_store(opened, *(expect or ()))
        lacking = list(_against_witnesses(opened, against or ())) if verdict.sound else []
        stamps = list(stamps_of(opened, roots or ())) if verdict.sound else []
    for line in verdict_lines(verdict, str(store_path(store))):
        typer.echo(line)
    for one in stamps:
        typer.echo(stamp_line(one))
    for line in lacking:
        typer.echo(f"DIFFERS: {line}")
    faulty = lacking or any(one.fault and one.checked for one in stamps)
    raise typer.Exit(Exit.DONE if verdict.sound and not faulty else Exit.BAD_INPUT)


def _against_witnesses(opened: Store, more: Sequence[Path]) -> Iterator[str]:
    """What the shop's witnesses say otherwise; of one that cannot be read, that."""
    for path in (*setting("witnesses").value, *more):
        try:
            days = list(said(path))
        except InputError as error:
            yield f"a witness cannot be read: {error}"
            continue
        typer.echo(f"Witness {path}: {counted(len(days), 'day')}")
        yield from missing(opened, days)


@app.command()
def stamp(
    answer: Annotated[
        Path | None,
        typer.Argument(metavar="ANSWER", help="What the service answered (.tsr)."),
    ] = None,
    request: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a request to stamp the last record (.tsq)."),
    ] = None,
    store: StorePath = None,
    force: Force = False,
) -> None:
    """Have the last record stamped by a time-stamping service (RFC 3161).

    Write the request, send it yourself (by POST as application/timestamp-query), and keep the
    answer. Only a hash goes out. `store verify --roots FILE` checks what was kept.

    Example: recommend store stamp --request last.tsq
    """
    if (answer is None) == (request is None):
        raise RecommendError("name the service's answer, or a file for --request; one of the two")
    path = store_path(store)
    if request is not None:
        with Store(path) as opened:
            last = opened.record(len(opened))
        write_output(request, request_of(last), REQUEST, force=force)
        typer.echo(f"Written: {request}, to stamp record {last.seq} ({last.hash[:12]})")
        return
    assert answer is not None
    with Store(path, write=True) as opened:
        kept = opened.append(stamped(opened, answer, str(setting("fitter").value or "")))
        tell_witnesses(kept)
    typer.echo(f"Kept as record {kept.seq}: a time stamp of record {kept.head['of']['seq']}.")


@app.command()
def export(
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FILE", help="Write here; default is standard output."),
    ] = None,
    store: StorePath = None,
    force: Force = False,
) -> None:
    """Write all records as JSON Lines.

    Order and hashes are kept. The file holds what the store holds, references and remarks
    included: keep it as safe as the store.

    Example: recommend store export --to records.jsonl
    """
    if to is None:
        with Store(store_path(store)) as opened:
            for line in export_lines(opened):
                typer.echo(line.decode("utf-8", "replace"))
        return
    if to.exists() and not (force and to.is_file()):
        found, mend = "the file is there already", "name a new file, or write over it with --force"
        raise InputError(Place(str(to)), found, mend=mend)
    with Store(store_path(store)) as opened, written_whole(to) as stream:
        stream.writelines(line + b"\n" for line in export_lines(opened))
    Shelf(setting("visits").value).remember(EXPORT, to)


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What `store export` wrote.")],
    store: StorePath = None,
) -> None:
    """Add the records of an export.

    They must continue the records of this store; all are added, or none.

    Example: recommend store import records.jsonl --store copy.sqlite
    """
    with working("importing"):
        done = import_file(store_path(store), file)
    typer.echo(f"{counted(done.added, 'record')} added; {done.present} already there.")


@app.command()
def forget(
    reference: Annotated[
        str,
        typer.Argument(metavar="REFERENCE", help="The customer's code.", autocompletion=customers),
    ],
    store: StorePath = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Forget a customer: reference and remarks in all records, visit files, drafts and pages.

    What was measured stays in the records without a name, and the chain declares the gap. Files
    that this program wrote of the customer are listed, and removed on a yes.

    Example: recommend store forget A-1042 --yes
    """
    path, shelf = store_path(store), Shelf(setting("visits").value)
    files = shelf.of_customer(reference)
    count = _records_of(path, reference)
    if not count and not files:
        with Store(path):  # says so where there is no store at all
            pass
        raise InputError(
            Place(str(path)),
            f"no record and no file has the reference `{reference}`",
            mend="see `recommend store list`",
        )
    for one in files:
        typer.echo(f"  {one}")
    if not yes and not _confirmed(reference, count, len(files)):
        typer.echo("Nothing was forgotten.")
        return
    if count:
        _forget_records(path, reference)
    left = shelf.forget(reference)
    typer.echo(f"{counted(len(files) - len(left), 'file')} removed.")
    for one in left:
        typer.echo(f"COULD NOT BE REMOVED: {one}")
    for one in shelf.exports_with(reference):
        typer.echo(f"This export still holds it: {one}")
    typer.echo(_NOT_REACHED)
    if left:
        raise typer.Exit(Exit.BAD_INPUT)


_NOT_REACHED = (
    "Not reached: copies, backups and exports made earlier, visit files outside the folder of "
    "visits, capture files and films, what was printed or sent, and what a disk still holds of a "
    "removed file. Remove those yourself."
)


def _records_of(path: Path, reference: str) -> int:
    if not path.exists():
        return 0
    with Store(path) as opened:
        return len(opened.of_reference(reference))


def _forget_records(path: Path, reference: str) -> None:
    with Store(path, write=True) as opened:
        done = forget_customer(opened, reference)
        tell_witnesses(done.declared)
    forgotten = counted(len(done.records), "record")
    typer.echo(f"Forgotten in {forgotten}; record {done.declared.seq} declares the gap.")
    if not done.log_emptied:
        typer.echo("Another program is reading the store: close it, and the log is emptied too.")


def _confirmed(reference: str, records: int, files: int) -> bool:
    what = f"{counted(records, 'record')} and {counted(files, 'file')}"
    try:
        print(f"Forget `{reference}` in {what} for good? y or n > ", end="", flush=True)
        return typed().strip().lower() in ("y", "yes")
    except (EOFError, KeyboardInterrupt) as error:
        typer.echo()
        raise RecommendError(
            "the question was not answered, so nothing was forgotten; answer it, or give --yes"
        ) from error
