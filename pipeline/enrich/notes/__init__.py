"""Readings, observations and parts that technicians wrote into notes, read by a fixed grammar."""
