"""One part alone: a network of its pins, and the currents that flow into it at given voltages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from seqsim.network import Builder, Network, Owned, Patch, Variant, vary
from seqsim.network.network import Floats, Ints
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
    pins = tuple(what.pins)
    inner = np.arange(len(pins), len(variant.network.node_names))
    level = np.array([volts[pin] for pin in pins] + [float(np.mean(list(volts.values())))] * len(inner))
    drawn, slope = _drawn(variant, level, gates or {})
    for _ in range(500):
        if not len(inner) or np.abs(drawn[inner]).max() < 1e-14:
            break
        step = np.linalg.solve(slope[np.ix_(inner, inner)] + 1e-12 * np.eye(len(inner)), -drawn[inner])
        length = 1.0
        while length > 1e-9:
            trial = level.copy()
            trial[inner] += length * step
            after, after_slope = _drawn(variant, trial, gates or {})
            if np.abs(after[inner]).max() < np.abs(drawn[inner]).max():
                level, drawn, slope = trial, after, after_slope
                break
            length /= 2
        else:
            break
    assert not len(inner) or np.abs(drawn[inner]).max() < 1e-9, "the inner points did not settle"
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


def _drawn(variant: Variant, level: Floats, gates: Mapping[str, bool]) -> tuple[Floats, Floats]:
    """Return what the hinges draw from each node (A), and its slope over the nodes (S)."""
    network = variant.network
    on = network.gate_default.copy()
    for name, state in gates.items():
        on[network.gate_index[name]] = state
    on = np.where(variant.gate_force >= 0, variant.gate_force == 1, on)
    drawn, slope = np.zeros(len(level)), np.zeros((len(level), len(level)))
    kept = np.setdiff1d(np.arange(len(network.owners)), variant.replaced)
    for ports, numbers, nodes in (
        (network.hinges, kept, network.terminal_node),
        (variant.ports, np.arange(len(variant.port_owners)), None),
    ):
        for k in numbers:
            sense = _vector(ports.sense_at[k], ports.sense_weight[k], nodes, len(level))
            inject = _vector(ports.inject_at[k], ports.inject_weight[0, k], nodes, len(level))
            x = sense @ level - ports.threshold[0, k]
            gate = ports.gate[k]
            if (gate >= 0 and not on[gate]) or (ports.clamped[k] and x <= 0):
                continue
            drawn += ports.conductance[0, k] * x * inject
            slope += ports.conductance[0, k] * np.outer(inject, sense)
    return drawn, slope


def _vector(at: Ints, weight: Floats, nodes: Ints | None, size: int) -> Floats:
    found = np.zeros(size)
    for place, amount in zip(at, weight, strict=True):
        node = place if nodes is None or place < 0 else nodes[place]
        if node >= 0:
            found[node] += amount
    return found
