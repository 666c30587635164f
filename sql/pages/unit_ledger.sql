-- unit_ledger: refrigerant put into and taken out of a unit, newest first
-- grain: one row per unit and day; value bound: $unit_ids; source: refrigerant_ledger
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    refrigerant_ledger.unit_id,
    refrigerant_ledger.visit_date,
    refrigerant_ledger.refrigerant,
    refrigerant_ledger.kind,
    refrigerant_ledger.added_oz,
    refrigerant_ledger.recovered_oz,
    refrigerant_ledger.net_oz,
    refrigerant_ledger.leak_rate_annualized_pct,
    refrigerant_ledger.leak_rate_rolling_pct,
    refrigerant_ledger.federal_threshold
from asked
inner join refrigerant_ledger
    on asked.unit_id = refrigerant_ledger.unit_id
order by refrigerant_ledger.unit_id asc, refrigerant_ledger.visit_date desc;
