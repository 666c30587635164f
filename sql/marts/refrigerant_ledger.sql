-- refrigerant_ledger: refrigerant in and out by unit and day, with both published leak rates
-- grain: one row per unit and day; key unit_id, visit_date
-- source: core.refrigerant_ledger (enrich); consumers: unit pages, leaks page
create or replace view refrigerant_ledger as
select
    unit_id,
    visit_id,
    visit_date,
    refrigerant,
    added_oz,
    recovered_oz,
    net_oz,
    kind,
    factory_charge_oz,
    days_since_addition,
    leak_rate_annualized_pct,
    leak_rate_rolling_pct,
    federal_threshold
from core.refrigerant_ledger;
