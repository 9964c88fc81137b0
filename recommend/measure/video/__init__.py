"""Marks on rear-view video: leg-heel angle over stance, per stride and phase."""

from recommend.measure.video.measures import VISIT_ANGLES, measure_marks
from recommend.measure.video.recording import MARKS, MarksRecording

__all__ = ["MARKS", "VISIT_ANGLES", "MarksRecording", "measure_marks"]
