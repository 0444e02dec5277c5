"""The kinds of readings, collected from their classes: a file in this folder is all that a new kind needs."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Iterator, Mapping

from seqsim.readings.kinds.kind import Kind, Site

for _module in pkgutil.iter_modules(__path__):
    importlib.import_module(f"{__name__}.{_module.name}")


def _below(subclasses: Iterable[type[Kind]]) -> Iterator[type[Kind]]:
    for subclass in subclasses:
        yield subclass
        yield from _below(subclass.__subclasses__())


def _collect() -> dict[str, Kind]:
    found = [kind() for kind in _below(Kind.__subclasses__()) if kind.__module__.startswith(f"{__name__}.")]
    return {kind.name: kind for kind in sorted(found, key=lambda kind: kind.name)}


KINDS: Mapping[str, Kind] = _collect()
"""The kinds by name."""

__all__ = ["KINDS", "Kind", "Site"]
