"""The registry of pages: every module here that declares a ``PAGE``; menu, link test and golden test follow from it."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Mapping
from typing import Any, Protocol, cast

import polars as pl

from reports.page import Page, Site


class PageModule(Protocol):
    """What a module of this folder offers."""

    PAGE: Page

    @staticmethod
    def build(frames: Mapping[str, pl.DataFrame], site: Site, /) -> Any:
        """Return the page's context, or one context per document where ``PAGE.many``."""


def all_pages(paths: Iterable[str] | None = None) -> tuple[PageModule, ...]:
    """Return the page modules in the order of the menu."""
    found = []
    for info in pkgutil.iter_modules(list(__path__) if paths is None else list(paths)):
        module = importlib.import_module(f"{__name__}.{info.name}")
        if hasattr(module, "PAGE"):
            found.append(cast(PageModule, module))
    return tuple(sorted(found, key=lambda module: (module.PAGE.order, module.PAGE.slug)))
