"""A small board made ready once, and what its readings say."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.diagnosis import Diagnosis, Ranking, diagnose
from seqsim.diagnosis.alike import Alike, look_alikes
from seqsim.diagnosis.conditions import Desk, desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.report import ranking
from seqsim.readings import Readings, parse_reading


@cache
def made_ready(name: str) -> tuple[Circuit, Desk, Alike]:
    """Return a library circuit with what does not depend on readings."""
    circuit = read_circuit(library()[name])
    at = desk(circuit)
    return circuit, at, look_alikes(at, listed(circuit))


@pytest.fixture
def ready() -> Callable[[str], tuple[Circuit, Desk, Alike]]:
    """Make a library circuit ready, once."""
    return made_ready


Ranked = Callable[..., tuple[Diagnosis, Ranking]]


@pytest.fixture
def ranked() -> Ranked:
    """Rank readings in shorthand on a library circuit."""

    def work(name: str, *texts: str) -> tuple[Diagnosis, Ranking]:
        circuit, at, _ = made_ready(name)
        taken = tuple(parse_reading(circuit, text) for text in texts)
        found = diagnose(circuit, Readings(readings=taken), at=at)
        return found, ranking(found, taken)

    return work
