"""Worked examples of textbooks: a circuit as text, solved as a whole and read as on the bench."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np

from seqsim.circuit import Circuit, compile_network, parse_circuit, state_gates
from seqsim.faults import find_fault, middle
from seqsim.network import Network, Patch
from seqsim.readings import measurement, parse_reading
from seqsim.solver import Levels, Steadiness, currents, solve

STATE = "on"
"""The one power state besides `off`: all supplies are applied."""


def text(supplies: Mapping[str, float | str], parts: str) -> str:
    """Return a circuit file: ideal sources by their volts (10 mΩ), or supplies in full; one part a line."""
    sources = [
        f"  {name}: {given if isinstance(given, str) else f'{{volts: {given}, ohms: 10m}}'}"
        for name, given in supplies.items()
    ]
    lines = [f"  {line.strip()}" for line in parts.strip().splitlines()]
    state = f"power_states: {{{STATE}: {{on: [{', '.join(supplies)}]}}}}"
    return "\n".join(["format: 1", "supplies:", *sources, state, "parts:", *lines, ""])


class Worked:
    """A worked example, read through the circuit file into levels and currents."""

    def __init__(self, supplies: Mapping[str, float | str], parts: str) -> None:
        self.circuit: Circuit = parse_circuit(text(supplies, parts), "worked.yaml")
        self.network: Network = compile_network(self.circuit)

    def solve(self, *patches: Patch, state: str = STATE) -> Levels:
        """Return the steady levels with some patches."""
        levels = solve(self.network, patches, state_gates(self.circuit, state))
        assert levels.steadiness is Steadiness.STEADY
        return levels

    @cached_property
    def levels(self) -> Levels:
        """The healthy levels, nothing connected to the board."""
        return self.solve()

    def volts(self, place: str) -> float:
        """Return the healthy level of a place."""
        return self.levels.at(place)

    def amps(self, pin: str) -> float:
        """Return the healthy current (A) into a pin, from the hinges of its part."""
        network = self.network
        terminal = network.terminal_index[pin]
        hinges = network.hinges_of[pin.partition(".")[0]]
        here = np.where(network.hinges.inject_at == terminal, network.hinges.inject_weight[0], 0.0).sum(axis=1)
        return float(here[hinges] @ currents(self.levels)[hinges])

    def shown(self, reading: str, faults: Iterable[Patch] = ()) -> float:
        """Return what a meter shows for a reading whose written value is ignored: `B 0`, `A to B 0`."""
        made = measurement(self.circuit, parse_reading(self.circuit, reading))
        levels = self.solve(*faults, *made.patches, state=made.state)
        return float(made.convert(levels.at(made.plus) - levels.at(made.minus)))

    def fault(self, name: str, severity: float | None = None) -> tuple[Patch, ...]:
        """Return the patches of a fault by name, at a severity or in the middle of its range."""
        found, told = find_fault(self.circuit, name)
        given = severity if severity is not None else told
        return found.patches(middle(found.severity) if given is None else given)
