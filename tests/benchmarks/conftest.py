"""Benchmarks of pages use the browser of the page tests."""

from tests.browser.conftest import browser as browser
