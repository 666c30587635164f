"""Which fields of a visit are said of one unit, and which of the whole ticket."""

from __future__ import annotations

from pipeline.fields import fields_for_file

OF_TICKET = frozenset(
    ("visit_id", "visit_date", "technician", "visit_type", "altitude_ft", "invoice_total", "notes", "site_id")
)


def is_of_unit(field: str) -> bool:
    """Return whether a field of a visits file is said of one unit: readings, cause, what the unit is."""
    known = fields_for_file("visits").get(field)
    return known is not None and field not in OF_TICKET and known.table in ("visits", "units")
