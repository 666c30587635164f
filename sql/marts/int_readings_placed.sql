-- int_readings_placed: where a row of readings belongs: the unit it names, else the only unit of its ticket
-- grain: row of readings; waiting_for is null, visit (not come yet) or unit (the ticket has several, or has not the one named)
-- source: int_readings, int_visits; consumers: waiting_rows, history
create or replace view int_readings_placed as
with visits as (
    select
        visit_id,
        unit_id,
        visit_date
    from int_visits
),

tickets as (
    select distinct visit_id
    from visits
),

placed as (
    select
        told.* exclude (unit_id),
        told.unit_id as told_unit_id,
        coalesce(told.unit_id, only_units.unit_id) as unit_id
    from int_readings as told
    left join int_ticket_units as only_units
        on told.visit_id = only_units.visit_id
)

select
    placed.*,
    visits.visit_date,
    case
        when visits.unit_id is not null then null
        when tickets.visit_id is null then 'visit'
        else 'unit'
    end as waiting_for
from placed
left join visits
    on placed.visit_id = visits.visit_id and placed.unit_id = visits.unit_id
left join tickets
    on placed.visit_id = tickets.visit_id;
