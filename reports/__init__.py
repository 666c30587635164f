"""Frames in, HTML text out; imports nothing from pipeline but fields and units."""
