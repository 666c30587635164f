-- technician_quality: how complete and how believable each technician's readings of the last 24 months are
-- grain: one row per technician and kind of reading; key technician, kind
-- source: core.technician_quality (enrich.technicians); consumers: data quality page
create or replace view technician_quality as
select
    technician,
    visits,
    kind,
    count,
    "of",
    share,
    share_low,
    share_high,
    digit_p_value,
    favourite_digit
from core.technician_quality;
