-- parts_and_makes_quality: drift of capacitors by make
-- grain: one row per make, and per make, section and rating that stands out or is large; source: part_quality
with placed as (
    select
        *,
        row_number() over (partition by group_by order by faster desc, "series" desc, part_make asc) as place
    from part_quality
)

select
    group_by,
    part_make,
    section,
    rated_uf,
    "series",
    readings,
    years,
    drift_pct_per_year,
    drift_low,
    drift_high,
    fleet_pct_per_year,
    faster
from placed
where place <= 12
order by
    group_by,
    drift_pct_per_year;
