-- plan: the spring round as last planned; rewritten whole by each run and by preseason plan
-- grain and key: said at each table; source: pipeline.plan
create table core.route_stops (
    -- one row per unit on a route; key technician, date, stop
    technician varchar not null,
    date date not null,
    stop bigint not null,
    unit_id varchar not null,
    arrive varchar,
    service_minutes double,
    drive_minutes double,
    reasons varchar,
    site_id varchar,
    work varchar,
    value double,
    status varchar,
    truck varchar
);

create table core.plan_left_out (
    -- one row per unit that is due and on no route; key unit_id
    unit_id varchar not null,
    why varchar,
    value double
);

create table core.plan_days (
    -- one row per technician and working day of the round, driven or not; key technician, date
    technician varchar not null,
    date date not null,
    truck varchar,
    opens varchar,
    closes varchar,
    work_limit_minutes double
);

create table core.plan_notes (
    -- one row per sentence that the plan has to say, in order; key place
    place bigint not null,
    note varchar
);
