"""A long page's own list of its sections, made from its headings so that the two cannot differ."""

from __future__ import annotations

import re

from markupsafe import Markup

PLACE = '<nav class="contents" aria-label="On this page"></nav>'
"""Where a template wants the list."""

WORTH_A_LIST = 6
"""Sections from which on a reader looks for one faster in a list than by scrolling; a guess."""

_HEADING = re.compile(r'<h2 id="([^"]+)"[^>]*>(.*?)</h2>', re.DOTALL)
_TAG = re.compile(r"<[^>]+>")


def with_contents(content: Markup) -> Markup:
    """Return the page's rendered content with a link to each of its sections; a short page gets no list.

    The headings come out of the template already escaped and are put in as they are, without their inner tags.
    """
    before, found, after = content.partition(PLACE)
    if not found:
        return content
    headings = _HEADING.findall(after)
    if len(headings) < WORTH_A_LIST:
        return Markup(before + after)
    items = "".join(f'<li><a href="#{key}">{_TAG.sub("", text).strip()}</a></li>\n' for key, text in headings)
    opened = PLACE.removesuffix("</nav>")
    return Markup(f"{before}{opened}\n<ul>\n{items}</ul>\n</nav>{after}")
