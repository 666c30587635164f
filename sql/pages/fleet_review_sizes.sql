-- fleet_review_sizes: capacitor sizes that units on the watch list will probably need before the season ends
-- grain: one row per size (rating in force of the sections that share a can, volts), most needed first
-- source: unit_risk, capacitor_forecast, capacitor_readings, units
with needed as (
    -- the blower's capacitor sits indoors in a can of its own
    select
        unit_risk.unit_id,
        capacitor_forecast.section = 'blower' as indoors,
        coalesce(unit_risk.last_visit_on >= unit_risk.season_start, false) as seen_in_season
    from unit_risk
    inner join capacitor_forecast
        on unit_risk.unit_id = capacitor_forecast.unit_id
    where unit_risk.flagged
        and capacitor_forecast.p_out_by_season_end >= 0.5
    group by unit_risk.unit_id, indoors, seen_in_season
),

in_force as (
    select
        capacitor_readings.unit_id,
        capacitor_readings.section,
        arg_max(
            capacitor_readings.rated_uf, (capacitor_readings.visit_date, capacitor_readings.series)
        ) as rated_uf
    from capacitor_readings
    where capacitor_readings.rated_uf is not null
    group by capacitor_readings.unit_id, capacitor_readings.section
),

rated as (
    select
        units.unit_id,
        coalesce(herm.rated_uf, units.cap_herm_uf) as cap_herm_uf,
        coalesce(fan.rated_uf, units.cap_fan_uf) as cap_fan_uf,
        coalesce(blower.rated_uf, units.cap_blower_uf) as cap_blower_uf,
        units.cap_volts
    from units
    left join in_force as herm
        on units.unit_id = herm.unit_id and herm.section = 'herm'
    left join in_force as fan
        on units.unit_id = fan.unit_id and fan.section = 'fan'
    left join in_force as blower
        on units.unit_id = blower.unit_id and blower.section = 'blower'
),

sized as (
    select
        needed.seen_in_season,
        case when not needed.indoors then rated.cap_herm_uf end as cap_herm_uf,
        case when not needed.indoors then rated.cap_fan_uf end as cap_fan_uf,
        case when needed.indoors then rated.cap_blower_uf end as cap_blower_uf,
        rated.cap_volts
    from needed
    inner join rated
        on needed.unit_id = rated.unit_id
)

select
    cap_herm_uf,
    cap_fan_uf,
    cap_blower_uf,
    cap_volts,
    count(*) as units,
    count(*) filter (where not seen_in_season) as units_open
from sized
where cap_herm_uf > 0 or cap_fan_uf > 0 or cap_blower_uf > 0
group by cap_herm_uf, cap_fan_uf, cap_blower_uf, cap_volts
order by
    units desc,
    cap_herm_uf asc nulls last,
    cap_fan_uf asc nulls last,
    cap_blower_uf asc nulls last,
    cap_volts asc nulls last;
