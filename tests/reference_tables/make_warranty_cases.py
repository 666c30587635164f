"""Writes tests/data/warranty_cases.csv: warranty cases built backwards from their answer, the rule beside each.

Nothing of the pipeline is used. Each family states in words the rule its answer follows from; dates are counted on the
calendar of the standard library, a year at a time. Run: ``python -m tests.reference_tables.make_warranty_cases``.
"""

from __future__ import annotations

import calendar
import csv
import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

AS_OF = dt.date(2026, 3, 14)
FILING = 90
TARGET = Path(__file__).parent.parent / "data" / "warranty_cases.csv"
PART = ("on", "part", "status", "cost", "price", "years", "claim_amount", "claimed_on", "visit_type")
COLUMNS = (
    "case",
    "rule",
    "settings",
    "installed_on",
    "registered",
    "registered_on",
    "parts_years",
    "compressor_years",
    "labor_years",
    "owner_since",
    *(f"p{n}_{name}" for n in (1, 2, 3) for name in PART),
    "weak_p",
    "weak_read_on",
    "expect_part",
    "expect_state",
    "expect_covered_until",
    "expect_amount",
    "expect_deadline",
    "expect_customer_paid",
)
Case = dict[str, Any]


def day(days_ago: int) -> dt.date:
    return AS_OF - dt.timedelta(days=days_ago)


def anniversary(start: dt.date, years: int) -> dt.date:
    """The same day of the month, or the month's last day where it has none."""
    last = calendar.monthrange(start.year + years, start.month)[1]
    return dt.date(start.year + years, start.month, min(start.day, last))


def answer(state: str | None, until: dt.date | None, amount: float | None, deadline: dt.date | None) -> Case:
    return {
        "expect_state": state,
        "expect_covered_until": until,
        "expect_amount": amount,
        "expect_deadline": deadline,
    }


def part(n: int, on: dt.date, name: str = "contactor", **more: Any) -> Case:
    row = {"on": on, "part": name, "cost": 40.0, **more}
    return {f"p{n}_{key}": value for key, value in row.items()}


def judged(on: dt.date, until: dt.date | None, amount: float | None = 40.0) -> Case:
    """A part fitted in place of one covered until then: by the deadline to file, after it lapsed."""
    if until is None or on > until:
        return answer(None, until, None, None)
    deadline = min(until, on + dt.timedelta(days=FILING))
    return answer("to_file" if deadline >= AS_OF else "lapsed", until, amount, deadline)


def leap_days() -> Iterator[Case]:
    rule = "a term from 29 February ends on 29 February of a leap year, else on the 28th; that day is covered"
    for year in (2000, 2004, 2008, 2012, 2016, 2020, 2024):
        start = dt.date(year, 2, 29)
        for years in (1, 2, 4, 5, 8, 10):
            until = dt.date(year + years, 2, 29 if calendar.isleap(year + years) else 28)
            for off in (-1, 0, 1):
                on = until + dt.timedelta(days=off)
                if on <= AS_OF:
                    yield {
                        "rule": rule,
                        "installed_on": start,
                        "parts_years": years,
                        **part(1, on),
                        **judged(on, until),
                    }


def plain_terms() -> Iterator[Case]:
    rule = (
        "covered up to the anniversary of the install, that day included; file within 90 days and before coverage ends"
    )
    for ago in (0, 10, 33, 60, 89, 90, 91, 200, 366):
        on = day(ago)
        for years, left in ((5, 0), (5, 1), (10, 30), (10, 400), (10, -1), (12, 2000)):
            until = on + dt.timedelta(days=left)
            if (until.month, until.day) == (2, 29):
                continue
            start = dt.date(until.year - years, until.month, until.day)
            yield {"rule": rule, "installed_on": start, "parts_years": years, **part(1, on), **judged(on, until)}


def months() -> Iterator[Case]:
    rule = "half a year is six months; the 31st falls on the month's last day"
    for start, years, until in (
        (dt.date(2023, 8, 31), 2.5, dt.date(2026, 2, 28)),
        (dt.date(2023, 10, 15), 2.5, dt.date(2026, 4, 15)),
        (dt.date(2024, 8, 30), 1.5, dt.date(2026, 2, 28)),
        (dt.date(2025, 8, 31), 0.5, dt.date(2026, 2, 28)),
    ):
        for on in (until - dt.timedelta(days=20), until, until + dt.timedelta(days=1)):
            if on <= AS_OF:
                yield {"rule": rule, "installed_on": start, "parts_years": years, **part(1, on), **judged(on, until)}


def registration() -> Iterator[Case]:
    """The settings say of this make: at most 5 years unregistered (compressor 5), register within 60 days."""
    for start in (dt.date(2018, 6, 1), dt.date(2017, 3, 31), dt.date(2019, 11, 30)):
        for registered, on_day, stands, rule in (
            ("yes", 0, True, "registered at once: the stated term"),
            ("yes", 60, True, "registered on the last day of the window: the stated term"),
            ("yes", 61, False, "registered a day after the window: the unregistered term"),
            ("yes", None, True, "said to be registered, no date: the stated term"),
            ("no", None, False, "not registered: the unregistered term caps the stated one"),
            (None, None, False, "not known whether registered: counts as not"),
            (None, 10, True, "a date of registration within the window is a registration"),
            ("no", 10, False, "the word no counts before a date"),
        ):
            registered_on = None if on_day is None else start + dt.timedelta(days=on_day)
            for on in (day(20), day(2), dt.date(2022, 7, 5)):
                until = anniversary(start, 10 if stands else 5)
                yield {
                    "rule": rule,
                    "settings": "unregistered_5",
                    "installed_on": start,
                    "registered": registered,
                    "registered_on": registered_on,
                    "parts_years": 10,
                    **part(1, on),
                    **judged(on, until),
                }


def unstated_terms() -> Iterator[Case]:
    for registered, years, rule in (
        ("yes", 12, "no term in the register, registered: the make's registered term"),
        ("no", 5, "no term in the register, not registered: the make's unregistered term"),
    ):
        for start in (dt.date(2015, 5, 1), dt.date(2021, 9, 9), dt.date(2023, 1, 2)):
            for on in (day(5), day(50)):
                until = anniversary(start, years)
                yield {
                    "rule": rule,
                    "settings": "unregistered_5",
                    "installed_on": start,
                    "registered": registered,
                    **part(1, on),
                    **judged(on, until),
                }
    rule = "a stated term of 3 years is not lengthened by the unregistered term of 5"
    for start in (dt.date(2023, 4, 1), dt.date(2022, 4, 1)):
        yield {
            "rule": rule,
            "settings": "unregistered_5",
            "installed_on": start,
            "registered": "no",
            "parts_years": 3,
            **part(1, day(10)),
            **judged(day(10), anniversary(start, 3)),
        }


def transfers() -> Iterator[Case]:
    start = dt.date(2018, 6, 1)
    for since in (dt.date(2018, 6, 1), dt.date(2018, 6, 2), dt.date(2022, 8, 15), dt.date(2026, 3, 1)):
        changed = since > start
        for settings, until, rule in (
            ("", anniversary(start, 10), "the warranty goes with the house"),
            (
                "transfer_ends",
                since - dt.timedelta(days=1) if changed else anniversary(start, 10),
                "it ends the day before a new owner takes over; one there at the install is no new owner",
            ),
            (
                "transfer_unregistered",
                anniversary(start, 5 if changed else 10),
                "with a new owner the term falls to the unregistered one",
            ),
        ):
            for on in (day(3), dt.date(2021, 5, 5)):
                yield {
                    "rule": rule,
                    "settings": settings,
                    "installed_on": start,
                    "registered": "yes",
                    "parts_years": 10,
                    "owner_since": since,
                    **part(1, on),
                    **judged(on, until),
                }


def replaced_parts() -> Iterator[Case]:
    """Two and three fitted after one another; the answer is of the last."""
    last = day(15)
    for years in (6, 7, 8, 9, 10):
        start = dt.date(2017, 5, 20)
        original = anniversary(start, years)
        for first in (dt.date(2019, 7, 1), dt.date(2022, 7, 1), dt.date(2024, 7, 1)):
            covered_then = first <= original
            own = anniversary(first, 2)
            base = {"installed_on": start, "parts_years": years}
            second = part(2, last)
            rest = original if covered_then else own
            yield {
                "rule": "a credited replacement carries the rest of the original term; a later one only its own",
                **base,
                **part(1, first, status="credited" if covered_then else "none", years=2),
                **second,
                **judged(last, rest),
            }
            yield {
                "rule": "the setting is off: a warranty replacement starts its own term",
                "settings": "own_term",
                **base,
                **part(1, first, status="credited" if covered_then else "none", years=2),
                **second,
                **judged(last, own),
            }
            yield {
                "rule": "a denied claim: the part was bought and has its own term",
                **base,
                **part(1, first, status="denied", years=2),
                **second,
                **judged(last, own),
            }
            yield {
                "rule": "never claimed: at least the rest of the original term, or its own where longer",
                **base,
                **part(1, first, status="none", years=2),
                **second,
                **judged(last, max(original, own) if covered_then else own),
            }
            yield {
                "rule": "a replaced part of a replaced part carries the same rest on",
                **base,
                **part(1, first, status="credited" if covered_then else "none", years=2),
                **part(
                    2,
                    first + dt.timedelta(days=200),
                    status="credited" if first + dt.timedelta(days=200) <= rest else "none",
                    years=1,
                ),
                **part(3, last),
                **judged(
                    last,
                    rest if first + dt.timedelta(days=200) <= rest else anniversary(first + dt.timedelta(days=200), 1),
                ),
            }


def own_terms() -> Iterator[Case]:
    rule = "out of the unit's term: the part fitted before has the term stated for it"
    for ago, years in ((400, 1), (365, 1), (300, 1), (1500, 5), (1900, 5), (700, 2)):
        first = day(ago)
        until = anniversary(first, years)
        yield {
            "rule": rule,
            "installed_on": dt.date(2001, 4, 1),
            "parts_years": 5,
            **part(1, first, years=years),
            **part(2, day(5)),
            **judged(day(5), until),
        }
    rule = "out of the unit's term and no term stated for the part: nothing to claim"
    yield {
        "rule": rule,
        "installed_on": dt.date(2001, 4, 1),
        "parts_years": 5,
        **part(1, day(100)),
        **part(2, day(5)),
        **answer(None, None, None, None),
    }
    rule = "another kind of part does not start a term for this one"
    yield {
        "rule": rule,
        "installed_on": dt.date(2001, 4, 1),
        "parts_years": 5,
        **part(1, day(100), "control_board", years=5),
        **part(2, day(5)),
        **answer(None, dt.date(2006, 4, 1), None, None),
    }


def missing() -> Iterator[Case]:
    for on in (day(1), day(30), day(400)):
        yield {
            "rule": "no install date: coverage cannot be known, nothing is listed",
            "parts_years": 10,
            **part(1, on),
            **answer(None, None, None, None),
        }
        yield {
            "rule": "no term: none is guessed",
            "installed_on": dt.date(2020, 1, 1),
            **part(1, on),
            **answer(None, None, None, None),
        }
        until = dt.date(2030, 1, 1)
        row = judged(on, until, None)
        yield {
            "rule": "no cost: listed without an amount, never the price",
            "installed_on": dt.date(2020, 1, 1),
            "parts_years": 10,
            **part(1, on, cost=None, price=250.0),
            **row,
            "expect_customer_paid": 250.0,
        }
        yield {
            "rule": "no install date, but the shop says to file: listed until the filing window ends",
            "parts_years": 10,
            **part(1, on, status="to_file"),
            **answer("to_file" if on >= day(FILING) else "lapsed", None, 40.0, on + dt.timedelta(days=FILING)),
        }
        yield {
            "rule": "fitted before the install in the register: of an earlier unit",
            "installed_on": dt.date(2026, 3, 14),
            "parts_years": 10,
            **part(1, on),
            **answer(None, None, None, None),
        }
    yield {
        "rule": "fitted on the install visit: not in place of a failed part",
        "installed_on": day(40),
        "parts_years": 10,
        **part(1, day(40), "thermostat", visit_type="install"),
        **answer(None, anniversary(day(40), 10), None, None),
    }


def customer_paid() -> Iterator[Case]:
    start = dt.date(2019, 8, 8)
    until = anniversary(start, 10)
    for on in (day(12), day(150), day(1000)):
        for status, state in (("none", None), ("filed", "filed"), ("credited", "credited"), (None, None)):
            found = judged(on, until) if state is None else answer(state, until, 40.0, None)
            yield {
                "rule": "the customer paid for a covered part: a refund to ask about, beside the claim",
                "installed_on": start,
                "parts_years": 10,
                **part(1, on, status=status, price=180.0),
                **found,
                "expect_customer_paid": 180.0,
            }
        yield {
            "rule": "the claim was denied: the customer rightly paid",
            "installed_on": start,
            "parts_years": 10,
            **part(1, on, status="denied", price=180.0),
            **answer("denied", until, 40.0, None),
        }
        yield {
            "rule": "not covered: the customer rightly paid",
            "installed_on": dt.date(2005, 8, 8),
            "parts_years": 10,
            **part(1, on, price=180.0),
            **answer(None, dt.date(2015, 8, 8), None, None),
        }


def predicted() -> Iterator[Case]:
    """The season runs to 30 September 2026; a setting adds 90 days: 29 December 2026."""
    for until, listed in (
        (dt.date(2026, 3, 13), False),
        (dt.date(2026, 3, 14), True),
        (dt.date(2026, 7, 30), True),
        (dt.date(2026, 9, 30), True),
        (dt.date(2026, 12, 29), True),
        (dt.date(2026, 12, 30), False),
        (dt.date(2029, 5, 1), False),
    ):
        for years in (5, 10):
            for weak, read_on in ((0.6, day(300)), (0.25, day(10)), (0.2, day(10)), (0.6, None)):
                test = listed and weak >= 0.25 and read_on is not None
                yield {
                    "rule": "weak, read and coverage about to end: test it before it lapses; a prediction is no claim",
                    "installed_on": dt.date(until.year - years, until.month, until.day),
                    "parts_years": years,
                    "weak_p": weak,
                    "weak_read_on": read_on,
                    "expect_part": "run_capacitor",
                    **(answer("test_before_lapse", until, 14.0, until) if test else answer(None, None, None, None)),
                }


def states_and_amounts() -> Iterator[Case]:
    start, until = dt.date(2020, 10, 1), dt.date(2030, 10, 1)
    base = {"installed_on": start, "parts_years": 10}
    for on in (day(30), day(120), day(900)):
        filed = on + dt.timedelta(days=9)
        for status in ("filed", "credited", "denied"):
            yield {
                "rule": "a claim made keeps its state, whatever the dates; the amount is the one claimed",
                **base,
                **part(1, on, status=status, claim_amount=61.5, claimed_on=filed),
                **answer(status, until, 61.5, None),
            }
            yield {
                "rule": "a claim made without an amount: cost, never the price",
                **base,
                **part(1, on, status=status, price=None, claimed_on=filed),
                **answer(status, until, 40.0, None),
            }
        yield {
            "rule": "a date of filing without a state: filed",
            **base,
            **part(1, on, claimed_on=filed),
            **answer("filed", until, 40.0, None),
        }
        yield {
            "rule": "an amount without state and date: not filed yet",
            **base,
            **part(1, on, claim_amount=61.5),
            **judged(on, until),
        }
        yield {
            "rule": "to file, said by the shop and covered",
            **base,
            **part(1, on, status="to_file"),
            **judged(on, until),
        }
        for part_name in ("refrigerant", "filter_drier", "wiring", "other"):
            yield {
                "rule": "what a unit's term does not cover",
                **base,
                **part(1, on, part_name),
                **answer(None, None, None, None),
            }
        yield {
            "rule": "the compressor has its own term",
            "installed_on": dt.date(2015, 10, 1),
            "parts_years": 5,
            "compressor_years": 12,
            **part(1, on, "compressor", cost=900.0),
            **judged(on, dt.date(2027, 10, 1), 900.0),
        }
        yield {
            "rule": "no compressor term stated: that of parts",
            **base,
            **part(1, on, "compressor", cost=900.0),
            **judged(on, until, 900.0),
        }
        for labor, amount in ((1, 145.0 if on >= dt.date(2025, 3, 1) else 45.0), (None, 45.0)):
            yield {
                "rule": "allowances: 5 for handling on each claim, 100 for labor while the labor term runs",
                "settings": "allowances",
                "installed_on": dt.date(2025, 3, 1) if labor else start,
                "parts_years": 10,
                "labor_years": 2 if labor else None,
                **part(1, on),
                **(
                    judged(on, dt.date(2035, 3, 1) if labor else until, amount)
                    if not labor or on >= dt.date(2025, 3, 1)
                    else answer(None, None, None, None)
                ),
            }
        for cost in (49.99, 50.0):
            found = judged(on, until, cost)
            yield {
                "rule": "a claim worth less than the least amount of 50 is not listed",
                "settings": "minimum_50",
                **base,
                **part(1, on, cost=cost),
                **(found if cost >= 50 else answer(None, until, None, None)),
            }
        yield {
            "rule": "the least amount hides no claim that was made",
            "settings": "minimum_50",
            **base,
            **part(1, on, cost=20.0, status="credited"),
            **answer("credited", until, 20.0, None),
        }


FAMILIES = (
    leap_days,
    plain_terms,
    months,
    registration,
    unstated_terms,
    transfers,
    replaced_parts,
    own_terms,
    missing,
    customer_paid,
    predicted,
    states_and_amounts,
)


def main() -> None:
    with TARGET.open("w", encoding="utf-8", newline="") as file:
        file.write("# Hand-derived warranty truths; as of 2026-03-14, filing window 90 days. Rule beside each case.\n")
        file.write(
            "# Source: rules of the warranty section, written out by tests/reference_tables/make_warranty_cases.py\n"
        )
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n", restval="")
        writer.writeheader()
        count = 0
        for family in FAMILIES:
            for case in family():
                count += 1
                writer.writerow({"case": f"{family.__name__}_{count:03d}", **case})
    print(count)


if __name__ == "__main__":
    main()
