-- unit_moves_wanted: whether any id was derived, so that the search for the unit it belongs to is worth its time
-- grain: one row; source: imported.visits, imported.units, core.unit_moves, core.units_unsettled
select
    exists(select 1 from core.unit_moves)
    or exists(select 1 from core.units_unsettled)
    or exists(select 1 from imported.visits where starts_with(unit_id, 'unit-'))
    or exists(select 1 from imported.units where starts_with(unit_id, 'unit-'))
    or exists(
        select 1
        from imported.units as named
        semi join imported.visits as visits
            on regexp_replace(upper(named.serial), '\s', '', 'g') = visits.unit_id
        where regexp_replace(upper(named.serial), '\s', '', 'g') <> named.unit_id
    );
