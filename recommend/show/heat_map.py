"""The matrix of foot types by size as a picture (extra ``plot``)."""

from __future__ import annotations

import importlib.util
import io
from pathlib import Path

import numpy as np

from recommend.coverage.cells import UNDETERMINED
from recommend.coverage.report import by_type
from recommend.coverage.run import Run
from recommend.errors import InputError, Place
from recommend.extras import not_installed
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
    if importlib.util.find_spec("matplotlib") is None:
        raise not_installed("a picture", "plot")
    refuse_other_kinds(path, PICTURE, force=force)


def draw_heat_map(run: Run, path: Path, *, force: bool = False) -> None:
    """Draw the share served of every foot type and size range.

    Raises
    ------
    RecommendError
        As `check_picture`, or if the file cannot be written.
    """
    check_picture(path, force=force)
    from matplotlib.figure import Figure

    types = by_type(run.coverage.cells)
    sizes = run.coverage.size_labels
    values = {(c.foot_type, c.sizes): c for c in run.coverage.cells}
    grid = np.full((len(types), len(sizes)), np.nan)
    for row, foot_type in enumerate(types):
        for column, label in enumerate(sizes):
            cell = values.get((foot_type, label))
            if cell is not None and cell.served is not None:
                grid[row, column] = 100 * cell.served
    figure = Figure(
        figsize=(2.6 + 1.05 * len(sizes), 1.6 + 0.34 * len(types)), layout="constrained"
    )
    axes = figure.add_subplot()
    _draw(axes, grid)
    names = [t if t == UNDETERMINED else run.book.types[t].title for t in types]
    labels = [f"{n} ({100 * s:.1f} %)" for n, (s, _) in zip(names, types.values(), strict=True)]
    axes.set_yticks(range(len(types)), labels, fontsize=8)
    axes.set_xticks(range(len(sizes)), sizes, fontsize=8)
    axes.set_xlabel("Mondopoint size, mm")
    served = run.coverage.served
    axes.set_title(
        f"Share served, per cent: {100 * served.value:.1f} of all "
        f"({100 * served.low:.1f} to {100 * served.high:.1f})\n"
        "In brackets: share of all feet. Blank: no feet drawn.",
        fontsize=9,
        loc="left",
    )
    drawn = io.BytesIO()
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
