"""A board on the bench: parts within their tolerances, a fault until it is repaired, and a meter with its error."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from measured_boards import desk_of, displayed, drawn_network, drawn_severity, handled, seen

from seqsim.circuit import Circuit, compile_network
from seqsim.diagnosis.hypotheses import listed
from seqsim.network import Network
from seqsim.readings import METER, Probe, Reading, format_reading, measurement, parse_reading


@dataclass
class OnTheBench:
    """One board of a circuit; ``fault`` is what it has until it is repaired."""

    circuit: Circuit
    fault: str
    seed: int = 1
    repaired: bool = False
    random: np.random.Generator = field(init=False)
    network: Network = field(init=False)

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(self.seed)
        self.network = drawn_network(compile_network(self.circuit), self.random)
        self.desk = desk_of(self.circuit, self.network)
        (hypothesis,) = (each for each in listed(self.circuit) if each.name == self.fault)
        self.patches = hypothesis.modes[0].patches(drawn_severity(hypothesis, self.random))

    def read(self, step: Mapping[str, Any]) -> str:
        """Take the reading of a field of `next` or `verify`, or one that is named like it; return it in shorthand."""
        if "write" in step:
            return format_reading(self.taken(parse_reading(self.circuit, step["write"]).probe()))
        return format_reading(
            self.taken(Probe(kind=step["kind"], place=step["place"], to=step["to"], state=step["state"]))
        )

    def taken(self, probe: Probe) -> Reading:
        """Return what the meter shows."""
        made = measurement(self.circuit, probe, METER)
        variant = handled(self.network, () if self.repaired else self.patches, made)
        found = seen(self.desk, [variant], (made,))
        (reading,) = displayed((probe,), (made,), found.tips[0], self.random)
        return reading
