"""Readings sorted by what has to be solved for them: a power state, and what is done to the board."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from seqsim.circuit import Circuit, compile_network, state_gates
from seqsim.network import Bridge, Network, Patch, Source, Variant, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings.measurement import Measurement
from seqsim.solver import Levels, solve_variant, static_gates

if TYPE_CHECKING:
    from seqsim.diagnosis.batches import Batches
    from seqsim.diagnosis.branch import Branch
    from seqsim.diagnosis.rank import Diagnosis
    from seqsim.diagnosis.table import Surveyed
    from seqsim.readings import Readings
    from seqsim.solver.batch import Bench, Probes


@dataclass(frozen=True)
class Condition:
    """One power state with one set of interventions, and the readings that are taken in it.

    ``readings`` are their numbers; ``siemens``, ``volts`` and ``most`` (r,) say what each meter is, see `Probes`.
    """

    state: str
    patches: tuple[Patch, ...]
    readings: Ints
    tips: tuple[tuple[str, str], ...]
    heated: tuple[str | None, ...]
    """the part whose dissipation is read, instead of volts"""
    siemens: Floats
    volts: Floats
    most: Floats

    def only(self, chosen: Sequence[int]) -> Condition:
        """Return the condition with some of its readings, by their places in it."""
        at = np.array(chosen, dtype=np.int64)
        return Condition(
            self.state, self.patches, self.readings[at], tuple(self.tips[k] for k in chosen),
            tuple(self.heated[k] for k in chosen), self.siemens[at], self.volts[at], self.most[at],
        )  # fmt: skip

    def alone(self) -> Condition:
        """Return the condition with its readings numbered from zero."""
        return replace(self, readings=np.arange(len(self.readings)))

    def probes(self, variants: Sequence[Variant]) -> Probes:
        """Return the readings of this condition on each variant; a tip follows the pin that it touches."""
        from seqsim.solver.batch import Probes

        at = np.zeros((len(variants), len(self.tips), 2), dtype=np.int64)
        drawn: list[tuple[int, int]] | None = None
        for k, variant in enumerate(variants):
            if variant.as_drawn:
                drawn = drawn or [(_node(variant, a), _node(variant, b)) for a, b in self.tips]
                at[k] = drawn
            else:
                at[k] = [(_node(variant, a), _node(variant, b)) for a, b in self.tips]
        return Probes(
            np.ascontiguousarray(at[:, :, 0]), np.ascontiguousarray(at[:, :, 1]), self.siemens, self.volts, self.most
        )


def _node(variant: Variant, place: str) -> int:
    """Node of a tip; a reading that has no tips (what a part dissipates) is taken at ground."""
    return variant.node(place) if place else -1


@dataclass(frozen=True)
class Desk:
    """A circuit made ready for diagnosis: its network, and one factorised bench for each power state."""

    circuit: Circuit
    network: Network
    benches: Mapping[str, Bench]
    surveyed: dict[tuple[tuple[str, ...], tuple[str, ...]], Surveyed] = field(
        default_factory=dict, repr=False, compare=False
    )
    """predictions so far, by power states and names of the listed hypotheses: further readings begin with them"""
    branched: dict[tuple[Hashable, ...], tuple[Branch, ...]] = field(default_factory=dict, repr=False, compare=False)
    """branches of whole lists of hypotheses: predictions and look-alikes both begin with them"""
    sets: dict[tuple[str, ...], Batches] = field(default_factory=dict, repr=False, compare=False)
    """sets of faults that were weighed so far, by power states"""
    latest: list[tuple[Readings, Diagnosis]] = field(default_factory=list, repr=False, compare=False)
    """the readings that were ranked last, and what came of them: what is to be read next is asked after a ranking"""
    stored: bool = False
    """whether they are kept on disk, too"""

    def static(self, state: str) -> Bools:
        """Return the static gates of a power state."""
        return self.benches[state].static


def desk(circuit: Circuit, *, stored: bool = False) -> Desk:
    """Solve the healthy board in each power state, in their order, and factorise it there.

    What is predicted from it is kept on disk if ``stored``.
    """
    from seqsim.solver.batch import bench

    network = compile_network(circuit)
    healthy = vary(network)
    benches: dict[str, Bench] = {}
    levels: Levels | None = None
    for state in circuit.power_states:
        static = static_gates(network, state_gates(circuit, state))
        levels = solve_variant(healthy, static, None if levels is None else levels.state)
        benches[state] = bench(network, static, levels)
    return Desk(circuit, network, benches, stored=stored)


def conditions(measurements: Sequence[Measurement]) -> tuple[Condition, ...]:
    """Group measurements by power state and by what is done to the board."""
    groups: dict[tuple[str, tuple[Patch, ...]], list[int]] = {}
    meters: list[tuple[float, float, float]] = []
    for number, each in enumerate(measurements):
        done, meter = _split(each)
        groups.setdefault((each.state, done), []).append(number)
        meters.append(meter)
    return tuple(
        Condition(
            state,
            done,
            np.array(numbers, dtype=np.int64),
            tuple((measurements[k].plus, measurements[k].minus) for k in numbers),
            tuple(measurements[k].part for k in numbers),
            *(np.array([meters[k][field] for k in numbers], dtype=np.float64) for field in range(3)),
        )
        for (state, done), numbers in groups.items()
    )


def _split(each: Measurement) -> tuple[tuple[Patch, ...], tuple[float, float, float]]:
    """Tell what is done to the board from the meter itself: conductance, volts, threshold of its limit."""
    *done, last = each.patches or (None,)
    match last:
        case Bridge(owner="meter"):
            return tuple(done), (float(last.siemens), 0.0, np.inf)
        case Source(owner="meter"):
            ohms, volts = float(last.ohms), float(last.volts)
            most = np.inf if last.amps is None else float(last.amps) * ohms - volts
            return tuple(done), (1 / ohms, volts, most)
    return each.patches, (0.0, 0.0, np.inf)
