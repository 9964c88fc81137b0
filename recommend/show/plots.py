"""Pictures for print: footprints with the path of load, angles over stance, the matrix of coverage.

They need the optional extra ``plot`` (matplotlib). Line styles and marks differ beside colours, so
that a print in grey can be read.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from recommend.coverage.run import Run
from recommend.coverage.split import UNDETERMINED
from recommend.errors import InputError, Place
from recommend.extras import need, not_installed
from recommend.measure.measured import PHASES, STANCE_POINTS, Measured, Phase, phase_slices
from recommend.output import PICTURE, refuse_other_kinds, write_output
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.show.capture_lines import usual_bands

_ENDINGS = (".svg", ".png", ".pdf")
_STYLES: Mapping[Phase, str] = {"contact": ":", "midstance": "-", "propulsion": "--"}


def save_plot(
    path: Path,
    found: Sequence[Measured],
    book: Rulebook,
    *,
    force: bool = False,
) -> None:
    """Save one panel for each footprint and each angle curve in `found`.

    Raises
    ------
    RecommendError
        If the extra is not installed.
    InputError
        If the suffix is not .svg, .png or .pdf, nothing can be drawn, or it cannot be written.
    """
    if path.suffix.lower() not in _ENDINGS:
        raise InputError(
            Place(str(path)), f"`{path.suffix}` is no kind of picture", ", ".join(_ENDINGS)
        )
    panels = [one for one in found if one.picture or "rearfoot-angle" in one.curves]
    if not panels:
        raise InputError(Place(str(path)), "the captures hold nothing to draw")
    figure, axes = _figure(len(panels))
    # One colour scale for all footprints of the picture, so that feet can be compared.
    highest = max((float(one.picture.pressure.max()) for one in panels if one.picture), default=1.0)
    for one, axis in zip(panels, axes, strict=True):
        if one.picture:
            _footprint(axis, one, highest, book.parameters)
        else:
            _angle(axis, one, book)
    _alike([axis for one, axis in zip(panels, axes, strict=True) if one.picture], "xy")
    _alike([axis for one, axis in zip(panels, axes, strict=True) if not one.picture], "y")
    dated = {"Date": None} if path.suffix.lower() == ".svg" else None
    _write(figure, path, private=True, force=force, metadata=dated)


def _write(figure: Any, path: Path, *, private: bool, force: bool, **how: Any) -> None:
    drawn = io.BytesIO()
    figure.savefig(drawn, format=path.suffix[1:].lower(), dpi=150, **how)
    write_output(path, drawn.getvalue(), PICTURE, private=private, force=force)


def _figure(count: int) -> tuple[Any, list[Any]]:
    try:
        from matplotlib import rc_context
        from matplotlib.figure import Figure
    except ImportError:
        raise not_installed("a picture", "plot") from None
    columns = min(count, 2)
    rows = -(-count // columns)
    with rc_context({"svg.hashsalt": "recommend"}):
        figure = Figure(figsize=(5.2 * columns, 6.0 * rows), layout="constrained")
    axes = np.atleast_1d(figure.subplots(rows, columns)).ravel()
    for axis in axes[count:]:
        axis.set_visible(False)
    return figure, list(axes[:count])


_AROUND_MM = 5.0  # beside a footprint, so that it does not touch the frame


def _alike(axes: Sequence[Any], directions: str) -> None:
    """Give panels of one kind the same scale, so that left and right can be compared by eye."""
    for direction in directions if axes else "":
        ends = np.array([getattr(axis, f"get_{direction}lim")() for axis in axes])
        low, high = ends.min(), ends.max()
        if direction == "x":  # feet lie mirrored about the middle
            low, high = -np.abs(ends).max(), np.abs(ends).max()
        if "x" in directions:
            low, high = low - _AROUND_MM, high + _AROUND_MM
        for axis in axes:
            getattr(axis, f"set_{direction}lim")(low, high)


def _footprint(axis: Any, one: Measured, highest: float, parameters: Parameters) -> None:
    picture = one.picture
    assert picture is not None
    sign = -1.0 if one.side == "left" else 1.0
    shown = np.where(picture.pressure > 0, picture.pressure, np.nan)
    mesh = axis.pcolormesh(
        sign * picture.x, picture.y, shown, cmap="viridis", shading="nearest", rasterized=True,
        vmin=0.0, vmax=highest,
    )  # fmt: skip
    axis.figure.colorbar(mesh, ax=axis, label="peak pressure in kPa", shrink=0.7)
    curve = one.curves.get("cop")
    if curve is not None:
        low, high = (sign * (curve.mean[:, 0] + k * curve.sd[:, 0]) for k in (-1.0, 1.0))
        axis.fill_betweenx(
            curve.mean[:, 1],
            low,
            high,
            color="tab:orange",
            alpha=0.6,
            lw=0,
            label="1 SD between steps",
        )
        for phase, cut in phase_slices(parameters.capture).items():
            part = curve.mean[cut.start : cut.stop + 1]
            axis.plot(sign * part[:, 0], part[:, 1], "w", lw=3.2)
            axis.plot(sign * part[:, 0], part[:, 1], "k", ls=_STYLES[phase], lw=1.8, label=phase)
        ends = curve.mean[[0, -1]]
        axis.plot(
            sign * ends[:, 0],
            ends[:, 1],
            color="tab:red",
            lw=0.9,
            label="line of the excursion index",
        )
    for third in (1, 2):
        label = "thirds of the arch index" if third == 1 else None
        axis.axhline(picture.toeless_mm * third / 3, color="0.5", lw=0.6, label=label)
    _legend(axis, "centre of pressure" if curve is not None else None, 2)
    left, right = ("lateral", "medial") if one.side == "left" else ("medial", "lateral")
    axis.set(
        aspect="equal",
        xlabel=f"{left}   mm from the foot axis   {right}",
        ylabel="mm from the heel",
        title=f"{one.side} foot, {one.condition}, {one.gait}, {one.n} steps\n{_below(one)}",
    )


def _below(one: Measured) -> str:
    """File and date, and what is doubted of it, as short lines."""
    widened, removed = (
        [flag.name.replace("-", " ") for flag in one.flags if flag.effect == effect]
        for effect in ("widened", "removed")
    )
    said = [f"error widened: {', '.join(widened)}"] if widened else []
    said += [f"withdrawn: {', '.join(removed)}"] if removed else []
    lines = [line for part in (one.origin, *said) for line in textwrap.wrap(part, _TITLE)]
    return "\n".join(lines)


_TITLE = 48  # signs of a title that fit above a panel


def _legend(axis: Any, title: str | None, columns: int) -> None:
    """The legend below the panel, where it hides nothing."""
    axis.legend(
        title=title, loc="upper center", bbox_to_anchor=(0.5, -0.11), ncols=columns, fontsize=8
    )


def _angle(axis: Any, one: Measured, book: Rulebook) -> None:
    curve = one.curves["rearfoot-angle"]
    stance = np.arange(STANCE_POINTS)
    measure = one.find("peak-angle") or one.find("midstance-angle")
    reference = measure.qualifiers["reference"] if measure else ""
    cuts = phase_slices(book.parameters.capture)
    bands = usual_bands(book).get((one.gait, reference), {})
    for number, (phase, band) in enumerate(bands.items()):
        cut = cuts[phase]
        axis.fill_between(
            [cut.start, cut.stop], *band, color="0.88", hatch="//", edgecolor="0.75", lw=0,
            label="band of the peak in most feet" if number == 0 else None,
        )  # fmt: skip
    axis.fill_between(
        stance, curve.mean - curve.sd, curve.mean + curve.sd, color="tab:blue", alpha=0.3,
        label="1 SD between strides",
    )  # fmt: skip
    axis.plot(stance, curve.mean, "k", lw=2, label=f"mean of {curve.n} strides")
    peak, time = one.find("peak-angle"), one.find("peak-time")
    if peak and time:
        at, high = float(time.value), float(peak.value)
        axis.plot([at], [high], "k^", ms=8, label=f"peak {high:.1f}° at {at:.0f} %")
    for phase, name in (("midstance", "midstance-angle"), ("propulsion", "propulsion-angle")):
        mean = one.find(name)
        if mean:
            ends = [cuts[phase].start, cuts[phase].stop - 1]
            axis.plot(
                ends, [float(mean.value)] * 2, color="tab:red", lw=1.4, ls="-.",
                label=f"mean of {phase} {float(mean.value):.1f}°",
            )  # fmt: skip
    axis.axhline(0, color="0.4", lw=0.6)
    for phase in PHASES[1:]:
        axis.axvline(cuts[phase].start, color="0.4", lw=0.6, ls=":")
    for phase in PHASES:
        middle = (cuts[phase].start + cuts[phase].stop) / 2
        axis.annotate(phase, (middle, 0.01), xycoords=("data", "axes fraction"), ha="center")
    _legend(axis, None, 2)
    axis.set(
        xlim=(0, 100),
        xlabel="percent of stance",
        ylabel=f"degrees from {reference}, eversion up",
        title=f"{one.side} foot, {one.condition}, {one.gait}\n{_below(one)}",
    )


def check_picture(path: Path, *, force: bool = False) -> None:
    """Refuse early what `draw_heat_map` could not draw.

    Raises
    ------
    RecommendError
        If matplotlib is not installed.
    InputError
        If the ending of `path` is no picture, or a file of another kind is there.
    """
    if path.suffix not in _ENDINGS:
        raise InputError(Place(str(path)), f"`{path.suffix}` is no picture", ", ".join(_ENDINGS))
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
    with rc_context({"svg.fonttype": "none", "pdf.fonttype": 42}):  # text stays text
        _write(figure, path, private=False, force=force)


def _draw(axes: Any, grid: np.ndarray) -> None:
    axes.imshow(grid, cmap="cividis", vmin=0, vmax=100, aspect="auto")
    for row, column in np.argwhere(np.isfinite(grid)):
        value = grid[row, column]
        # Cividis is dark at its low end; the number must be readable on both.
        colour = "black" if value > 50 else "white"
        axes.text(column, row, f"{value:.0f}", ha="center", va="center", color=colour, fontsize=8)
