-- units_not_told_apart: ids that may be more than one unit, or a unit named otherwise, and what waits until it is known
-- because: several (more than one unit is named at the address), older (visits from before the only one was installed),
-- together (a ticket tells of it and of the one named), notes (its notes tell several units apart, its rows do not)
-- grain: unit; key unit_id; source: core.units_unsettled, note_readings, visits, units, sites, capacitor_readings, waiting_rows
-- consumers: data quality page
create or replace view units_not_told_apart as
with named as (
    select
        unit_id,
        named as units,
        because
    from core.units_unsettled
),

marked as (
    select
        unit_id,
        count(distinct mark) as units
    from note_readings
    where not attributed and mark is not null and why_not = 'the note tells of several units and the export of one'
    group by unit_id, visit_id
),

by_notes as (
    select
        unit_id,
        max(units) as units
    from marked
    group by unit_id
),

unsettled as (
    select
        coalesce(named.unit_id, by_notes.unit_id) as unit_id,
        greatest(coalesce(named.units, 0), coalesce(by_notes.units, 0), if(named.because = 'older', 1, 2)) as units,
        coalesce(named.because, 'notes') as because
    from named
    full join by_notes
        on named.unit_id = by_notes.unit_id
),

visited as (
    select
        unit_id,
        count(*) as visits,
        min(visit_date) as first_on,
        max(visit_date) as last_on
    from visits
    group by unit_id
),

told as (
    select
        unit_id,
        count(*) as readings
    from note_readings
    where not attributed
    group by unit_id
),

typed as (
    select
        unit_id,
        count(*) as readings
    from capacitor_readings
    group by unit_id
)

select
    unsettled.unit_id,
    units.site_id,
    sites.address,
    unsettled.units,
    unsettled.because,
    visited.visits,
    visited.first_on,
    visited.last_on,
    coalesce(told.readings, 0)
    + case when unsettled.because = 'notes' then 0 else coalesce(typed.readings, 0) end as readings
from unsettled
inner join units
    on unsettled.unit_id = units.unit_id
inner join visited
    on unsettled.unit_id = visited.unit_id
left join sites
    on units.site_id = sites.site_id
left join told
    on unsettled.unit_id = told.unit_id
left join typed
    on unsettled.unit_id = typed.unit_id;
