-- route_sheet_parts: what each technician-day is likely to use
-- grain: one row per technician, date, part and size; source: core.day_parts
select
    technician,
    "date",
    part,
    size,
    quantity,
    expected,
    covers_pct,
    substitutes
from core.day_parts
order by
    technician,
    "date",
    part desc,
    try_cast(regexp_extract(size, '^[0-9.]+') as double),
    size;
