"""Write marks as the CSV that `reading` reads, with what else is known of them in its head."""

from __future__ import annotations

import io

import numpy as np

from recommend.measure.video.reading import MARK_COLUMNS, PLUMB_COLUMNS, seen_text
from recommend.measure.video.recording import MarksRecording


def marks_csv(recording: MarksRecording, film_sha256: str) -> str:
    """The marks of one leg as text; numbers keep four digits behind the point, y counts up."""
    head = {
        "capture": "marks",
        "unit": recording.unit,
        "y-axis": "up",
        "rate-hz": f"{recording.rate_hz:g}",
        "side": recording.side,
        "gait": recording.gait,
        "condition": recording.condition,
        "film-sha256": film_sha256,
        "centre-error": f"{recording.centre_error:.3g}",
    }
    if recording.seen:
        head["seen"] = seen_text(recording.seen)
    columns, table = [*MARK_COLUMNS], recording.points.reshape(len(recording.points), -1)
    if recording.heel_height is not None:
        columns.append("heel-height")
        table = np.column_stack([table, recording.heel_height])
    if recording.plumb is not None:
        columns += PLUMB_COLUMNS
        table = np.column_stack([table, recording.plumb.reshape(len(table), -1)])
    out = io.StringIO()
    out.writelines(f"# {key}: {word}\n" for key, word in head.items())
    out.write(",".join(["frame", "time", *columns]) + "\n")
    for number, row in enumerate(table):
        cells = ["" if np.isnan(value) else f"{value:.4f}" for value in row]
        out.write(",".join([str(number + 1), f"{number / recording.rate_hz:.4f}", *cells]) + "\n")
    return out.getvalue()
