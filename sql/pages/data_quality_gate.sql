-- data_quality_gate: the batch gate's result in short, newest import first
-- grain: one row per import and table; source: int_gate_summarised, imports
select
    int_gate_summarised.import_id,
    imports.file,
    int_gate_summarised.table_name,
    int_gate_summarised.expectations,
    int_gate_summarised.expectations_met,
    int_gate_summarised.unexpected_values,
    int_gate_summarised.not_met
from int_gate_summarised
left join imports
    on int_gate_summarised.import_id = imports.import_id
order by int_gate_summarised.import_id desc, int_gate_summarised.table_name asc
limit 60;
