"""Look-alikes kept on disk: they depend on the circuit alone, and take longest to work out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path

from platformdirs import user_cache_path

import seqsim
from seqsim.circuit import Circuit
from seqsim.diagnosis.alike import Alike

KEPT = 200
"""Circuits whose look-alikes are kept, the latest used ones; each takes some tens of kilobytes."""


def kept_or(circuit: Circuit, work_out: Callable[[], Alike], listing: str = "") -> Alike:
    """Return the look-alikes of a circuit from disk, or work them out and keep them.

    ``listing`` tells which faults the list has, where it is not that of the catalogue.
    """
    path = _folder() / f"{circuit_key(circuit, listing)}.json"
    try:
        members = json.loads(path.read_text(encoding="utf-8"))
        path.touch()
        return Alike.of({int(group): tuple(names) for group, names in members.items()})
    except (OSError, ValueError, AttributeError, TypeError):
        # nothing there, or not what was written: it is made anew
        found = work_out()
        _keep(path, found)
        return found


def _keep(path: Path, found: Alike) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".part")
        fresh.write_text(json.dumps(dict(found.members)), encoding="utf-8")
        fresh.replace(path)
        stale = sorted(path.parent.glob("*.json"), key=lambda other: other.stat().st_mtime, reverse=True)[KEPT:]
        for other in stale:
            other.unlink(missing_ok=True)
    except OSError:  # a read-only or full disk costs time, not the answer
        return


def _folder() -> Path:
    return user_cache_path("seqsim") / "alike"


def circuit_key(circuit: Circuit, asked: str) -> str:
    """Return a name for what was worked out of a circuit; another version of this package has other names."""
    content = circuit.model_dump_json(exclude={"file", "lines", "title", "about"})
    return hashlib.sha256(f"{_sources()}{content}{asked}".encode()).hexdigest()[:32]


@cache
def _sources() -> str:
    """Return a hash of the package: a changed law or prior changes what looks alike."""
    total = hashlib.sha256()
    for path in sorted(Path(seqsim.__file__).parent.rglob("*.py")):
        total.update(path.read_bytes())
    return total.hexdigest()
