"""Pressure frames from a mat: steps, footprints, loads and paths of the centre of pressure."""

from recommend.measure.pressure.measures import measure_pressure
from recommend.measure.pressure.reading import read_pressure
from recommend.measure.pressure.recording import PressureRecording

__all__ = ["PressureRecording", "measure_pressure", "read_pressure"]
