-- leaks_use: refrigerant put in and taken out by calendar year and type, newest year first
-- grain: one row per year and refrigerant (null = type not written down); source: refrigerant_use
select
    cast(year("month") as integer) as calendar_year,
    refrigerant,
    sum(visits) as visits,
    round(sum(added_oz), 9) / 16.0 as added_lb,
    round(sum(recovered_oz), 9) / 16.0 as recovered_lb,
    round(sum(net_oz), 9) / 16.0 as net_lb,
    max(gwp) as gwp,
    bool_or(ozone_depleting) as ozone_depleting,
    -- 0.45359237 kg in a pound; tonnes of CO2 that warm as much over 100 years
    round(sum(net_oz), 9) / 16.0 * 0.45359237 * max(gwp) / 1000.0 as co2_t
from refrigerant_use
group by calendar_year, refrigerant
order by calendar_year desc, added_lb desc, refrigerant asc nulls last;
