-- stock: what trucks carry and what is ordered, as last planned; rewritten whole with the round
-- grain and key: said at each table; source: pipeline.plan.stock
create table core.stock_list (
    -- one row per part, size and use; key part, size, for_what, for_which
    part varchar not null,
    size varchar not null,
    quantity bigint not null,
    covers_pct double,
    substitutes varchar,
    for_what varchar not null,
    for_which varchar not null,
    expected double,
    size_covers_pct double,
    on_hand bigint,
    to_order bigint,
    cost double,
    truck varchar,
    week_start date,
    order_by date,
    proven boolean
);

create table core.day_parts (
    -- one row per technician, date, part and size; what the day is likely to use
    technician varchar not null,
    date date not null,
    part varchar not null,
    size varchar not null,
    quantity bigint not null,
    expected double,
    covers_pct double,
    substitutes varchar
);

create table core.call_list (
    -- one row per unit to call or called; key unit_id
    unit_id varchar not null,
    status varchar not null,
    why varchar,
    near varchar,
    date date,
    technician varchar,
    value double
);
