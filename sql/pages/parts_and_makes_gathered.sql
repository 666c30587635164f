-- parts_and_makes_gathered: repairs and cost gathered by an age
-- grain: one row per age shown; source: repairs_gathered
with ages as (
    select
        age_years,
        max(at_risk) as at_risk,
        max(per_unit) filter (where what = 'repairs') as repairs,
        max(per_unit_low) filter (where what = 'repairs') as repairs_low,
        max(per_unit_high) filter (where what = 'repairs') as repairs_high,
        max(per_unit) filter (where what = 'cost') as cost,
        max(per_unit_low) filter (where what = 'cost') as cost_low,
        max(per_unit_high) filter (where what = 'cost') as cost_high
    from repairs_gathered
    group by age_years
)

select
    age_years,
    at_risk,
    repairs,
    repairs_low,
    repairs_high,
    cost,
    cost_low,
    cost_high
from ages
where age_years in (1, 2, 3, 5, 7, 10, 12, 15, 18, 20, 25, 30)
order by age_years;
