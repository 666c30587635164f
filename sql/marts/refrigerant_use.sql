-- refrigerant_use: the shop's use and recovery log
-- grain: one row per month and refrigerant
-- source: core.refrigerant_use (enrich); consumers: leaks page
create or replace view refrigerant_use as
select
    "month",
    refrigerant,
    visits,
    added_oz,
    recovered_oz,
    net_oz,
    gwp,
    ozone_depleting
from core.refrigerant_use;
