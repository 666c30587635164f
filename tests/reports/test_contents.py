"""The list of a long page's sections: every heading once, escaped as it was, none on a short page."""

from __future__ import annotations

import pytest
from markupsafe import Markup

from reports.contents import PLACE, WORTH_A_LIST, with_contents


def page(headings: list[str]) -> Markup:
    return Markup(
        "<h1>Parts</h1>\n" + PLACE + "\n" + "".join(f'<h2 id="h{n}">{h}</h2>' for n, h in enumerate(headings))
    )


def test_each_section_is_named_once_in_its_order():
    made = with_contents(page([f"Part {n}" for n in range(WORTH_A_LIST)]))
    listed = made.partition("</nav>")[0]
    assert [f'href="#h{n}">Part {n}<' in listed for n in range(WORTH_A_LIST)] == [True] * WORTH_A_LIST
    assert listed.count("<li>") == WORTH_A_LIST


def test_a_hostile_heading_stays_escaped_and_inner_tags_go():
    made = with_contents(page(["&lt;script&gt; <small>3 units</small>"] * WORTH_A_LIST))
    assert '">&lt;script&gt; 3 units</a>' in made
    assert "<script" not in made


@pytest.mark.parametrize("headings", [[], ["only"], ["a"] * (WORTH_A_LIST - 1)])
def test_a_short_page_has_no_list(headings):
    made = with_contents(page(headings))
    assert "<nav" not in made
    assert made.count("<h2") == len(headings)


def test_a_page_that_wants_none_is_left_as_it_is():
    content = Markup('<h2 id="a">A</h2>' * 9)
    assert with_contents(content) == content
