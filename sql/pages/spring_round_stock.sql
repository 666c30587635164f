-- spring_round_stock: every row of the stock list, in its order
-- grain: one row per part, size and use; source: stock_list
select
    part,
    size,
    quantity,
    covers_pct,
    substitutes,
    for_what,
    for_which,
    expected,
    size_covers_pct,
    on_hand,
    to_order,
    cost,
    truck,
    week_start,
    order_by
from stock_list
order by
    case for_what when 'week' then 0 when 'truck' then 1 else 2 end,
    week_start nulls last,
    for_which,
    case when part = 'run_capacitor' then 0 when part in ('jumper_wire', 'mounting_strap') then 2 else 1 end,
    part,
    try_cast(regexp_extract(size, '^[0-9.]+') as double),
    size;
