"""Find the single steps in a recording: parted in time, then in space.

A person may walk over the mat several times, or over a long mat with both feet down at once, so
steps are first parted where the mat is unloaded, then where loaded patches lie apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import wrong_force
from recommend.measure.filtering import FloatArray, Mask, Span, bridged, spans
from recommend.measure.pressure.recording import Frames, PressureRecording, centre_of_pressure
from recommend.parameters import Capture

_PATCHES_HELD = 200  # a guard of time: each is held against each
Box = tuple[slice, slice]


@dataclass(frozen=True, slots=True, eq=False)
class Footstep:
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


def find_steps(recording: PressureRecording, capture: Capture) -> list[Footstep]:
    """All steps of `recording` in the order of first contact.

    Patches shorter than ``capture.step-min-ms`` (dynamic captures) or smaller than
    ``capture.step-min-area`` are not steps and are left out.
    """
    finder = _Finder(recording, capture)
    return sorted(finder.steps(), key=lambda step: (step.start, step.box[1].start))


@dataclass(frozen=True, slots=True)
class _Finder:
    """A recording in which steps are looked for, and the numbers that tell them."""

    recording: PressureRecording
    capture: Capture

    def steps(self) -> Iterator[Footstep]:
        """Every step, patch by patch."""
        frames = self.recording.frames
        whole = (slice(0, frames.shape[1]), slice(0, frames.shape[2]))
        margin = round(self.capture.step_gap_ms * self.recording.rate_hz / 1000.0)
        for start, stop in self._loaded(whole, (0, len(frames))):
            window = max(start - margin, 0), min(stop + margin, len(frames))
            for box, mask in self._patches(window):
                yield from self._steps_in(box, mask, window)

    def _loaded(self, box: Box, window: Span, mask: Mask | None = None) -> Iterator[Span]:
        """Spans of frames with force inside `box`; short gaps are bridged, short spans dropped."""
        recording, capture = self.recording, self.capture
        frames = recording.frames[window[0] : window[1], box[0], box[1]]
        if mask is not None:
            total = frames[:, mask].sum(axis=1, dtype=np.float64)
        else:
            total = frames.sum(axis=(1, 2), dtype=np.float64)
        loaded = total * recording.cell_mm2 * 1e-3 > capture.step_force
        per_ms = recording.rate_hz / 1000.0
        least = capture.step_min_ms * per_ms if recording.load == "dynamic" else 1
        for start, stop in bridged(spans(loaded), capture.step_gap_ms * per_ms):
            if stop - start >= least:
                yield window[0] + start, window[0] + stop

    def _patches(self, window: Span) -> Iterator[tuple[Box, Mask]]:
        """Loaded patches of one foot each: box, and mask inside the box."""
        recording, capture = self.recording, self.capture
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
                or "the mat is noisy, or `unit` is wrong; zero it, or raise "
                "capture.contact-threshold",
            )
        for cells in self._grouped(regions):
            if len(cells) * recording.cell_mm2 >= capture.step_min_area:
                box = _box(cells, peak.shape)
                mask = np.zeros(peak[box].shape, dtype=bool)
                mask[cells[:, 0] - box[0].start, cells[:, 1] - box[1].start] = True
                yield box, mask

    def _steps_in(self, box: Box, mask: Mask, window: Span) -> Iterator[Footstep]:
        """Steps of one patch; parted in time once more, now that other feet are out of the box."""
        recording, capture, first = self.recording, self.capture, window[0]
        count, *shape = recording.frames.shape
        inside = recording.frames[first : window[1], box[0], box[1]]
        touched: Mask = np.any(inside[:, mask] >= capture.contact_threshold, axis=1)
        for loaded in self._loaded(box, window, mask):
            start, stop = _first_to_last_touch(touched, loaded[0] - first, loaded[1] - first)
            held = inside[start:stop] * mask
            path, force = centre_of_pressure(held, recording.pitch_mm, capture.trim_force)
            at_end = first + start == 0 or first + stop == count
            yield Footstep(
                start=first + start,
                stop=first + stop,
                box=box,
                seen=inside[start:stop],
                mask=mask,
                peak=held.max(axis=0),
                path=path,
                force=force,
                cut_by_edge=_touches_edge(mask, box, shape),
                cut_in_time=at_end and recording.load == "dynamic",
            )

    def _grouped(self, regions: list[NDArray[np.intp]]) -> list[NDArray[np.intp]]:
        """Join the patches of one foot: toes and a heel without midfoot contact lie apart.

        Two patches belong together when their columns overlap or nearly do and the rows between
        them are no more than ``capture.foot-gap``; the feet of a stance or of a stride lie further
        apart.
        """
        pitch = self.recording.pitch_mm
        gap, aside = self.capture.foot_gap / pitch[0], self.capture.foot_gap_aside / pitch[1]
        groups = list(regions)
        while True:
            pairs = combinations(range(len(groups)), 2)
            near = ((i, j) for i, j in pairs if _near(groups[i], groups[j], gap, aside))
            i, j = next(near, (0, 0))
            if not j:
                return groups
            groups[i] = np.concatenate([groups[i], groups.pop(j)])


def _first_to_last_touch(touched: Mask, start: int, stop: int) -> tuple[int, int]:
    """Widen a span of frames to where any sensor touches: force lags behind first contact."""
    while start > 0 and touched[start - 1]:
        start -= 1
    while stop < len(touched) and touched[stop]:
        stop += 1
    return start, stop


def _touches_edge(mask: Mask, box: Box, shape: Sequence[int]) -> bool:
    """Whether loaded sensors of `mask` lie in the first or last row or column of the mat."""
    rows, columns = box
    sides = (
        (rows.start == 0 and mask[0].any()),
        (rows.stop == shape[0] and mask[-1].any()),
        (columns.start == 0 and mask[:, 0].any()),
        (columns.stop == shape[1] and mask[:, -1].any()),
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
