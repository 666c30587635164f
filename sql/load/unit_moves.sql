-- unit_moves: which derived ids belong to a unit that is named elsewhere, from everything stored, whatever came first
-- an id derived from a serial belongs to the one unit that has this serial under an id of its own; one derived from a
-- place (address, site, customer or phone, with the unit's location where told) to the one unit named there: that of the
-- same location, or the only unit where one of the two says no location; never where one ticket of a file tells of both,
-- nor where a visit is older than the named unit
-- grain: derived unit; source: imported.visits, imported.units, imported.sites
create or replace temp table unit_moves_found as
with said as (
    select distinct
        unit_id,
        address,
        site_id,
        customer_name,
        phone,
        unit_location,
        serial,
        installed_on
    from imported.visits
    union
    select
        units.unit_id,
        coalesce(units.address, sites.address) as address,
        units.site_id,
        coalesce(units.customer_name, sites.customer_name) as customer_name,
        coalesce(units.phone, sites.phone) as phone,
        units.unit_location,
        units.serial,
        units.installed_on
    from imported.units as units
    left join imported.sites as sites
        on units.site_id = sites.site_id
),

folded as (
    select
        unit_id,
        regexp_full_match(unit_id, 'unit-[0-9a-f]{10}') as by_place,
        regexp_replace(upper(serial), '\s', '', 'g') as serial,
        [
            'address ' || address,
            'site ' || site_id,
            'customer ' || customer_name,
            'phone ' || phone
        ] as homes,
        nullif(trim(regexp_replace(lower(unit_location), '[^\p{L}\p{N}]+', ' ', 'g')), '') as at_place,
        installed_on
    from said
),

by_serial as (
    select
        told.unit_id as told_unit_id,
        min(named.unit_id) as unit_id
    from folded as told
    inner join folded as named
        on told.unit_id = named.serial and told.unit_id = told.serial
    where not named.by_place and named.unit_id <> told.unit_id
    group by told.unit_id
    having count(distinct named.unit_id) = 1
),

placed as (
    select distinct
        coalesce(by_serial.unit_id, folded.unit_id) as unit_id,
        folded.by_place,
        -- a place is told by the first of these that the row has, a named unit answers to each
        unnest(
            case
                when folded.by_place then list_filter(folded.homes, lambda home: home is not null)[:1]
                else list_filter(folded.homes, lambda home: home is not null)
            end
        ) as home,
        folded.at_place
    from folded
    left join by_serial
        on folded.unit_id = by_serial.told_unit_id
),

streets as (
    select map(list(written_out), list(shortened)) as words
    from street_words
),

at_home as (
    select distinct
        unit_id,
        by_place,
        -- one spelling for streets written out or shortened, as the ids are derived from
        list_aggregate(
            list_transform(
                string_split(trim(regexp_replace(lower(home), '[^\p{L}\p{N}]+', ' ', 'g')), ' '),
                lambda word: coalesce(
                    streets.words[word], regexp_replace(word, 'stra(ss|ß)e$', 'str')
                )
            ),
            'string_agg',
            ' '
        ) as home,
        at_place
    from placed
    cross join streets
),

derived as (
    select
        unit_id,
        home,
        max(at_place) as at_place
    from at_home
    where by_place
    group by unit_id, home
),

named as (
    select
        at_home.unit_id,
        at_home.home,
        at_home.at_place
    from at_home
    semi join derived
        on at_home.home = derived.home
    where not at_home.by_place
    -- a row without the location says nothing where another row of the unit has it
    qualify at_home.at_place is not null or max(at_home.at_place) over (partition by at_home.unit_id) is null
),

pairs as (
    select
        derived.unit_id as told_unit_id,
        derived.home,
        named.unit_id,
        coalesce(derived.at_place = named.at_place, false) as same_place,
        coalesce(derived.at_place = named.at_place, true) as may_be
    from derived
    inner join named
        on derived.home = named.home
),

counted as (
    select
        told_unit_id,
        home,
        count(distinct unit_id) as named,
        count(distinct unit_id) filter (where same_place) as at_same_place,
        min(unit_id) filter (where same_place) as same_unit_id,
        min(unit_id) filter (where may_be) as only_unit_id
    from pairs
    group by told_unit_id, home
),

chosen as (
    select
        told_unit_id,
        named,
        case
            when at_same_place = 1 then same_unit_id
            when
                named = 1
                and at_same_place = 0
                and count(*) filter (where at_same_place = 0) over (partition by home) = 1
                then only_unit_id
        end as unit_id
    from counted
),

tickets as (
    select
        visits.visit_id,
        visits.source_file,
        visits.visit_date,
        visits.unit_id as told_unit_id,
        coalesce(chosen.unit_id, by_serial.unit_id, visits.unit_id) as unit_id
    from imported.visits as visits
    left join chosen
        on visits.unit_id = chosen.told_unit_id
    left join by_serial
        on visits.unit_id = by_serial.told_unit_id
    where coalesce(chosen.unit_id, by_serial.unit_id, visits.unit_id) in (select unit_id from chosen)
),

together as (
    select unit_id
    from tickets
    group by visit_id, source_file, unit_id
    having count(distinct told_unit_id) > 1
),

older as (
    select tickets.told_unit_id
    from tickets
    inner join folded
        on tickets.unit_id = folded.unit_id
    group by tickets.told_unit_id
    having min(tickets.visit_date) < max(folded.installed_on)
),

decided as (
    select
        chosen.told_unit_id,
        chosen.named,
        chosen.unit_id,
        case
            when chosen.unit_id is null then 'several'
            when chosen.unit_id in (select unit_id from together) then 'together'
            when chosen.told_unit_id in (select told_unit_id from older) then 'older'
        end as because
    from chosen
)

select
    told_unit_id,
    unit_id,
    named,
    because
from decided
union all
select
    told_unit_id,
    unit_id,
    1 as named,
    null as because
from by_serial;

create or replace temp table unit_moves_changed as
with found as (
    select
        told_unit_id,
        unit_id
    from unit_moves_found
    where because is null
),

gone as (
    select
        told_unit_id,
        unit_id
    from core.unit_moves
    except
    select
        told_unit_id,
        unit_id
    from found
),

come as (
    select
        told_unit_id,
        unit_id
    from found
    except
    select
        told_unit_id,
        unit_id
    from core.unit_moves
)

select
    told_unit_id,
    unit_id,
    false as moved
from gone
union all
select
    told_unit_id,
    unit_id,
    true as moved
from come;

delete from core.unit_moves;

insert into core.unit_moves by name
select
    told_unit_id,
    unit_id
from unit_moves_found
where because is null;

delete from core.units_unsettled;

insert into core.units_unsettled by name
select
    told_unit_id as unit_id,
    max(named) as named,
    min(because) as because
from unit_moves_found
where because is not null
group by told_unit_id;
