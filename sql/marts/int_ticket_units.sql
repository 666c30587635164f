-- int_ticket_units: the unit of a ticket that covers only one
-- grain: ticket with one unit; key visit_id
-- source: int_visits; consumers: int_parts_placed, int_recommendations_placed, int_readings_placed
create or replace view int_ticket_units as
with visits as (
    select
        visit_id,
        unit_id
    from int_visits
)

select
    visit_id,
    min(unit_id) as unit_id
from visits
group by visit_id
having count(*) = 1;
