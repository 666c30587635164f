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


class MakeTerms(_Section):
    """Terms of one make, where they differ from the general ones; what is not said is as in general."""

    registered_parts_years: float | None = Field(None, ge=0, le=99)
    unregistered_parts_years: float | None = Field(None, ge=0, le=99)
    registered_compressor_years: float | None = Field(None, ge=0, le=99)
    unregistered_compressor_years: float | None = Field(None, ge=0, le=99)
    registration_days: int | None = Field(None, ge=0, le=3650)
    filing_days: int | None = Field(None, ge=0, le=3650)
    on_change_of_owner: Literal["keeps", "unregistered", "ends"] | None = None


class Warranty(_Section):
    """Makers' terms and what a claim brings; the register's own terms count first (windows: common practice, no source)."""

    filing_days: int = Field(90, ge=0, le=3650, description="days after the visit within which a claim is filed")
    registration_days: int = Field(60, ge=0, le=3650, description="days after the install within which to register")
    registered_parts_years: float = Field(
        0.0, ge=0, le=99, description="parts term of a registered unit that states none; 0 = none is assumed"
    )
    unregistered_parts_years: float = Field(
        0.0, ge=0, le=99, description="most that an unregistered unit has; 0 = as the register states"
    )
    registered_compressor_years: float = Field(0.0, ge=0, le=99, description="the same for the compressor")
    unregistered_compressor_years: float = Field(0.0, ge=0, le=99, description="the same for the compressor")
    on_change_of_owner: Literal["keeps", "unregistered", "ends"] = Field(
        "keeps", description="the term when the house is sold: keeps, unregistered (falls to that term) or ends"
    )
    rest_of_original: bool = Field(
        True, description="a warranty replacement carries the rest of the original term; false = its own term"
    )
    labor_allowance: float = Field(0.0, ge=0, description="paid on a claim while the unit's labor term runs")
    handling_allowance: float = Field(0.0, ge=0, description="paid on every claim")
    minimum_claim: float = Field(0.0, ge=0, description="a claim worth less is not listed")
    days_after_season: int = Field(
        90, ge=0, le=3650, description="a weak part whose coverage ends up to so long after the season is to be tested"
    )
    weak_chance: float = Field(
        0.25, gt=0, lt=1, description="chance of leaving its tolerance by the season's end from which a part is weak"
    )
    own_installers: str = Field(
        "own crew, own, us, ours, we", description="what installed_by says where the shop itself installed, comma between"
    )
    not_covered: str = Field(
        "refrigerant, refrigerant_leak, filter_drier, line_set, start_kit, condensate_drain, wiring, dirty_coil, airflow, "
        "no_fault_found, other",
        description="parts that a unit's term does not cover, comma between",
    )
    makes: dict[str, MakeTerms] = Field(
        {}, description="terms by make, such as { Norvane = { registered_parts_years = 12, registration_days = 90 } }"
    )

    @field_validator("own_installers", "not_covered")
    @classmethod
    def _short_list(cls, value: str) -> str:
        return ", ".join(word for word in (part.strip() for part in value.split(",")) if word)


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
    warranty: Warranty = Warranty()


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
