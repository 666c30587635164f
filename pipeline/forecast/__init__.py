"""Fit on the finished past, apply to the active fleet."""
