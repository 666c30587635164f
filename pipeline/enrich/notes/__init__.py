"""Readings, observations and parts that technicians wrote into notes, read by a fixed grammar."""

from pipeline.enrich.notes.fill import add_parts_from_notes, add_told_ratings, add_used, fill_from_notes
from pipeline.enrich.notes.mine import NOTE_READINGS_SCHEMA, mine

__all__ = ["NOTE_READINGS_SCHEMA", "add_parts_from_notes", "add_told_ratings", "add_used", "fill_from_notes", "mine"]
