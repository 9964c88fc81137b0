"""Populations of feet, and which of them a catalogue serves."""
