-- fleet_review_trouble: calls of the running season that came back within 30 days, or after our own spring visit
-- grain: one row per kind (back, after_spring) that has any, with its newest unit by name
-- source: unit_risk, visits, units, sites
with season as (
    select
        max(as_of) as as_of,
        max(season_start) as season_start
    from unit_risk
),

in_season as (
    select
        visits.unit_id,
        visits.visit_id,
        visits.visit_date,
        visits.visit_type,
        visits.cause
    from visits
    cross join season
    where visits.visit_date between season.season_start and season.as_of
        and visits.visit_type in ('no_cooling', 'callback')
),

found as (
    select distinct
        'back' as kind,
        in_season.unit_id,
        in_season.visit_date,
        in_season.cause
    from in_season
    inner join visits as earlier
        on in_season.unit_id = earlier.unit_id
        and earlier.visit_date < in_season.visit_date
        and earlier.visit_date >= in_season.visit_date - interval 30 day
    union all
    select distinct
        'after_spring' as kind,
        in_season.unit_id,
        in_season.visit_date,
        in_season.cause
    from in_season
    cross join season
    inner join visits as spring
        on in_season.unit_id = spring.unit_id
        and spring.visit_type in ('maintenance', 'inspection')
        and spring.visit_date < in_season.visit_date
        and spring.visit_date >= season.season_start - interval 120 day
    where in_season.visit_type = 'no_cooling'
),

placed as (
    select
        kind,
        unit_id,
        visit_date,
        cause,
        count(*) over (partition by kind) as calls,
        row_number() over (partition by kind order by visit_date desc, unit_id asc) as place
    from found
)

select
    placed.kind,
    placed.calls,
    placed.visit_date,
    placed.cause,
    placed.unit_id,
    sites.customer_name,
    sites.phone,
    sites.address
from placed
left join units
    on placed.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
where placed.place = 1
order by placed.kind asc;
