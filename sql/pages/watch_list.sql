-- watch_list: every flagged unit, with what is needed to call and to find it
-- grain: one row per flagged unit, highest chance first; source: unit_risk, units, sites, capacitor_readings, visits
with flagged as (
    select
        unit_id,
        as_of,
        season_end,
        last_visit_on,
        p_failure,
        p_low,
        p_high,
        rank,
        leading_reason,
        reasons,
        expected_cost,
        worth_a_stop
    from unit_risk
    where flagged
),

newest_visits as (
    select
        visits.unit_id,
        arg_max(visits.technician, (visits.visit_date, visits.visit_id)) as technician
    from visits
    inner join flagged
        on visits.unit_id = flagged.unit_id and visits.visit_date <= flagged.as_of
    where visits.technician is not null
    group by visits.unit_id
)

select
    flagged.rank,
    flagged.unit_id,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.postal_code,
    sites.agreement,
    units.unit_location,
    units.make,
    units.model,
    units.equipment,
    units.nominal_tons,
    date_diff('year', coalesce(units.installed_on, units.manufactured_on), flagged.as_of) as age_years,
    flagged.p_failure,
    flagged.p_low,
    flagged.p_high,
    flagged.leading_reason,
    flagged.reasons,
    flagged.last_visit_on,
    newest_visits.technician,
    flagged.expected_cost,
    coalesce(flagged.worth_a_stop, false) as worth_a_stop,
    flagged.as_of,
    flagged.season_end
from flagged
left join units
    on flagged.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
left join newest_visits
    on flagged.unit_id = newest_visits.unit_id
order by flagged.rank asc;
