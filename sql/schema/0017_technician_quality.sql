-- technician_quality: how complete and how believable each technician's readings of the last 24 months are
-- grain: one row per technician and kind of reading; source: enrich.technicians
create table core.technician_quality (
    technician varchar,
    visits bigint,
    kind varchar,
    count bigint,
    "of" bigint,
    share double,
    share_low double,
    share_high double,
    digit_p_value double,
    favourite_digit bigint
);
