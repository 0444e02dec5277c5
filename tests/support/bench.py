"""A bench for tests of part families: supplies and parts on nets, solved without a circuit file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from seqsim.network import Builder, Network, Owned, Patch, vary
from seqsim.parts.part import Part
from seqsim.parts.supply import Supply
from seqsim.solver import Levels, flatten, static_gates
from seqsim.solver.plain import all_off, carried, settle
from seqsim.solver.state import State


def network(supplies: Iterable[Supply], parts: Iterable[Part]) -> Network:
    """Return the network of supplies and parts."""
    builder = Builder()
    owners: list[Supply | Part] = []
    for supply in supplies:
        builder.pin(f"{supply.name}:entry", supply.net)
        owners.append(supply)
    for part in parts:
        for pin, net in part.pins.items():
            builder.pin(f"{part.name}.{pin}", net)
        owners.append(part)
    for owner in owners:
        owner.emit(Owned(builder, owner.name))
    return builder.freeze()


class Bench:
    """Supplies and parts, with all supplies applied unless told otherwise."""

    def __init__(self, supplies: Mapping[str, float | Supply], parts: Iterable[Part]) -> None:
        self.supplies = {
            name: made if isinstance(made, Supply) else Supply(name=name, net=name, volts=made, ohms=1e-3)
            for name, made in supplies.items()
        }
        self.network = network(self.supplies.values(), parts)

    def solve(
        self, *patches: Patch, absent: Iterable[str] = (), low: Iterable[str] = (), start: State | None = None
    ) -> Levels:
        """Return the levels with some supplies not applied, or tied to 0 V."""
        missing, tied = set(absent), set(low)
        gates = {supply.applied: name not in missing | tied for name, supply in self.supplies.items()}
        gates |= {supply.idle_low: name in tied for name, supply in self.supplies.items()}
        system = flatten(vary(self.network, patches))
        return settle(system, static_gates(self.network, gates), carried(start, system) if start else all_off(system))
