-- season_trend: failures and unit-years by finished season
-- grain: one row per finished season; key season_start
-- source: core.season_trend (forecast.trends); consumers: parts and makes page
create or replace view season_trend as
select
    season_start,
    season_end,
    units,
    unit_years,
    failures,
    rate_per_100_unit_years,
    rate_low,
    rate_high,
    ratio_to_before,
    ratio_low,
    ratio_high,
    cooling_degree_days
from core.season_trend;
