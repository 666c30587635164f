-- part_quality: drift of capacitors by make, and by make, section and rating
-- grain: one row per make, and per make, section and rating; key group_by, part_make, section, rated_uf
-- source: core.part_quality (forecast.part_quality); consumers: parts and makes page
create or replace view part_quality as
select
    group_by,
    part_make,
    section,
    rated_uf,
    series,
    readings,
    years,
    drift_pct_per_year,
    drift_low,
    drift_high,
    fleet_pct_per_year,
    faster,
    sentence
from core.part_quality;
