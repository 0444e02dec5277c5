"""Samples of the measured truth on disk, so that a run that was ended goes on where it was."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import seqsim
from seqsim.circuit import find_circuit
from seqsim.spice.compare import Basin

if TYPE_CHECKING:
    from seqsim.spice.truth import Job, Sample

FOLDERS = ("network", "parts", "circuit", "solver", "faults")
FILES = tuple(f"spice/{name}.py" for name in ("causes", "compare", "deck", "engine", "models", "truth"))
"""What of the package decides a sample."""


def stored(folder: Path, job: Job, run: Callable[[Job], list[Sample]]) -> list[Sample]:
    """Return the samples of a job: those that lie in the folder for the same code and circuit, or those of a run."""
    path = folder / f"{job.circuit}-{job.basin.value}-{_digest(job)}.json"
    if path.exists():
        return [_sample(item) for item in json.loads(path.read_text(encoding="utf-8"))]
    found = run(job)
    folder.mkdir(parents=True, exist_ok=True)
    new = path.with_suffix(".new")
    new.write_text(json.dumps([_plain(each) for each in found]), encoding="utf-8")
    new.replace(path)
    return found


def _digest(job: Job) -> str:
    text = find_circuit(job.circuit).read_bytes()
    return hashlib.sha256(_code() + text + repr(job.faults).encode()).hexdigest()[:20]


@cache
def _code() -> bytes:
    root = Path(seqsim.__file__).parent
    files = sorted(path for name in FOLDERS for path in (root / name).rglob("*.py")) + [root / name for name in FILES]
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).digest()


def _plain(sample: Sample) -> dict[str, Any]:
    fields = dict(vars(sample))
    fields["basin"] = sample.basin.value
    fields["errors"] = [round(float(volts), 7) for volts in sample.errors]
    fields["moved"] = np.flatnonzero(sample.moved).tolist()
    fields["floating"] = np.flatnonzero(sample.floating).tolist()
    fields["listed"] = [vars(each) for each in sample.listed]
    return fields


def _sample(fields: dict[str, Any]) -> Sample:
    from seqsim.spice.truth import Disagreement, Sample

    count = len(fields["errors"])
    masks = {name: np.isin(np.arange(count), fields[name]) for name in ("moved", "floating")}
    listed = tuple(Disagreement(**each) for each in fields["listed"])
    errors = np.array(fields["errors"], dtype=np.float64)
    return Sample(**fields | masks | {"basin": Basin(fields["basin"]), "errors": errors, "listed": listed})
