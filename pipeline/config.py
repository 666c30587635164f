"""Typed settings from the shop folder's ``settings.toml``; an unknown key is an error with its path."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import UsageError


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Shop(_Section):
    """The shop itself."""

    name: str = "My shop"
    currency: str = "USD"
    altitude_ft: float = Field(0.0, ge=-300, le=11000)
    line_frequency_hz: int = Field(60, ge=50, le=60)


class Season(_Section):
    """Cooling season as month-day; it may wrap the new year."""

    start: str = "05-01"
    end: str = "09-30"

    @field_validator("start", "end")
    @classmethod
    def _month_day(cls, value: str) -> str:
        try:
            dt.date.fromisoformat(f"2024-{value}")
        except ValueError as error:
            raise ValueError(f"{value!r} is not a month and day such as 05-01") from error
        return value


class Units(_Section):
    """When a unit still counts as being in the shop's care."""

    unseen_months: int = Field(36, ge=1)


class Costs(_Section):
    """What things cost, in the shop's currency (engineering guesses; set your own)."""

    stop: float = Field(120.0, ge=0)
    emergency_call: float = Field(720.0, ge=0)


class Flagging(_Section):
    """Which units go on the watch list."""

    first_in_line_share_pct: float = Field(5.0, ge=0, le=100)
    prevention_share: float = Field(0.6, ge=0, le=1)


class Settings(_Section):
    """Everything in ``settings.toml``."""

    shop: Shop = Shop()
    season: Season = Season()
    units: Units = Units()
    costs: Costs = Costs()
    flagging: Annotated[Flagging, Field()] = Flagging()


def load_settings(path: Path) -> Settings:
    """Return the settings in ``path``, or the defaults where it does not exist.

    Raises
    ------
    UsageError
        If the file is not TOML, or has an unknown key or a value out of range.
    """
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return Settings()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path.name} cannot be read ({type(error).__name__}): mend or remove it", slug="settings") from error
    try:
        return Settings.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path.name} is not valid TOML ({error}): mend that line", slug="settings") from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise UsageError(f"{path.name}, {where}: {first['msg']}: mend or remove that line", slug="settings") from error
