-- unit_pages: the units that get a page of their own: flagged, then by chance up to $most, and any asked for by id
-- grain: one row per unit; values bound: $most, $asked_for (a list of unit_id); source: unit_risk
select
    unit_id,
    rank,
    flagged
from unit_risk
where flagged
    or rank <= $most
    or list_contains($asked_for::varchar[], unit_id)
order by rank asc;
