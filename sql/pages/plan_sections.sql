-- plan_sections: the rating in force and the forecast of every capacitor section
-- grain: one row per active unit and rated section; source: capacitor_forecast, core.capacitor_series, units; consumers: plan
with in_force as (
    select
        unit_id,
        section,
        arg_max(rated_uf, series) as rated_uf,
        arg_max(volts, series) as volts,
        arg_max(tolerance_pct, series) as tolerance_pct
    from core.capacitor_series
    where ended_on is null
    group by unit_id, section
)

select
    forecast.unit_id,
    forecast.section,
    in_force.rated_uf,
    coalesce(in_force.volts, units.cap_volts) as volts,
    in_force.tolerance_pct,
    forecast.p_out_by_season_end
from capacitor_forecast as forecast
inner join in_force
    on forecast.unit_id = in_force.unit_id and forecast.section = in_force.section
left join units
    on forecast.unit_id = units.unit_id
order by forecast.unit_id, forecast.section;
