-- installs_to_register: own installs that are not registered with the maker yet
-- grain: one row per unit; key unit_id
-- source: core.installs_to_register (warranty.registration), core.unit_forecast; consumers: warranty page
create or replace view installs_to_register as
with forecasts as (
    select max(as_of) as as_of
    from core.unit_forecast
)

select
    installs.unit_id,
    installs.installed_on,
    installs.register_by,
    date_diff('day', forecasts.as_of, installs.register_by) as days_left
from core.installs_to_register as installs
cross join forecasts;
