-- parts_and_makes_trend: failures by finished season
-- grain: one row per season, newest first; source: season_trend, core.yearly_change
select
    trend.season_start,
    trend.season_end,
    trend.units,
    trend.unit_years,
    trend.failures,
    trend.rate_per_100_unit_years,
    trend.rate_low,
    trend.rate_high,
    trend.ratio_to_before,
    trend.ratio_low,
    trend.ratio_high,
    trend.cooling_degree_days,
    changes.factor,
    changes.factor_low,
    changes.factor_high,
    changes.at_same_heat
from season_trend as trend
left join core.yearly_change as changes
    on true
order by trend.season_start desc;
