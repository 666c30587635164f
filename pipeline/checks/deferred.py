"""Stands in for modules that a library imports and that nothing here uses, until something does use them."""

from __future__ import annotations

import importlib
import sys
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any


class _Deferred(ModuleType):
    """A module that is imported when it is first asked for anything.

    ``importlib.util.LazyLoader`` would load at once here: a second import statement asks for ``__spec__``.
    """

    def __getattr__(self, name: str) -> Any:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(importlib.import_module(self.__name__), name)


def defer(*names: str) -> None:
    """Put off the import of modules, by full name, that are not imported yet."""
    for name in names:
        if name not in sys.modules:
            sys.modules[name] = module = _Deferred(name)
            module.__spec__ = ModuleSpec(name, loader=None)
