-- fleet_review_ages: age and chance of units, for the scatter; every flagged unit first, the rest by a fixed digest
-- grain: one row per unit with a known age, at most 600 (the page says how many were left out); source: unit_risk, units
with aged as (
    select
        unit_risk.unit_id,
        unit_risk.flagged,
        unit_risk.p_failure,
        nullif(trim(units.make), '') as make,
        date_diff('day', coalesce(units.installed_on, units.manufactured_on), unit_risk.as_of) / 365.25 as age_years
    from unit_risk
    inner join units
        on unit_risk.unit_id = units.unit_id
    where coalesce(units.installed_on, units.manufactured_on) <= unit_risk.as_of
        and unit_risk.p_failure is not null
),

counted as (
    select
        unit_id,
        flagged,
        p_failure,
        make,
        age_years,
        count(*) over () as units_aged,
        row_number() over (partition by flagged order by md5(unit_id) asc) as place
    from aged
)

select
    unit_id,
    flagged,
    p_failure,
    make,
    age_years,
    units_aged
from counted
where place <= case when flagged then 200 else 400 end
order by flagged asc, unit_id asc;
