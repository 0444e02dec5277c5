"""The part families: one file a family, found by walking the classes, never by a list."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import get_args

from seqsim.parts.part import (
    COMMON,
    JUDGED,
    UNKNOWN,
    UNKNOWN_SPREAD,
    Mode,
    Part,
    PartError,
    Rate,
    Severity,
    Source,
    Standing,
    Value,
    value,
)
from seqsim.parts.supply import Supply

__all__ = [
    "COMMON",
    "JUDGED",
    "KINDS",
    "UNKNOWN",
    "UNKNOWN_SPREAD",
    "Mode",
    "Part",
    "PartError",
    "Rate",
    "Severity",
    "Source",
    "Standing",
    "Supply",
    "Value",
    "value",
]


def _families(above: type[Part]) -> Iterator[type[Part]]:
    for family in above.__subclasses__():
        if not inspect.isabstract(family):
            yield family
        yield from _families(family)


def _collect() -> Mapping[str, type[Part]]:
    for module in pkgutil.iter_modules(__path__):
        importlib.import_module(f"{__name__}.{module.name}")
    found = {
        kind: family
        for family in _families(Part)  # type: ignore[type-abstract]
        if family.__module__.startswith(f"{__name__}.")
        for kind in get_args(family.model_fields["kind"].annotation)
    }
    return MappingProxyType(dict(sorted(found.items())))


KINDS: Mapping[str, type[Part]] = _collect()
"""The class of each kind that a circuit file can name."""
