-- charge_trend: whether a unit is losing charge, how fast, and what was added in twelve months
-- leak_rate_low_pct: 5 % point, a tight system included; leak_rate_high_pct: 95 % point of a leak, if there is one
-- grain: one row per unit; key unit_id
-- source: core.charge_trend (enrich); consumers: unit pages, leaks page
create or replace view charge_trend as
select
    unit_id,
    refrigerant_added_oz_12_months,
    leak_rate_pct_per_year,
    p_leaking,
    charge_loss_suspected,
    leak_rate_low_pct,
    leak_rate_high_pct,
    leak_rate_rolling_pct,
    leak_rate_annualized_pct,
    readings_used,
    top_ups,
    last_top_up_on,
    because
from core.charge_trend;
