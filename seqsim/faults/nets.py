"""The nets of a circuit and what lies on them, as faults need them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from seqsim.circuit import Circuit
from seqsim.network import GROUND
from seqsim.parts.supply import Supply

SIGNAL_OHMS = 100.0
"""A supply behind at least this resistance (Ω) is a signal of another board: our judgement."""


def is_signal(supply: Supply) -> bool:
    """Tell a signal of another board from a source of power."""
    return supply.ohms >= SIGNAL_OHMS


@dataclass(frozen=True)
class Nets:
    """What the generators of faults ask of a circuit, each answer worked out once."""

    circuit: Circuit

    @cached_property
    def pins_on(self) -> dict[str, tuple[str, ...]]:
        """Pins and supply entries on each net, ground included."""
        return {GROUND: ()} | self.circuit.nets()

    def joins(self, net: str, pins: int) -> bool:
        """Tell whether a net has more than so many pins, so that their joint matters; ground always has."""
        return net in self.circuit.grounds or len(self.pins_on[net]) > pins

    @cached_property
    def signals(self) -> tuple[str, ...]:
        """All nets but ground."""
        return tuple(net for net in self.pins_on if net != GROUND)

    @cached_property
    def power(self) -> tuple[str, ...]:
        """Nets that carry power: those of rails, and of supplies that are no signals of another board."""
        nets = [s.net for s in self.circuit.supplies.values() if not is_signal(s)]
        nets += [rail.net for rail in self.circuit.rails.values()]
        return tuple(net for net in dict.fromkeys(nets) if net != GROUND)

    @cached_property
    def packages(self) -> dict[str, tuple[str, ...]]:
        """Parts of each package; a part that names none is a package of its own."""
        found: dict[str, list[str]] = {}
        for name, part in self.circuit.parts.items():
            found.setdefault(part.package or name, []).append(name)
        return {package: tuple(parts) for package, parts in found.items()}
