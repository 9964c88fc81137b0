"""Marks on rear-view video: leg-heel angle over stance, per stride and phase."""

from recommend.measure.video.measures import measure_marks
from recommend.measure.video.recording import MARKS, MarksRecording

__all__ = ["MARKS", "MarksRecording", "measure_marks"]
