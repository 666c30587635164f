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
    """How the charge is judged: instruments, limits; charts.csv (targets) and blowers.csv (fan tables) here add to it."""

    suction_gauge_psi: float = Field(3.5, ge=0, le=50, description="accuracy of the suction gauge, plus or minus psi")
    liquid_gauge_psi: float = Field(7.0, ge=0, le=50, description="accuracy of the liquid gauge, plus or minus psi")
    thermometer_pct: float = Field(0.1, ge=0, le=10, description="accuracy of thermometers, percent of the reading")
    thermometer_f: float = Field(1.3, ge=0, le=20, description="and degrees Fahrenheit on top, plus or minus")
    humidity_pct: float = Field(4.0, ge=0, le=30, description="accuracy of the humidity reading, percentage points")
    static_limit_in_wc: float = Field(
        0.8,
        ge=0,
        le=3,
        description="total external static pressure up to which airflow counts as shown, inches of water",
    )
    airflow_cfm_per_ton: float = Field(300.0, ge=0, le=1000, description="measured airflow that counts as enough")
    default_target_subcooling_f: float = Field(
        10.0, ge=0, le=60, description="target subcooling where the data plate is not known, degrees Fahrenheit"
    )
    trim_oz: float = Field(
        2.0, ge=0, le=100, description="an addition up to this is a trim, not a sign of a leak, ounces"
    )


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
        "own crew, own, us, ours, we",
        description="what installed_by says where the shop itself installed, comma between",
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

    mine: bool = Field(
        True, description="blank reading columns are filled from what the notes tell; false = notes are only shown"
    )


WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def clock_minutes(text: str) -> int:
    """Return minutes after midnight of a time such as 08:30.

    Raises
    ------
    ValueError
        If it is none.
    """
    try:
        time = dt.time.fromisoformat(text.strip().zfill(5))
    except ValueError as error:
        raise ValueError(f"{text!r} is not a time such as 08:30") from error
    return time.hour * 60 + time.minute


def _hours(value: str) -> str:
    opens, dash, closes = value.partition("-")
    if not dash or clock_minutes(opens) >= clock_minutes(closes):
        raise ValueError(f"{value!r} are not hours such as 08:00-16:30")
    return value


def _weekdays(value: tuple[str, ...]) -> tuple[str, ...]:
    days = tuple(day.strip().lower()[:3] for day in value)
    wrong = [day for day in days if day not in WEEKDAYS]
    if wrong:
        raise ValueError(f"{wrong[0]!r} is not a day of the week such as mon")
    return days


class Plan(_Section):
    """The spring round: hours, driving, and what it is worth to go before the season (common practice, no source)."""

    first_day: dt.date | Literal[""] = Field("", description="first day of the round, 2026-03-16; blank = see weeks")
    last_day: dt.date | Literal[""] = Field("", description="last day; blank = the day before the season")
    weeks: int = Field(
        8, ge=1, le=52, description="the round begins so long before the season, never before the last visit"
    )
    hours: str = Field("08:00-16:30", description="working hours of a technician who states none")
    days: tuple[str, ...] = Field(WEEKDAYS[:5], description="working days of a technician who states none")
    days_off: tuple[dt.date, ...] = Field((), description="days on which nobody works, such as [2026-04-03]")
    free_share_pct: float = Field(
        25.0, ge=0, lt=100, description="share of each day kept free for no-cooling calls, percent"
    )
    lunch_minutes: int = Field(30, ge=0, le=240, description="lunch, minutes")
    lunch_from: str = Field("12:00", description="lunch is taken at the first pause from then on")
    speed_mph: float = Field(28.0, gt=0, le=100, description="speed on the road all told, miles per hour")
    detour: float = Field(1.3, ge=1, le=5, description="road miles to one mile as the crow flies")
    drive_hour: float = Field(60.0, gt=0, description="what an hour of driving costs, technician and truck")
    minutes_tune_up: int = Field(60, ge=1, le=1440, description="service time of a tune-up, minutes")
    minutes_capacitor: int = Field(45, ge=1, le=1440, description="of a capacitor to test and change")
    minutes_charge_check: int = Field(60, ge=1, le=1440, description="of a charge to check")
    minutes_repair: int = Field(
        75, ge=1, le=1440, description="of a leak, a contactor or a coil found and not put right"
    )
    minutes_look: int = Field(
        45, ge=1, le=1440, description="of anything else to look over: noise, airflow, a high chance of failing"
    )
    minutes_warranty_test: int = Field(30, ge=1, le=1440, description="of a part to test before its warranty lapses")
    minutes_re_measure: int = Field(40, ge=1, le=1440, description="of a unit to measure again")
    minutes_booked: int = Field(60, ge=1, le=1440, description="of an appointment for a unit with nothing else due")
    minutes_further_work: int = Field(15, ge=0, le=1440, description="for each further kind of work on the same unit")
    agreement_missed: float = Field(
        150.0, ge=0, description="expected cost of an agreement visit not made before the season"
    )
    goodwill: float = Field(60.0, ge=0, description="what a failure in season costs beside the emergency call")
    overtime: float = Field(40.0, ge=0, description="overtime that goes with a no-cooling call")
    spring_days: int = Field(
        120, ge=1, le=366, description="a maintenance visit so many days before the season or later is this spring's"
    )
    finding_months: int = Field(
        24, ge=1, le=600, description="an older finding that nobody decided on is no reason for a visit of its own"
    )
    re_measure_chance: float = Field(
        0.35, gt=0, lt=1, description="chance of being out by the season's end from which thin data are measured again"
    )
    re_measure_months: int = Field(24, ge=1, le=600, description="a reading older than that is thin")
    charge_check_from: str = Field(
        "", description="month-day from which days are warm enough to check charge; blank = learned from the visits"
    )

    _check_hours = field_validator("hours")(_hours)
    _check_days = field_validator("days")(_weekdays)

    @field_validator("lunch_from")
    @classmethod
    def _time(cls, value: str) -> str:
        clock_minutes(value)
        return value

    @field_validator("charge_check_from")
    @classmethod
    def _month_day_or_blank(cls, value: str) -> str:
        return Season._month_day(value) if value else value


class Technician(_Section):
    """Who can go."""

    name: str = Field(min_length=1)
    start_lat: float | None = Field(None, ge=-90, le=90)
    start_lon: float | None = Field(None, ge=-180, le=180)
    start_postal_code: str = ""
    hours: str = ""
    days: tuple[str, ...] = ()
    days_off: tuple[dt.date, ...] = ()
    skills: tuple[str, ...] = ()
    truck: str = ""

    _check_days = field_validator("days")(_weekdays)

    @field_validator("hours")
    @classmethod
    def _hours_or_blank(cls, value: str) -> str:
        return _hours(value) if value else value


TECHNICIANS_TEXT = """
# Who can go on the round; one block each. What is not said is as in [plan]; days_off are dates.
# A word among anybody's skills is needed where a unit's refrigerant, its equipment or the work is that word.
# [[technicians]]
# name = "Ida"
# start_lat = 27.59
# start_lon = -91.41             # or start_postal_code = "00214"; neither = the middle of the sites
# hours = "08:00-16:30"
# days = ["mon", "tue", "wed", "thu", "fri"]
# days_off = [2026-04-17]
# skills = ["R-454B", "R-32"]
# truck = "2"
"""


class Stock(_Section):
    """What the trucks carry and when it is ordered."""

    service_level: float = Field(
        0.95, gt=0.5, lt=1, description="chance that a list covers what its stops or its week of calls need"
    )
    lead_days: int = Field(
        10, ge=0, le=365, description="days from an order to the shelf, where stock.csv says nothing else"
    )
    trucks: int = Field(
        0, ge=0, le=1000, description="trucks for no-cooling calls in season; 0 = as many as go on the round"
    )
    restock_days: int = Field(7, ge=1, le=60, description="days in season between two loadings of a truck")
    peak_factor: float = Field(2.0, ge=1, le=10, description="calls in the hottest weeks against the season's average")


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
    plan: Plan = Plan()
    stock: Stock = Stock()
    technicians: tuple[Technician, ...] = ()

    @field_validator("technicians")
    @classmethod
    def _own_names(cls, value: tuple[Technician, ...]) -> tuple[Technician, ...]:
        names = [technician.name for technician in value]
        twice = [name for name in names if names.count(name) > 1]
        if twice:
            raise ValueError(f"two technicians are named {twice[0]!r}")
        return value


def default_text() -> str:
    """Return the text of a fresh ``settings.toml``: every default, commented out, with its meaning."""
    lines = [
        "# Settings of the shop. Every line shows the default; take the # away and change it.",
        "# Amounts and shares are engineering guesses until you set your own.",
    ]
    for name, section in Settings.model_fields.items():
        model = section.default
        if not isinstance(model, _Section):
            continue
        lines += ["", f"# {(type(model).__doc__ or name).splitlines()[0]}", f"[{name}]"]
        for key, info in type(model).model_fields.items():
            value = getattr(model, key)
            lines.append(f"# {key} = {_toml(value)}" + (f"    # {info.description}" if info.description else ""))
    return "\n".join(lines) + "\n" + TECHNICIANS_TEXT


def _toml(value: object) -> object:
    if isinstance(value, tuple):
        return f"[{', '.join(str(_toml(item)) for item in value)}]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else value


def load_settings(path: Path) -> Settings:
    """Return the settings in ``path``, or the defaults where it does not exist.

    Raises
    ------
    UsageError
        If the file is not TOML, or has an unknown key or a value out of range.
    """
    try:
        text = path.read_text("utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):  # what is wrong with the folder is said by whoever writes to it
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
        said = "there is no such setting" if first["type"] == "extra_forbidden" else first["msg"]
        raise UsageError(
            f"{path.name}, {where}: {said.removeprefix('Value error, ')}: mend or remove that line", slug="settings"
        ) from error
