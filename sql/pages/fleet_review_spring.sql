-- fleet_review_spring: how far the spring visits of units under an agreement have come, and whom to call next
-- grain: always exactly one row; source: unit_risk, units, sites, visits, route_stops
with under_agreement as (
    select
        unit_risk.unit_id,
        unit_risk.as_of,
        unit_risk.season_start,
        unit_risk.rank,
        sites.customer_name,
        sites.phone,
        sites.address
    from unit_risk
    inner join units
        on unit_risk.unit_id = units.unit_id
    inner join sites
        on units.site_id = sites.site_id
    where sites.agreement = 'yes'
),

spring_visits as (
    -- a visit from 120 days before the season on is this spring's (the plan's own default)
    select
        under_agreement.unit_id,
        min(visits.visit_date) as done_on
    from under_agreement
    inner join visits
        on under_agreement.unit_id = visits.unit_id
    where visits.visit_type in ('maintenance', 'inspection', 'install')
        and visits.visit_date between under_agreement.season_start - interval 120 day and under_agreement.as_of
    group by under_agreement.unit_id
),

booked as (
    select distinct unit_id
    from route_stops
    where status = 'booked'
)

select
    count(*) as agreement_units,
    count(spring_visits.unit_id) as done,
    count(booked.unit_id) filter (where spring_visits.unit_id is null) as booked,
    count(*) filter (where spring_visits.done_on > under_agreement.as_of - interval 28 day) as done_in_4_weeks,
    arg_min(under_agreement.unit_id, under_agreement.rank)
        filter (where spring_visits.unit_id is null and booked.unit_id is null) as unit_id,
    arg_min(under_agreement.customer_name, under_agreement.rank)
        filter (where spring_visits.unit_id is null and booked.unit_id is null) as customer_name,
    arg_min(under_agreement.phone, under_agreement.rank)
        filter (where spring_visits.unit_id is null and booked.unit_id is null) as phone,
    arg_min(under_agreement.address, under_agreement.rank)
        filter (where spring_visits.unit_id is null and booked.unit_id is null) as address
from under_agreement
left join spring_visits
    on under_agreement.unit_id = spring_visits.unit_id
left join booked
    on under_agreement.unit_id = booked.unit_id;
