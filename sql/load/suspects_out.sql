-- suspects_out: what was held against fields that the staged visits now say anew
-- source: core.suspects, staging.visits
delete from core.suspects using staging.visits as staged
where
    staged.import_id = $import_id
    and core.suspects.visit_id = staged.visit_id
    and core.suspects.unit_id = staged.unit_id
    and list_contains($fields, core.suspects.field);
