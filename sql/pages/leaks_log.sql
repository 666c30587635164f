-- leaks_log: the use and recovery log by month and type, the newest three years of it
-- grain: one row per month and refrigerant; source: refrigerant_use
with newest as (
    select max("month") as newest_month
    from refrigerant_use
)

select
    refrigerant_use."month" as month_start,
    refrigerant_use.refrigerant,
    refrigerant_use.visits,
    refrigerant_use.added_oz,
    refrigerant_use.recovered_oz,
    refrigerant_use.net_oz
from refrigerant_use
cross join newest
where refrigerant_use."month" > newest.newest_month - interval 36 month
order by refrigerant_use."month" desc, refrigerant_use.refrigerant asc nulls last;
