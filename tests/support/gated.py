"""Networks of gates as text: combinational circuits with each input from a source of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from seqsim.circuit import Circuit, compile_network, parse_circuit
from seqsim.network import Network, Patch, SetGate, vary
from seqsim.network.network import Bools
from seqsim.solver import Steadiness, flatten, static_gates
from seqsim.solver.plain import all_off, settle

VCC = 3.3


class Gated:
    """Gates of two inputs on one supply; ``gates`` gives kind and input nets by the output's net.

    The gate that drives net `n` is called `Un`.
    """

    def __init__(self, inputs: Sequence[str], gates: Mapping[str, tuple[str, str, str]]) -> None:
        self.inputs = tuple(inputs)
        self.gates = dict(gates)
        supplies = [f"  VCC: {{volts: {VCC}}}", *(f"  {net}: {{volts: {VCC}, ohms: 100, idle: low}}" for net in inputs)]
        parts = [
            f"  U{net}: {{kind: {kind}, pins: {{A: {a}, B: {b}, Y: {net}, VCC: VCC, GND: GND}}}}"
            for net, (kind, a, b) in gates.items()
        ]
        everything = ", ".join(("VCC", *inputs))
        text = ["format: 1", "supplies:", *supplies, f"power_states: {{on: {{on: [{everything}]}}}}", "parts:", *parts]
        self.circuit: Circuit = parse_circuit("\n".join(text) + "\n", "gates.yaml")
        self.network: Network = compile_network(self.circuit)

    def patterns(self) -> list[tuple[bool, ...]]:
        """Return all input patterns, counting up with the last input fastest."""
        count = len(self.inputs)
        return [tuple(bool(k >> (count - 1 - i) & 1) for i in range(count)) for k in range(1 << count)]

    def static(self, pattern: Sequence[bool]) -> Bools:
        """Return the static gates of an input pattern: a low input is tied to ground through its source."""
        gates = {"VCC:applied": True}
        for net, high in zip(self.inputs, pattern, strict=True):
            gates |= {f"{net}:applied": high, f"{net}:idle low": not high}
        return static_gates(self.network, gates)

    def outputs(self, nets: Sequence[str], patterns: Sequence[Sequence[bool]], patches: Sequence[Patch] = ()) -> Bools:
        """Return whether each net is high for each input pattern, shape (patterns, nets); levels must be clear."""
        system = flatten(vary(self.network, patches))
        state, found = all_off(system), []
        for pattern in patterns:
            levels = settle(system, self.static(pattern), state)
            assert levels.steadiness is Steadiness.STEADY
            volts = np.array([levels.at(net) for net in nets])
            assert np.all((volts < 0.35 * VCC) | (volts > 0.65 * VCC))
            found.append(volts > VCC / 2)
            state = levels.state
        return np.array(found)

    def stuck(self, net: str, *, high: bool) -> tuple[Patch, ...]:
        """Return the patches of a gate whose output stays where it is told."""
        return (SetGate(f"U{net}:Y high", high), SetGate(f"U{net}:Y low", not high))
