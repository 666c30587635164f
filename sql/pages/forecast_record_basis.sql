-- forecast_record_basis: what the odds of today's units and sections rest on
-- grain: one row per kind and basis; source: core.unit_forecast, capacitor_forecast; consumer: how the forecast did
with units as (
    select
        'unit' as kind,
        basis,
        count(*) as things
    from core.unit_forecast
    group by basis
),

sections as (
    select
        'section' as kind,
        basis,
        count(*) as things
    from capacitor_forecast
    group by basis
)

select
    kind,
    basis,
    things
from units
union all
select
    kind,
    basis,
    things
from sections
order by kind asc, things desc, basis asc;
