"""The matrix of foot types by size as a picture (extra ``plot``)."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from recommend.coverage.run import Run
from recommend.coverage.split import UNDETERMINED
from recommend.errors import InputError, Place
from recommend.extras import need
from recommend.output import PICTURE, refuse_other_kinds, write_output

ENDINGS = (".svg", ".png", ".pdf")


def check_picture(path: Path, *, force: bool = False) -> None:
    """Refuse early what `draw_heat_map` could not draw.

    Raises
    ------
    RecommendError
        If matplotlib is not installed.
    InputError
        If the ending of `path` is no picture, or a file of another kind is there.
    """
    if path.suffix not in ENDINGS:
        raise InputError(Place(str(path)), f"`{path.suffix}` is no picture", ", ".join(ENDINGS))
    need("a picture", "plot", "matplotlib")
    refuse_other_kinds(path, PICTURE, force=force)


def draw_heat_map(run: Run, path: Path, *, force: bool = False) -> None:
    """Draw the share served in every cell of the matrix.

    Raises
    ------
    RecommendError
        As `check_picture`, or if the file cannot be written.
    """
    check_picture(path, force=force)
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    coverage = run.coverage
    down, across = coverage.by
    rows, columns = [cell.row for cell in coverage.rows], coverage.columns
    grid = np.full((len(rows), len(columns)), np.nan)
    for cell in coverage.cells:
        grid[rows.index(cell.row), columns.index(cell.column)] = 100 * cell.served
    figure = Figure(
        figsize=(2.6 + 1.05 * len(columns), 1.6 + 0.34 * len(rows)), layout="constrained"
    )
    axes = figure.add_subplot()
    _draw(axes, grid)
    titled = down == "foot-type"
    names = [run.book.types[r].title if titled and r != UNDETERMINED else r for r in rows]
    shares = [100 * cell.share for cell in coverage.rows]
    labels = [f"{name} ({share:.1f} %)" for name, share in zip(names, shares, strict=True)]
    axes.set_yticks(range(len(rows)), labels, fontsize=8)
    axes.set_xticks(range(len(columns)), columns, fontsize=8)
    axes.set_xlabel("Mondopoint size, mm" if across == "size" else across)
    served = run.coverage.served
    axes.set_title(
        f"Share served, per cent: {100 * served.value:.1f} of all "
        f"({100 * served.low:.1f} to {100 * served.high:.1f})\n"
        "In brackets: share of all customers. Blank: nobody.",
        fontsize=9,
        loc="left",
    )
    drawn = io.BytesIO()
    with rc_context({"svg.fonttype": "none", "pdf.fonttype": 42}):  # text stays text
        figure.savefig(drawn, format=path.suffix[1:], dpi=150)
    write_output(path, drawn.getvalue(), PICTURE, force=force)


def _draw(axes: object, grid: np.ndarray) -> None:
    from matplotlib.axes import Axes

    assert isinstance(axes, Axes)
    axes.imshow(grid, cmap="cividis", vmin=0, vmax=100, aspect="auto")
    for row, column in np.argwhere(np.isfinite(grid)):
        value = grid[row, column]
        # Cividis is dark at its low end; the number must be readable on both.
        colour = "black" if value > 50 else "white"
        axes.text(column, row, f"{value:.0f}", ha="center", va="center", color=colour, fontsize=8)
