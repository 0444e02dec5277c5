"""What a short kills: parts that carry its current and turn more into heat than they bear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.diagnosis.conditions import Desk
from seqsim.faults import Fault, Kind, single_faults
from seqsim.faults.together import KILLS
from seqsim.network import Patch, vary
from seqsim.network.network import Floats
from seqsim.parts.resistor import Resistor
from seqsim.solver.plain import active_conductance, gates_of
from seqsim.solver.state import State
from seqsim.solver.system import flatten

BEARS_WATTS = 1.0
"""Heat (W) that destroys a small part before long: some three times what its package is rated for (our judgement)."""
USUAL = 2.0
"""What a part turns into heat on a healthy board it bears, and this much more of it (our judgement)."""
POINTS = 3
"""Severities of a short at which the heat in other parts is looked at."""
SHORTS = frozenset({Kind.SHORT, Kind.BRIDGE, Kind.SHORTED})


@dataclass(frozen=True)
class Killed:
    """Chance (c, of all faults of the list) of a fault of the second name once the first has happened."""

    chance: Mapping[tuple[str, str], float]
    cause: Mapping[str, float]

    def prior(self, faults: Sequence[Fault]) -> float:
        """Return the prior of a pair of which one has killed the other, relative to single faults; 0 for others."""
        if len(faults) != 2:
            return 0.0
        one, two = faults
        return max(
            self.cause.get(a.name, 0.0) * self.chance.get((a.name, b.name), 0.0) for a, b in ((one, two), (two, one))
        )


def is_short(fault: Fault) -> bool:
    """Tell whether a fault is a contact that lets current flow."""
    return fault.kind in SHORTS or (fault.kind is Kind.PART and "short" in fault.name.partition(":")[2])


def killed_by(desk: Desk, faults: Sequence[Fault]) -> Killed:
    """Return which faults of parts the shorts among ``faults`` bring about.

    A part that a short heats beyond what it bears in any power state is dead with the chance `KILLS`; how it died is
    as its failures usually are.
    """
    shorts = list({fault.name: fault for fault in faults if is_short(fault)}.values())
    if not shorts:
        return Killed({}, {})
    modes: dict[str, list[Fault]] = {}
    for fault in single_faults(desk.circuit):
        if fault.kind is Kind.PART and not isinstance(desk.circuit.parts[fault.place], Resistor):
            modes.setdefault(fault.place, []).append(fault)
    chance: dict[tuple[str, str], float] = {}
    healthy, *shorted = heat(desk, [(), *(short.patches(_severities(short)) for short in shorts)])
    for short, watts in zip(shorts, shorted, strict=True):
        for part, hot in watts.items():
            if hot > max(BEARS_WATTS, USUAL * healthy.get(part, 0.0)) and part in modes and part not in short.places:
                total = sum(mode.prior for mode in modes[part])
                chance |= {(short.name, mode.name): KILLS * mode.prior / total for mode in modes[part]}
    return Killed(chance, {short.name: short.prior for short in shorts})


def heat(desk: Desk, patches: Sequence[tuple[Patch, ...]]) -> list[dict[str, float]]:
    """Return for each of some patches what each part turns into heat (W) at most, over power states and severities."""
    variants = [vary(desk.network, each) for each in patches]
    most: list[dict[str, float]] = [{} for _ in patches]
    for state, power in desk.circuit.power_states.items():
        if not power.on:
            continue
        solved = desk.benches[state].run(variants)
        item = 0
        for k, variant in enumerate(variants):
            owners = np.array([*variant.network.owners, *variant.port_owners])
            for severity in range(variant.severities):
                system = flatten(variant, severity)
                volts = np.append(solved.volts[item, : system.nodes], 0.0)
                own = State(solved.conducting[item, : len(system.alive)], solved.above[item], solved.ratios[item])
                amps = active_conductance(system, own, gates_of(system, variant.network.gate_default, own.above))
                watts = amps * system.across(volts) * (system.inject_weight * volts[system.inject_at]).sum(axis=1)
                for part in dict.fromkeys(owners[np.abs(watts) > BEARS_WATTS / 10].tolist()):
                    most[k][part] = max(most[k].get(part, 0.0), float(watts[owners == part].sum()))
                item += 1
    return most


def _severities(fault: Fault) -> float | Floats:
    return 1.0 if fault.severity is None else fault.severity.points(POINTS)
