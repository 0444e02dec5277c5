"""What high and low mean at each place of a board: from the levels that a healthy one has in its power states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from seqsim.circuit import OFF, Circuit, compile_network, state_gates
from seqsim.logic.situation import Situation
from seqsim.network import Network, RowClass, vary
from seqsim.solver import Levels, Steadiness, solve_variant, static_gates

SWING = 0.25
"""Volts by which the states must differ at a place before their middle divides high from low (our judgement)."""
TURNING_ON = 0.5
ON_JUNCTION = 0.7
ON_OVERDRIVE = 3.0
"""Base-emitter volts at which a transistor turns on and is on, and overdrive of a gate that is on (our judgement)."""
DECIDED = (RowClass.LOGIC, RowClass.ENABLE, RowClass.COMPARATOR, RowClass.SUPERVISOR)
"""Rows whose threshold divides high from low at a place that never moves on a healthy board."""


@dataclass(frozen=True, slots=True)
class Swing:
    """The lowest and highest level (V) of a place, and the volts that divide low from high: else their middle."""

    low: float
    high: float
    dividing: float | None = None

    @property
    def middle(self) -> float:
        """Volts above which the place counts as high."""
        return (self.low + self.high) / 2 if self.dividing is None else self.dividing

    def opposite(self, volts: float) -> float:
        """Return the level that the place has when it is not as it is now."""
        return self.low if volts > self.middle else self.high


@dataclass(frozen=True)
class Reference:
    """The healthy board, all of its power states solved once."""

    circuit: Circuit
    network: Network

    @classmethod
    def of(cls, circuit: Circuit) -> Reference:
        """Return the reference of a circuit."""
        return cls(circuit, compile_network(circuit))

    @cached_property
    def states(self) -> Mapping[str, Levels]:
        """Healthy levels of each power state, gone through in their order."""
        variant = vary(self.network)
        found: dict[str, Levels] = {}
        levels: Levels | None = None
        for state in self.circuit.power_states:
            static = static_gates(self.network, state_gates(self.circuit, state))
            levels = solve_variant(variant, static, None if levels is None else levels.state)
            found[state] = levels
        return found

    @cached_property
    def powered(self) -> tuple[Levels, ...]:
        """Levels of the states in which anything is applied, as far as they are steady."""
        return tuple(
            levels for state, levels in self.states.items() if state != OFF and levels.steadiness is Steadiness.STEADY
        )

    @cached_property
    def top(self) -> float:
        """The highest volts that a supply gives; a place that is always low could be pulled up to it."""
        return max((abs(supply.volts) for supply in self.circuit.supplies.values()), default=1.0)

    def net(self, situation: Situation, label: str) -> str:
        """Return the net that a label belongs to on the board as built: a cut-off piece was part of one."""
        if label in self.network.node_index:
            return label
        pins = [pin for pin in situation.pins_at.get(situation.node(label), ()) if pin in self.network.terminal_index]
        if not pins:
            return label
        node = int(self.network.terminal_node[self.network.terminal_index[pins[0]]])
        return self.network.node_names[node] if node >= 0 else "GND"

    def moves(self, situation: Situation, label: str) -> bool:
        """Tell whether the power states of the healthy board differ at a net or cut-off piece."""
        net = self.net(situation, label)
        volts = [levels.at(net) for levels in self.powered if net in self.network.node_index]
        return max(volts, default=0.0) - min(volts, default=0.0) >= SWING

    def swing(self, situation: Situation, label: str) -> Swing:
        """Return what low and high are at a net or cut-off piece."""
        net = self.net(situation, label)
        if net not in self._swings:
            self._swings[net] = self._swing(net)
        return self._swings[net]

    @cached_property
    def _swings(self) -> dict[str, Swing]:
        return {}

    def _swing(self, net: str) -> Swing:
        if net not in self.network.node_index or self.network.node_index[net] < 0:
            return Swing(0.0, self.top)
        volts = [levels.at(net) for levels in self.powered]
        low, high = min(volts, default=0.0), max(volts, default=0.0)
        if high - low >= SWING:
            return Swing(low, high)
        driven = next(self._controls(net), None)
        if driven is not None:
            return driven
        threshold = self._threshold(net)
        if threshold is not None:
            return Swing(min(0.0, low), max(2 * threshold, high)) if abs(high) < 2 * threshold else Swing(0.0, high)
        if abs(high) >= 2 * SWING or abs(low) >= 2 * SWING:
            return Swing(min(0.0, low), max(0.0, high))
        return Swing(0.0, self.top)

    def _controls(self, net: str) -> Iterator[Swing]:
        """Yield what is low and high for the transistors whose base or gate lies on a net."""
        if not self.powered:
            return
        levels = self.powered[-1]
        for terminal in self.network.pins_on.get(net, ()):
            owner, _, pin = terminal.rpartition(".")
            part = self.circuit.parts.get(owner)
            if part is None or pin not in ("B", "G") or not part.pins.keys() >= set("BCE" if pin == "B" else "GDS"):
                continue
            origin = levels.at(part.pin("E" if pin == "B" else "S"))
            sign = float(getattr(part, "sign", 1))
            threshold = float(getattr(part, "threshold", TURNING_ON))
            far = origin + sign * (ON_JUNCTION if pin == "B" else threshold + ON_OVERDRIVE)
            yield Swing(min(origin, far), max(origin, far), origin + sign * threshold)

    def _threshold(self, net: str) -> float | None:
        """Volts at which what reads a net changes its mind, where a rule reads it."""
        node, network = self.network.node_index[net], self.network
        for terminal in network.pins_on.get(net, ()):
            for row in network.rows_at[network.terminal_index[terminal]]:
                if RowClass(int(network.rows.kind[row])) not in DECIDED or not self.powered:
                    continue
                levels = self.powered[-1]
                at = levels.system.variant.rows.rise_at[row]
                weight = network.rows.rise_weight[row]
                here = float(weight[at == node].sum())
                rest = float((weight * levels.volts[at])[at != node].sum())
                if here > 0:
                    threshold = (float(network.rows.rising[row]) - rest) / here
                    if threshold > 0:
                        return threshold
        return None
