-- leaks_types: units in care by refrigerant, how many probably lose charge, what they were given in twelve months
-- grain: one row per refrigerant as written (null = not written down), most units first; source: unit_risk, units, charge_trend
select
    units.refrigerant,
    count(*) as units_active,
    count(*) filter (where charge_trend.charge_loss_suspected) as units_suspected,
    coalesce(round(sum(charge_trend.refrigerant_added_oz_12_months), 9), 0.0) / 16.0 as added_lb_12_months,
    coalesce(round(sum(units.factory_charge_oz), 9), 0.0) / 16.0 as charge_lb,
    count(units.factory_charge_oz) as units_with_charge
from unit_risk
left join units
    on unit_risk.unit_id = units.unit_id
left join charge_trend
    on unit_risk.unit_id = charge_trend.unit_id
group by units.refrigerant
order by units_active desc, units.refrigerant asc nulls last;
