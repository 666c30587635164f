-- fleet_review_calls: visits by year and why they were made, and the causes of the no-cooling ones
-- grain: one row per calendar year (newest six), visit type and cause; source: visits, unit_risk
with as_of as (
    select max(as_of) as as_of
    from unit_risk
),

counted as (
    select
        year(visits.visit_date) as calendar_year,
        visits.visit_type,
        visits.cause
    from visits
    cross join as_of
    where (as_of.as_of is null or visits.visit_date <= as_of.as_of)
),

newest as (
    select max(calendar_year) as calendar_year
    from counted
)

select
    counted.calendar_year,
    counted.visit_type,
    counted.cause,
    count(*) as visits
from counted
cross join newest
where counted.calendar_year > newest.calendar_year - 6
group by counted.calendar_year, counted.visit_type, counted.cause
order by counted.calendar_year asc, counted.visit_type asc nulls last, counted.cause asc nulls last;
