"""The shipped starting values of the forecast, from ``reference/forecast_priors.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any


@cache
def priors() -> Mapping[str, Any]:
    """Return every starting value by section of the file; each carries its unit in its name."""
    return tomllib.loads(resources.files("pipeline").joinpath("reference/forecast_priors.toml").read_text("utf-8"))
