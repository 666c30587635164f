-- unit: the head of a unit page
-- grain: one row per unit asked for; value bound: $unit_ids; source: unit_risk, units, sites
with asked as (
    select unnest($unit_ids::varchar[]) as unit_id
),

fleet as (
    select
        count(*) as units_active,
        count(*) filter (where flagged) as units_flagged
    from unit_risk
),

listed as (
    select
        unit_id,
        row_number() over (order by rank asc) as watch_place
    from unit_risk
    where flagged
)

select
    unit_risk.unit_id,
    unit_risk.as_of,
    unit_risk.season_start,
    unit_risk.season_end,
    unit_risk.last_visit_on,
    unit_risk.p_failure,
    unit_risk.p_low,
    unit_risk.p_high,
    unit_risk.rank,
    fleet.units_active,
    fleet.units_flagged,
    listed.watch_place,
    unit_risk.flagged,
    unit_risk.leading_reason,
    unit_risk.reasons,
    unit_risk.expected_cost,
    sites.customer_name,
    sites.phone,
    sites.address,
    sites.city,
    sites.state,
    sites.postal_code,
    sites.access_notes,
    sites.agreement,
    sites.agreement_renews_on,
    sites.owner_since,
    units.unit_location,
    units.equipment,
    units.make,
    units.model,
    units.serial,
    units.nominal_tons,
    units.refrigerant,
    units.metering,
    units.factory_charge_oz,
    units.manufactured_on,
    units.installed_on,
    units.registered,
    units.registered_on,
    units.parts_warranty_years,
    units.compressor_warranty_years,
    units.labor_warranty_years,
    units.cap_herm_uf,
    units.cap_fan_uf,
    units.cap_blower_uf,
    units.cap_volts,
    units.source_file,
    units.source_line
from asked
inner join unit_risk
    on asked.unit_id = unit_risk.unit_id
cross join fleet
left join listed
    on unit_risk.unit_id = listed.unit_id
left join units
    on unit_risk.unit_id = units.unit_id
left join sites
    on units.site_id = sites.site_id
order by unit_risk.rank asc;
