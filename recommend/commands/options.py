"""Options that several commands share; light, so that no command starts slower for them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

StorePath = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(
        "--store",
        metavar="PATH",
        help="The record store. Default: RECOMMEND_STORE, else the platform's data folder.",
    ),
]
