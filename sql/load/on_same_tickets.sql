-- on_same_tickets: units that share a ticket with a wanted one; what a note says of them is decided together
-- grain: unit; source: int_visits, the frame registered as wanted
with ours as (
    select visits.visit_id
    from int_visits as visits
    semi join wanted
        on visits.unit_id = wanted.unit_id
)

select distinct visits.unit_id
from int_visits as visits
semi join ours
    on visits.visit_id = ours.visit_id;
