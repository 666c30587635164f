-- fleet_review_makes: units, flagged units and expected failures by make
-- grain: one row per make (null = not known), the twelve largest and the rest as one; source: unit_risk, units
with makes as (
    select
        nullif(trim(units.make), '') as make,
        count(*) as units,
        count(*) filter (where unit_risk.flagged) as flagged,
        coalesce(round(sum(unit_risk.p_failure), 9), 0) as expected_failures
    from unit_risk
    left join units
        on unit_risk.unit_id = units.unit_id
    group by nullif(trim(units.make), '')
),

placed as (
    select
        make,
        units,
        flagged,
        expected_failures,
        row_number() over (order by units desc, make asc nulls last) as place
    from makes
)

select
    case when place <= 12 then make end as make,
    place > 12 as is_rest,
    count(*) as makes,
    sum(units)::bigint as units,
    sum(flagged)::bigint as flagged,
    round(sum(expected_failures), 9) as expected_failures,
    100 * round(sum(expected_failures), 9) / sum(units) as expected_per_100
from placed
group by case when place <= 12 then make end, place > 12
order by is_rest asc, units desc, make asc nulls last;
