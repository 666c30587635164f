-- fleet_review_stock: what the plan orders for the spring, and what each truck lacks of its list for the season
-- grain: one row per use (order, truck), part and size that is short, most pieces first; source: stock_list
select
    for_what,
    part,
    size,
    sum(case when for_what = 'order' then quantity else to_order end)::bigint as pieces,
    count(distinct for_which) as trucks,
    min(order_by) as order_by
from stock_list
where (for_what = 'order' and quantity > 0)
    or (for_what = 'truck' and to_order > 0)
group by for_what, part, size
order by for_what asc, part in ('jumper_wire', 'mounting_strap') asc, pieces desc, part asc, size asc;
