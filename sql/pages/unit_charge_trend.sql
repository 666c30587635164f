-- unit_charge_trend: whether a unit is losing charge, how fast, and what speaks for it
-- grain: one row per unit; value bound: $unit_ids; source: charge_trend
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
)

select
    charge_trend.unit_id,
    charge_trend.p_leaking,
    charge_trend.charge_loss_suspected,
    charge_trend.leak_rate_pct_per_year,
    charge_trend.leak_rate_low_pct,
    charge_trend.leak_rate_high_pct,
    charge_trend.refrigerant_added_oz_12_months,
    charge_trend.because
from asked
inner join charge_trend
    on asked.unit_id = charge_trend.unit_id;
