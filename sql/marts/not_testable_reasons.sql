-- not_testable_reasons: what the codes of charge_readings.not_testable_codes say, and the column that would have told
-- grain: one row per code in the order of place; key code
-- source: core.not_testable_reasons (enrich, reference/not_testable.toml); consumers: charge_readings, data quality page
create or replace view not_testable_reasons as
select
    place,
    code,
    words,
    column_words
from core.not_testable_reasons;
