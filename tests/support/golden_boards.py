"""Boards whose volts SPICE found once, read by a simulated meter; no engine is needed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from measured_boards import displayed

from seqsim.circuit import Circuit
from seqsim.readings import Probe, Reading, measurement

CIRCUIT = "inverting_npn"
GOLDEN = Path(__file__).parents[1] / "diagnosis" / "golden" / "blind.json"


def key_of(probe: Probe) -> str:
    """Return the name under which the volts of a reading are kept."""
    return " ".join((probe.kind, probe.place, probe.to or "", probe.state))


def golden() -> list[dict[str, Any]]:
    """Return the boards."""
    return list(json.loads(GOLDEN.read_text(encoding="utf-8")))


class GoldenBoard:
    """One board with one meter; what was not kept cannot be read."""

    def __init__(self, circuit: Circuit, kept: dict[str, Any], random: np.random.Generator) -> None:
        self.circuit, self.random = circuit, random
        self.fault, self.tips = str(kept["fault"]), dict(kept["tips"])
        self.gains: dict[str, float] = {}

    def read(self, probe: Probe) -> Reading | None:
        """Return what the meter shows, or None."""
        tip = None if probe.interventions else self.tips.get(key_of(probe))
        if tip is None:
            return None
        each = measurement(self.circuit, probe)
        return displayed([probe], [each], np.array([tip]), self.random, self.gains)[0]
