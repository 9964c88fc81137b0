"""Find the single steps in a recording: parted in time, then in space.

A person may walk over the mat several times, or over a long mat with both feet down at once, so
steps are first parted where the mat is unloaded, then where loaded patches lie apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import wrong_force
from recommend.measure.filtering import FloatArray, Mask, bridged, spans
from recommend.measure.pressure.frame import centre_of_pressure
from recommend.measure.pressure.recording import Frames, PressureRecording
from recommend.parameters import Capture

_PATCHES_HELD = 200  # a guard of time: each is held against each
Box = tuple[slice, slice]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """One foot on the mat, once.

    Attributes
    ----------
    start, stop : frames of the recording, half open.
    box : rows and columns of the recording that hold the foot, with one empty sensor around it
        where the mat has one.
    seen, mask : (time, rows, columns) in kPa inside `box`, a part of the recording, and
        (rows, columns) which sensors this foot loads.
    peak : (rows, columns) highest pressure of each sensor in kPa.
    path, force : of the centre of pressure, (n, 2) in mm inside `box`, and (n,) in N, from
        ``capture.trim-force`` (`path.centre_of_pressure`).
    cut_by_edge : the foot reaches the first or last row or column of the mat.
    cut_in_time : the recording begins or ends while the foot is loaded.
    """

    start: int
    stop: int
    box: Box
    seen: Frames
    mask: Mask
    peak: Frames
    path: FloatArray
    force: FloatArray
    cut_by_edge: bool
    cut_in_time: bool

    @property
    def frames(self) -> Frames:
        """(time, rows, columns) in kPa; sensors that never touch, or others load, are zero.

        Made anew each time: all steps of a long recording would take much memory.
        """
        return self.seen * self.mask


def find_steps(recording: PressureRecording, capture: Capture) -> list[Step]:
    """All steps of `recording` in the order of first contact.

    Patches shorter than ``capture.step-min-ms`` (dynamic captures) or smaller than
    ``capture.step-min-area`` are not steps and are left out.
    """
    steps: list[Step] = []
    whole = (slice(0, recording.frames.shape[1]), slice(0, recording.frames.shape[2]))
    margin = round(capture.step_gap_ms * recording.rate_hz / 1000.0)
    for start, stop in _loaded_windows(recording, whole, (0, len(recording.frames)), capture):
        window = max(start - margin, 0), min(stop + margin, len(recording.frames))
        for box, mask in _patches(recording, window, capture):
            steps += _steps_in(recording, box, mask, window, capture)
    return sorted(steps, key=lambda step: (step.start, step.box[1].start))


def _loaded_windows(
    recording: PressureRecording,
    box: Box,
    window: tuple[int, int],
    capture: Capture,
    mask: Mask | None = None,
) -> Iterator[tuple[int, int]]:
    """Spans of frames with force inside `box`; short gaps are bridged, short spans dropped."""
    frames = recording.frames[window[0] : window[1], box[0], box[1]]
    if mask is not None:
        force = frames[:, mask].sum(axis=1, dtype=np.float64) * recording.cell_mm2 * 1e-3
    else:
        force = frames.sum(axis=(1, 2), dtype=np.float64) * recording.cell_mm2 * 1e-3
    loaded = force > capture.step_force
    per_ms = recording.rate_hz / 1000.0
    bridge = capture.step_gap_ms * per_ms
    least = capture.step_min_ms * per_ms if recording.load == "dynamic" else 1
    for start, stop in bridged(spans(loaded), bridge):
        if stop - start >= least:
            yield window[0] + start, window[0] + stop


def _patches(
    recording: PressureRecording, window: tuple[int, int], capture: Capture
) -> list[tuple[Box, Mask]]:
    """Loaded patches of one foot each: box, and mask inside the box."""
    peak = recording.frames[window[0] : window[1]].max(axis=0)
    regions = label_regions(peak >= capture.contact_threshold)
    specks = sum(len(region) == 1 for region in regions)
    if max(specks / capture.specks_limit, len(regions) / _PATCHES_HELD) > 1:
        raise InputError(
            Place(recording.name),
            f"{len(regions)} separate patches are loaded at once in frames {window[0]} to "
            f"{window[1]}, {specks} of them of a single sensor",
            f"up to {capture.specks_limit:g} single ones",
            wrong_force(float(recording.force().max()), None, capture)
            or "the mat is noisy, or `unit` is wrong; zero it, or raise capture.contact-threshold",
        )
    found = []
    for cells in _grouped(regions, recording.pitch_mm, capture):
        if len(cells) * recording.cell_mm2 >= capture.step_min_area:
            box = _box(cells, peak.shape)
            mask = np.zeros(peak[box].shape, dtype=bool)
            mask[cells[:, 0] - box[0].start, cells[:, 1] - box[1].start] = True
            found.append((box, mask))
    return found


def _steps_in(
    recording: PressureRecording,
    box: Box,
    mask: Mask,
    window: tuple[int, int],
    capture: Capture,
) -> Iterator[Step]:
    """Steps of one patch; parted in time once more, now that other feet are out of the box."""
    _, rows, columns = recording.frames.shape
    on_edge = mask_touches_edge(mask, box, (rows, columns))
    threshold = capture.contact_threshold
    inside = recording.frames[window[0] : window[1], box[0], box[1]]
    touched: Mask = np.any(inside[:, mask] >= threshold, axis=1)
    for start, stop in _loaded_windows(recording, box, window, capture, mask):
        start, stop = _first_to_last_touch(touched, start - window[0], stop - window[0])
        held = inside[start:stop] * mask
        path, force = centre_of_pressure(held, recording.pitch_mm, capture.trim_force)
        at_end = window[0] + start == 0 or window[0] + stop == len(recording.frames)
        yield Step(
            window[0] + start,
            window[0] + stop,
            box,
            inside[start:stop],
            mask,
            held.max(axis=0),
            path,
            force,
            on_edge,
            at_end and recording.load == "dynamic",
        )


def _first_to_last_touch(touched: Mask, start: int, stop: int) -> tuple[int, int]:
    """Widen a span of frames to where any sensor touches: force lags behind first contact."""
    while start > 0 and touched[start - 1]:
        start -= 1
    while stop < len(touched) and touched[stop]:
        stop += 1
    return start, stop


def mask_touches_edge(mask: Mask, box: Box, shape: tuple[int, int]) -> bool:
    """Whether loaded sensors of `mask` lie in the first or last row or column of the mat."""
    sides = (
        (box[0].start == 0 and mask[0 - box[0].start].any()),
        (box[0].stop == shape[0] and mask[-1].any()),
        (box[1].start == 0 and mask[:, 0 - box[1].start].any()),
        (box[1].stop == shape[1] and mask[:, -1].any()),
    )
    return any(bool(side) for side in sides)


def label_regions(mask: Mask) -> list[NDArray[np.intp]]:
    """Regions of `mask` connected through edges or corners, each (n, 2) of row and column."""
    free = np.pad(mask, 1).tolist()  # plain lists: single cells of an array are slow to reach
    regions = []
    for row, column in (np.argwhere(mask) + 1).tolist():
        if free[row][column]:
            regions.append(np.array(_flood(free, row, column)) - 1)
    return regions


def _flood(free: list[list[bool]], row: int, column: int) -> list[tuple[int, int]]:
    """Take the region around one cell out of `free`, which has an empty border."""
    free[row][column] = False
    taken = [(row, column)]
    for r, c in taken:  # grows while it is walked through
        for nr in (r - 1, r, r + 1):
            line = free[nr]
            for nc in (c - 1, c, c + 1):
                if line[nc]:
                    line[nc] = False
                    taken.append((nr, nc))
    return taken


def _grouped(
    regions: list[NDArray[np.intp]],
    pitch_mm: tuple[float, float],
    capture: Capture,
) -> list[NDArray[np.intp]]:
    """Join the patches of one foot: toes and a heel without midfoot contact lie apart.

    Two patches belong together when their columns overlap or nearly do and the rows between them
    are no more than ``capture.foot-gap``; the feet of a stance or of a stride lie further apart.
    """
    gap = capture.foot_gap / pitch_mm[0]
    aside = capture.foot_gap_aside / pitch_mm[1]
    groups = list(regions)
    merged = True
    while merged:
        merged = False
        for i in range(len(groups)):
            for j in range(i + 1, len(groups)):
                if _near(groups[i], groups[j], gap, aside):
                    groups[i] = np.concatenate([groups[i], groups.pop(j)])
                    merged = True
                    break
            if merged:
                break
    return groups


def _near(a: NDArray[np.intp], b: NDArray[np.intp], gap: float, aside: float) -> bool:
    row_gap, column_gap = (
        max(a[:, k].min() - b[:, k].max(), b[:, k].min() - a[:, k].max()) - 1 for k in (0, 1)
    )
    return bool(row_gap <= gap and column_gap <= aside)


def _box(cells: NDArray[np.intp], shape: tuple[int, ...]) -> Box:
    """Rows and columns of `cells` with one more on each side where the mat has one."""
    low, high = cells.min(axis=0), cells.max(axis=0)
    (r0, c0), (r1, c1) = np.maximum(low - 1, 0), np.minimum(high + 2, shape)
    return slice(int(r0), int(r1)), slice(int(c0), int(c1))
