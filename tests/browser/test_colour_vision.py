"""Marks that mean different things look different under the four colour-vision deficiencies that Chromium emulates."""

from __future__ import annotations

import base64
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from tests.browser.test_pages_in_chromium import Visit

pytestmark = [pytest.mark.browser, pytest.mark.thorough]

DEFICIENCIES = ["protanopia", "deuteranopia", "tritanopia", "achromatopsia"]
SEEN = 40
"""A step of grey, of 255, that is seen at a glance (own choice)."""
SHARE = 0.03
"""Of the mark's area that must differ so much."""
DECODE = """async png => {
    const image = new Image();
    image.src = "data:image/png;base64," + png;
    await image.decode();
    const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext("2d");
    pen.drawImage(image, 0, 0);
    return [image.height, image.width, [...pen.getImageData(0, 0, image.width, image.height).data]];
}"""

Picture = npt.NDArray[np.float64]


def picture(page: Any, png: bytes) -> Picture:
    high, wide, values = page.evaluate(DECODE, base64.b64encode(png).decode())
    return np.array(values, np.float64).reshape(high, wide, 4)[:, :, :3]


def differ(one: Picture, other: Picture) -> bool:
    high, wide = min(one.shape[0], other.shape[0]), min(one.shape[1], other.shape[1])
    step = np.abs(one[:high, :wide] - other[:high, :wide]).max(axis=2)
    return float((step > SEEN).mean()) > SHARE


def test_pictures_that_differ_only_in_a_hue_that_is_lost_do_not_differ() -> None:
    grey = np.full((14, 24, 3), 120.0)
    assert not differ(grey, grey + 10)
    assert differ(grey, np.where(np.arange(24)[None, :, None] < 3, 20.0, grey))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_marks_of_a_key_differ(browser: Any, sites: dict[str, Path], deficiency: str, scheme: str) -> None:
    page_of = next(sites["hostile"].glob("*/unit/u-015*.html"))
    with Visit(browser, page_of, color_scheme=scheme) as visit:
        session = visit.context.new_cdp_session(visit.page)
        session.send("Emulation.setEmulatedVisionDeficiency", {"type": deficiency})
        compared = 0
        for key in visit.page.locator(".key").all():
            marks = {
                item.inner_text().strip(): picture(visit.page, item.locator("svg").screenshot())
                for item in key.locator("li:has(svg)").all()
            }
            assert len(marks) == key.locator("li:has(svg)").count()
            for (name, one), (other_name, other) in combinations(marks.items(), 2):
                assert differ(one, other), (name, other_name)
                compared += 1
        assert compared > 5
