"""Where each site is: its coordinates if they can be believed, else the middle of its postal code, else nowhere."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl

Centroids = Callable[[list[str]], Mapping[str, tuple[float, float]]]
"""Postal codes → latitude and longitude of those that are known."""

PLACES_SCHEMA = pl.Schema(
    {"site_id": pl.String(), "lat": pl.Float64(), "lon": pl.Float64(), "how": pl.String(), "why_not": pl.String()}
)
"""One row per site; ``how`` is ``coordinates``, ``turned`` (read the other way round), ``postal_code`` or null, with
``why_not`` then."""

NEAR_MI = 60.0
"""A site this near the middle of the others, or of its postal code, is believed (engineering choice)."""
SPREAD = 8.0
"""Or within so many times the median distance of the sites from their middle, for shops with a wide area."""
USUAL_LAT, USUAL_LON = (13.0, 72.0), (-180.0, -64.0)
"""Where sites with a ZIP code are (United States and territories but Guam, by hand): a file whose middle lies elsewhere
is held against its postal codes."""
TURNED_SAMPLE = 40
"""Postal codes of such a file that are looked up: they agree, or they do not."""
EARTH_RADIUS_MI = 3958.8
"""Mean radius of the earth (IUGG, 6371.0 km)."""


def great_circle_mi(lat: pl.Expr, lon: pl.Expr, lat_to: pl.Expr, lon_to: pl.Expr) -> pl.Expr:
    """Return the great-circle distance [miles] of points in degrees (haversine formula)."""
    # Without a place there is no number to tell the type of: a shop may know not one coordinate.
    a, b, turn = (angle.cast(pl.Float64).radians() for angle in (lat, lat_to, lon_to - lon))
    half = ((b - a) / 2).sin() ** 2 + a.cos() * b.cos() * (turn / 2).sin() ** 2
    return half.clip(0, 1).sqrt().arcsin() * 2 * EARTH_RADIUS_MI


def place_sites(sites: pl.DataFrame, centroids: Centroids) -> tuple[pl.DataFrame, list[str]]:
    """Return the place of every site (``PLACES_SCHEMA``, the rows and order of ``sites``) and a sentence per odd row.

    Parameters
    ----------
    sites
        site_id, lat, lon, postal_code, source_file, source_line.
    centroids
        Asked once, for the codes of sites whose own coordinates are missing or lie away from the others.
    """
    frame = sites.with_columns(
        code=five_digits(pl.col("postal_code")),
        both=pl.col("lat").is_not_null() & pl.col("lon").is_not_null(),
    )
    frame, notes = _turned_files(frame, centroids)
    shop = _middle(frame)
    frame = frame.with_columns(off_mi=great_circle_mi(pl.col("lat"), pl.col("lon"), pl.lit(shop[0]), pl.lit(shop[1])))
    limit = max(NEAR_MI, SPREAD * float(frame.filter(NOT_BLANK)["off_mi"].median() or 0.0))  # type: ignore[arg-type]
    doubtful = ~pl.col("both") | (pl.col("off_mi") > limit).fill_null(True)
    codes = frame.filter(doubtful & pl.col("code").is_not_null())["code"].unique().sort().to_list()
    known = centroids(codes) if codes else {}
    middle = pl.DataFrame(
        {"code": list(known), "zip_lat": [p[0] for p in known.values()], "zip_lon": [p[1] for p in known.values()]},
        schema={"code": pl.String, "zip_lat": pl.Float64, "zip_lon": pl.Float64},
    )
    frame = frame.join(middle, on="code", how="left", maintain_order="left")
    believed = _near("lat", "lon", shop, limit)
    turned = _near("lon", "lat", shop, limit)
    how = (
        pl.when(pl.col("both") & believed)
        .then(pl.lit("coordinates"))
        .when(pl.col("both") & turned)
        .then(pl.lit("turned"))
        .when(pl.col("zip_lat").is_not_null())
        .then(pl.lit("postal_code"))
    )
    frame = frame.with_columns(how=how).with_columns(
        lat_at=pl.when(how == "coordinates").then("lat").when(how == "turned").then("lon").otherwise("zip_lat"),
        lon_at=pl.when(how == "coordinates").then("lon").when(how == "turned").then("lat").otherwise("zip_lon"),
    )
    odd = pl.col("both") & (pl.col("how") != "coordinates").fill_null(True)
    notes += [_sentence(row) for row in frame.filter(odd).iter_rows(named=True)]
    placed = frame.select(
        "site_id",
        lat="lat_at",
        lon="lon_at",
        how=pl.when(pl.col("turned_file") & (pl.col("how") == "coordinates")).then(pl.lit("turned")).otherwise("how"),
        why_not=pl.when(pl.col("how").is_null() & pl.col("both"))
        .then(pl.lit("its coordinates lie far from all other sites and its postal code is not known"))
        .when(pl.col("how").is_null())
        .then(pl.lit("it has no coordinates and its postal code is not known")),
    )
    return placed, notes


def five_digits(code: pl.Expr) -> pl.Expr:
    """Return the first five digits of a postal code, leading zeros back in place; null where there are none."""
    digits = code.str.strip_chars().str.extract(r"^(\d{3,5})(?:-?\d{4})?$", 1)
    return digits.str.zfill(5)


def zip_centroids(codes: list[str]) -> dict[str, tuple[float, float]]:
    """Return the middle of each postal code that the ``zipcodes`` table has coordinates for."""
    import zipcodes  # its table takes a while to load and is needed by few runs

    rows = (row for code in codes for row in zipcodes.matching(code))  # type: ignore[no-untyped-call]
    return {row["zip_code"]: (float(row["lat"]), float(row["long"])) for row in rows if row["lat"] and row["long"]}


NOT_BLANK = (pl.col("lat") != 0) | (pl.col("lon") != 0)
"""A place of 0 and 0 (or none) is a blank that an export filled; it lies in the sea and tells nothing of the others."""


def _turned_files(frame: pl.DataFrame, centroids: Centroids) -> tuple[pl.DataFrame, list[str]]:
    """Return the sites with latitude and longitude exchanged in files that have them the other way round, and say so.

    A file is looked into where its middle is not where postal codes are; most codes of a sample have to lie near the
    exchanged coordinates. Adds ``turned_file``.
    """
    notes: list[str] = []
    turned: list[str | None] = []
    for (file,), rows in frame.partition_by("source_file", as_dict=True, maintain_order=True).items():
        lat, lon = _middle(rows)
        if lat is None or lon is None or (_within(lat, USUAL_LAT) and _within(lon, USUAL_LON)):
            continue
        named = rows.filter(NOT_BLANK & pl.col("code").is_not_null()).unique("code", maintain_order=True)
        known = centroids(named["code"].head(TURNED_SAMPLE).to_list()) if named.height else {}
        agree = [
            row for row in named.iter_rows(named=True) if row["code"] in known and _swapped(row, known[row["code"]])
        ]
        if 2 * len(agree) > len(known):
            turned.append(file)
            notes.append(
                f"{file or 'sites'}: by their postal codes the latitudes and longitudes of {rows.height} sites stand "
                "the other way round and are used so. Exchange the two columns. [place]"
            )
    here = pl.lit(False)
    for file in turned:
        here = here | pl.col("source_file").eq_missing(pl.lit(file, pl.String))
    exchanged = {"lat": pl.when(here).then("lon").otherwise("lat"), "lon": pl.when(here).then("lat").otherwise("lon")}
    return frame.with_columns(**exchanged, turned_file=here), notes


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= value <= bounds[1]


def _swapped(row: Mapping[str, float], middle: tuple[float, float]) -> bool:
    """Return whether the site lies near the middle of its postal code with its coordinates exchanged."""
    ends = [pl.lit(x) for x in (row["lon"], row["lat"], *middle)]
    return float(pl.select(great_circle_mi(*ends)).item()) <= NEAR_MI


def _middle(sites: pl.DataFrame) -> tuple[float | None, float | None]:
    """Return the median latitude and longitude: half of the rows may be wrong before it moves away."""
    whole = sites.filter(NOT_BLANK)
    row = whole.select(pl.col("lat").cast(pl.Float64).median(), pl.col("lon").cast(pl.Float64).median()).row(0)
    return row[0], row[1]


def _near(lat: str, lon: str, shop: tuple[float | None, float | None], limit: float) -> pl.Expr:
    there = (pl.col(lat), pl.col(lon))
    off_shop = great_circle_mi(*there, pl.lit(shop[0]), pl.lit(shop[1]))
    off_code = great_circle_mi(*there, pl.col("zip_lat"), pl.col("zip_lon"))
    possible = pl.col(lat).is_between(-90, 90)
    return possible & ((off_shop <= limit).fill_null(False) | (off_code <= NEAR_MI).fill_null(False))


def _sentence(row: Mapping[str, object]) -> str:
    done = {
        "turned": "the other way round they lie among the other sites and are used so",
        "postal_code": "the middle of its postal code is used",
        None: "it cannot be driven to",
    }[row["how"] if isinstance(row["how"], str) else None]
    what = f"site {row['site_id']}: the coordinates {row['lat']:.6g}, {row['lon']:.6g} lie far from all other sites"
    line = f"{row['source_file']} line {row['source_line']}, " if row["source_line"] is not None else ""
    return f"{line}{what}; {done}. Correct latitude and longitude. [place]"
