"""`recommend store`: look after the record store."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from recommend.atomic import written_whole
from recommend.commands.options import Force, StorePath
from recommend.errors import Exit, InputError, Place, RecommendError, counted
from recommend.records.database import store_path
from recommend.records.forget import forget as forget_customer
from recommend.records.store import Store
from recommend.records.transfer import export as export_lines
from recommend.records.transfer import import_file
from recommend.records.verify import verify as verify_store
from recommend.settings import setting
from recommend.show.bar import working
from recommend.show.records import list_lines, verdict_lines
from recommend.visit.shelf import Shelf

app = typer.Typer(add_completion=False, rich_markup_mode=None, no_args_is_help=True)


@app.callback()
def _store() -> None:
    """Look after the records: list, verify, export, import, forget."""


@app.command("list")
def list_(
    store: StorePath = None,
    limit: Annotated[int, typer.Option(min=1, help="How many, newest first.")] = 20,
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
        str, typer.Option(help="Hash of a record noted earlier, or its beginning; must be there.")
    ] = "",
) -> None:
    """Check every hash and link of the chain.

    Names the first thing that differs, and then ends with exit code 2.

    Example: recommend store verify
    """
    with Store(store_path(store)) as opened, working("verifying"):
        verdict = verify_store(opened, expect)
    for line in verdict_lines(verdict, str(store_path(store))):
        typer.echo(line)
    raise typer.Exit(Exit.DONE if verdict.sound else Exit.BAD_INPUT)


@app.command()
def export(
    to: Annotated[
        Optional[Path],  # noqa: UP045
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
    reference: Annotated[str, typer.Argument(metavar="REFERENCE", help="The customer's code.")],
    store: StorePath = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Forget a customer's reference and remarks.

    They are deleted from all records; what was measured stays, and the chain declares the gap.

    Example: recommend store forget A-1042 --yes
    """
    with Store(store_path(store), write=_must_exist(store_path(store))) as opened:
        count = len(opened.of_reference(reference))
        if count and not yes and not _confirmed(reference, count):
            typer.echo("Nothing was forgotten.")
            return
        done = forget_customer(opened, reference)
    forgotten = counted(len(done.records), "record")
    typer.echo(
        f"Forgotten in {forgotten}; record {done.declared.seq} declares the gap.\n"
        "Copies and exports made earlier are not reached."
    )
    left = Shelf(setting("visits").value).finished(reference)
    if left:
        typer.echo("Visit files are not reached; remove them yourself:")
        for one in left:
            typer.echo(f"  {one.path}")
    if not done.log_emptied:
        typer.echo("Another program is reading the store: close it, and the log is emptied too.")


def _confirmed(reference: str, count: int) -> bool:
    try:
        return typer.confirm(f"Forget `{reference}` in {counted(count, 'record')} for good?")
    except typer.Abort as error:
        typer.echo()
        raise RecommendError(
            "the question was not answered, so nothing was forgotten; answer it, or give --yes"
        ) from error


def _must_exist(path: Path) -> bool:
    if not path.exists():
        Store(path)  # says that there is none
    return True
