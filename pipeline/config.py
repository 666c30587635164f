"""Typed settings from the shop folder's ``settings.toml``; an unknown key is an error with its path."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline.errors import UsageError


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Shop(_Section):
    """The shop itself."""

    name: str = Field("My shop", description="shown on top of the pages")
    currency: str = Field("USD", description="shown beside amounts")
    altitude_ft: float = Field(0.0, ge=-300, le=11000, description="height of the area above the sea, feet")
    line_frequency_hz: Literal[50, 60] = Field(60, description="mains frequency, for capacitors read under load")


class Season(_Section):
    """Cooling season as month-day; it may wrap the new year."""

    start: str = Field("05-01", description="first day of the cooling season, month-day")
    end: str = Field("09-30", description="last day; it may lie in the next year")

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

    unseen_months: int = Field(36, ge=1, description="a unit not seen for longer is not flagged")


class Costs(_Section):
    """What things cost, in the shop's currency (engineering guesses; set your own)."""

    stop: float = Field(120.0, ge=0, description="an extra stop in spring")
    emergency_call: float = Field(720.0, ge=0, description="a no-cooling call in season, all told")


class Flagging(_Section):
    """Which units go on the watch list."""

    first_in_line_share_pct: float = Field(
        5.0, ge=0, le=100, description="at least this share of the fleet is first in line"
    )
    prevention_run_capacitor: float = Field(
        0.8, ge=0, le=1, description="share of failures by the run capacitor that a spring stop prevents"
    )
    prevention_refrigerant_leak: float = Field(0.6, ge=0, le=1, description="the same for low charge")
    prevention_compressor: float = Field(0.2, ge=0, le=1, description="the same for the compressor")
    prevention_share: float = Field(0.3, ge=0, le=1, description="the same for every other cause")


class Charge(_Section):
    """How the charge is judged: what the shop's instruments can do, and limits where no data plate says more."""

    suction_gauge_psi: float = Field(3.5, ge=0, le=50, description="accuracy of the suction gauge, plus or minus psi")
    liquid_gauge_psi: float = Field(7.0, ge=0, le=50, description="accuracy of the liquid gauge, plus or minus psi")
    thermometer_pct: float = Field(0.1, ge=0, le=10, description="accuracy of thermometers, percent of the reading")
    thermometer_f: float = Field(1.3, ge=0, le=20, description="and degrees Fahrenheit on top, plus or minus")
    humidity_pct: float = Field(4.0, ge=0, le=30, description="accuracy of the humidity reading, percentage points")
    static_limit_in_wc: float = Field(
        0.8, ge=0, le=3, description="total external static pressure up to which airflow counts as shown, inches of water"
    )
    airflow_cfm_per_ton: float = Field(300.0, ge=0, le=1000, description="measured airflow that counts as enough")
    default_target_subcooling_f: float = Field(
        10.0, ge=0, le=60, description="target subcooling where the data plate is not known, degrees Fahrenheit"
    )
    trim_oz: float = Field(2.0, ge=0, le=100, description="an addition up to this is a trim, not a sign of a leak, ounces")


class Notes(_Section):
    """What is read from the notes field."""

    mine: bool = Field(True, description="blank reading columns are filled from what the notes tell; false = notes are only shown")


class Settings(_Section):
    """Everything in ``settings.toml``."""

    shop: Shop = Shop()
    season: Season = Season()
    units: Units = Units()
    costs: Costs = Costs()
    flagging: Flagging = Flagging()
    charge: Charge = Charge()
    notes: Notes = Notes()


def default_text() -> str:
    """Return the text of a fresh ``settings.toml``: every default, commented out, with its meaning."""
    lines = [
        "# Settings of the shop. Every line shows the default; take the # away and change it.",
        "# Amounts and shares are engineering guesses until you set your own.",
    ]
    for name, section in Settings.model_fields.items():
        model = section.default
        lines += ["", f"# {(type(model).__doc__ or name).splitlines()[0]}", f"[{name}]"]
        for key, info in type(model).model_fields.items():
            value = getattr(model, key)
            shown = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else value
            lines.append(f"# {key} = {shown}" + (f"    # {info.description}" if info.description else ""))
    return "\n".join(lines) + "\n"


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
        raise UsageError(
            f"{path.name} cannot be read ({type(error).__name__}): mend or remove it", slug="settings"
        ) from error
    try:
        return Settings.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path.name} is not valid TOML ({error}): mend that line", slug="settings") from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise UsageError(f"{path.name}, {where}: {first['msg']}: mend or remove that line", slug="settings") from error
