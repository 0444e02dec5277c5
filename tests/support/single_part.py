"""One part alone: a network of its pins, and the currents that flow into it at given voltages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from seqsim.network import Builder, Network, Owned, Patch, Variant, vary
from seqsim.network.network import Floats
from seqsim.parts import KINDS, Part

NAME = "X1"
NEEDED: dict[str, dict[str, Any]] = {
    "resistor": {"ohms": 4700.0},
    "capacitor": {"farads": 1e-7},
    "load": {"amps": 0.05},
    "regulator": {"volts": 3.3},
    "supervisor": {"threshold": 2.93},
    "black_box": {"pins": {"A": "A", "OUT": "OUT", "VCC": "VCC", "GND": "GND"}, "high_when": "A > 1"},
}
"""Values of a sample of each kind that has no model to take them from."""


def part(kind: str, **values: Any) -> Part:
    """Return a part of a kind, its pins on nets of their names."""
    family, needed = KINDS[kind], NEEDED.get(kind, {})
    filled = values if "ohms" in values or "amps" in values else needed | values
    pins = filled.get("pins") or {pin: pin for pin in family.pins_for(filled)}
    return family(**{"name": NAME, "kind": kind} | filled | {"pins": pins})


def network(what: Part) -> Network:
    """Return the network of one part, each pin on a net of its own, none of them grounded."""
    builder = Builder()
    for pin in what.pins:
        builder.pin(what.pin(pin), f"net {pin}")
    what.emit(Owned(builder, what.name))
    return builder.freeze()


def currents(
    what: Part,
    volts: Mapping[str, float],
    *,
    patches: tuple[Patch, ...] = (),
    gates: Mapping[str, bool] | None = None,
) -> dict[str, float]:
    """Return the current (A) into each pin at given pin voltages (V), the inner points settled.

    Gates stand at their defaults unless ``gates`` says otherwise; rules are not worked out.
    """
    variant = vary(network(what), patches)
    pins, size = tuple(what.pins), len(variant.network.node_names)
    hinges = _Hinges(variant, gates or {})
    level = np.zeros(size)
    level[: len(pins)] = [volts[pin] for pin in pins]
    if size > len(pins):
        assert size == len(pins) + 1, "one inner point can be settled"

        def excess(inner: float) -> float:
            level[-1] = inner
            return float(hinges.drawn(level)[-1])

        level[-1] = root(excess, min(volts.values()) - 50, max(volts.values()) + 50)
    drawn = hinges.drawn(level)
    return {pin: float(drawn[k]) for k, pin in enumerate(pins)}


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function crosses zero between ``low`` and ``high``, by halving."""
    assert function(low) <= 0 <= function(high), "no crossing between the ends"
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return (low + high) / 2


def power(drawn: Mapping[str, float], volts: Mapping[str, float]) -> float:
    """Return the power (W) that a part takes from its pins."""
    return sum(amps * volts[pin] for pin, amps in drawn.items())


class _Hinges:
    """The hinges of a variant that can carry current, as plain matrices over its nodes."""

    def __init__(self, variant: Variant, gates: Mapping[str, bool]) -> None:
        network = variant.network
        on = network.gate_default.copy()
        for name, state in gates.items():
            on[network.gate_index[name]] = state
        on = np.where(variant.gate_force >= 0, variant.gate_force == 1, on)
        kept = np.setdiff1d(np.arange(len(network.owners)), variant.replaced)
        rows = [(network.hinges, k, network.terminal_node) for k in kept]
        rows += [(variant.ports, k, np.arange(variant.size)) for k in range(len(variant.port_owners))]
        rows = [row for row in rows if row[0].gate[row[1]] < 0 or on[row[0].gate[row[1]]]]
        self.sense = np.zeros((len(rows), variant.size))
        self.inject = np.zeros((len(rows), variant.size))
        for i, (ports, k, node) in enumerate(rows):
            for at, weight, matrix in (
                (ports.sense_at[k], ports.sense_weight[k], self.sense),
                (ports.inject_at[k], ports.inject_weight[0, k], self.inject),
            ):
                for place, amount in zip(at, weight, strict=True):
                    if place >= 0 and node[place] >= 0:
                        matrix[i, node[place]] += amount
        self.conductance = np.array([ports.conductance[0, k] for ports, k, _ in rows])
        self.threshold = np.array([ports.threshold[0, k] for ports, k, _ in rows])
        self.clamped = np.array([ports.clamped[k] for ports, k, _ in rows], dtype=np.bool_)

    def drawn(self, level: Floats) -> Floats:
        """Return what is drawn from each node (A)."""
        x = self.sense @ level - self.threshold
        return np.asarray((self.conductance * np.where(self.clamped, np.maximum(x, 0), x)) @ self.inject)
