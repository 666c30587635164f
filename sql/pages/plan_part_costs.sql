-- plan_part_costs: what the shop paid for a part, by size, in the last three years
-- grain: one row per part and label, at least two rows of a single piece each; source: int_parts_placed, unit_risk; consumers: plan
with recent as (
    select
        placed.part,
        coalesce(placed.cap_herm_uf, placed.cap_fan_uf, placed.cap_blower_uf) as first_uf,
        case when placed.cap_herm_uf is not null then coalesce(placed.cap_fan_uf, 0) else 0 end as second_uf,
        placed.cap_volts as volts,
        placed.cost
    from int_parts_placed as placed
    where
        placed.cost > 0
        and coalesce(placed.quantity, 1) = 1
        and not (placed.cap_blower_uf is not null and coalesce(placed.cap_herm_uf, placed.cap_fan_uf) is not null)
        and placed.visit_date > (select max(as_of) from unit_risk) - interval 36 month
)

select
    part,
    first_uf,
    second_uf,
    volts,
    median(cost) as cost
from recent
where part <> 'run_capacitor' or (first_uf > 0 and volts is not null)
group by part, first_uf, second_uf, volts
having count(*) >= 2
order by part, first_uf, second_uf, volts;
