"""Contexts in, HTML text out; every value is escaped whatever its template is called."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from reports import advice, claim_words, format
from reports.charts.theme import BASE
from reports.contents import with_contents
from reports.links import Links
from reports.page import Page, Site

OWN_ASSETS = ("site.css", "site.js", "round.css")
CHART_LIBRARY = "plotly.min.js"
FORMATS = (
    "day",
    "rated_from",
    "number",
    "ounces",
    "signed",
    "money",
    "chance",
    "about",
    "cut",
    "name",
    "words",
    "doubt",
    "dialled",
    "delimiter",
    "capacitor_size",
    "section",
    "field_label",
    "kept_together",
    "reason_text",
)


@cache
def environment() -> Environment:
    """Return the template environment: autoescape forced on, an unknown name is an error."""
    made = Environment(
        loader=PackageLoader("reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
    made.policies["json.dumps_kwargs"] = {"sort_keys": True, "separators": (",", ":")}
    for filter_name in FORMATS:
        made.filters[filter_name] = getattr(format, filter_name)
    made.filters["of"] = format.count
    made.filters["cause"] = advice.label
    made.filters["with_contents"] = with_contents
    made.globals["chance_words"] = format.chance_range
    made.globals["known_as"] = format.known_as
    made.globals["part_and_quantity"] = claim_words.part_and_quantity
    made.globals["CHART_BASE"] = BASE
    made.globals["TITLE_SHOWN"] = format.TITLE_SHOWN
    made.globals["screening"] = advice.SCREENING
    made.globals["defer"] = advice.DEFER
    return made


def compile_templates() -> None:
    """Compile every template now, so that the first pages need not wait for it."""
    for name in environment().list_templates(extensions=["j2"]):
        environment().get_template(name)


@cache
def assets() -> Mapping[str, tuple[str, bytes]]:
    """Return every asset: plain name to (name with its content hash, bytes)."""
    found = {name: resources.files("reports").joinpath("assets", name).read_bytes() for name in OWN_ASSETS}
    found[CHART_LIBRARY] = resources.files("plotly").joinpath("package_data", CHART_LIBRARY).read_bytes()
    return {name: (_hashed(name, content), content) for name, content in found.items()}


def _hashed(name: str, content: bytes) -> str:
    stem, _, ending = name.rpartition(".")
    return f"{stem}-{hashlib.sha256(content).hexdigest()[:12]}.{ending}"


def render(page: Page, context: Any, site: Site, links: Links, menu: tuple[Page, ...]) -> str:
    """Return one HTML document."""
    template = environment().get_template(page.template)
    return template.render(page=page, it=context, site=site, links=links, menu=menu, stamp=links.generation)
