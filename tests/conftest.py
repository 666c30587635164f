"""Hypothesis draws the same cases every time and has no deadline: a busy machine is no failing test."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.register_profile("searching", parent=settings.get_profile("steady"), derandomize=False)
settings.load_profile("steady")
