"""What a rail waits for: from the part that feeds its net back to the condition that is not met."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.circuit import Circuit
from seqsim.network.network import Bools
from seqsim.parts import Part
from seqsim.parts.load_switch import LoadSwitch
from seqsim.parts.mosfet import Mosfet
from seqsim.parts.overload import LimitedChip
from seqsim.parts.regulator import Regulator
from seqsim.parts.supervisor import Supervisor
from seqsim.sequence.rails import window
from seqsim.solver.course import Course
from seqsim.solver.state import State
from seqsim.wording.tables import volts

DEEPEST = 10
"""Parts that are followed back."""
PRESENT = 0.8
"""Share of its volts from which a supply counts as present at its net (our judgement)."""
RESTARTS = 3
SIGNAL_HIGH = 0.8
"""Volts above which nothing holds a signal low (common practice: the low level of 5 V and 3.3 V logic)."""


@dataclass(frozen=True)
class Waiting:
    """The board at one moment of a course."""

    circuit: Circuit
    course: Course
    until: float
    state: State
    gates: Bools

    @classmethod
    def at_end(cls, circuit: Circuit, course: Course, until: float, stage: int) -> Waiting:
        """Return the board at the end of a stage of the course."""
        _, state, gates = course.ends[stage]
        return cls(circuit, course, until, state, gates)

    def volts(self, net: str) -> float:
        """Volts of a net, or of the copper piece that a pin is on."""
        k = int((self.course.times <= self.until).sum()) - 1
        return float(self.course.at(net)[k])

    def side(self, owner: str, row: str) -> bool | None:
        """Return the side of a row; None if there is no such row."""
        network = self.course.variant.network
        for k in network.rows_of.get(owner, ()):
            if network.row_names[k] == row:
                return bool(self.state.above[k])
        return None

    def on(self, gate: str) -> bool:
        """Return whether a gate is on."""
        found = self.course.variant.network.gate_index.get(gate)
        return found is not None and bool(self.gates[found])

    def carries(self, owner: str, role: str) -> bool:
        """Return whether a hinge of an owner conducts."""
        variant = self.course.variant
        network = variant.network
        number = {int(h): len(network.owners) + i for i, h in enumerate(variant.port_of) if h >= 0}
        return any(
            network.roles[h] == role and bool(self.state.conducting[number.get(int(h), int(h))])
            for h in network.hinges_of.get(owner, ())
        )

    def reason(self, net: str, depth: int = 0, seen: frozenset[str] = frozenset()) -> str:
        """Return the condition that a net waits for, in words; empty if nothing that feeds it is known."""
        if depth > DEEPEST or net in seen:
            return ""
        seen |= {net}
        supplies = [supply for supply in self.circuit.supplies.values() if supply.net == net]
        for supply in supplies:
            if not self.on(supply.applied):
                return f"{supply.name} to be applied"
            if abs(self.volts(net)) < PRESENT * abs(supply.volts):
                return f"its supply to hold it: it is {volts(self.volts(net))} of {volts(supply.volts)}"
        for part in self._feeding(net):
            match part:
                case Regulator():
                    return self._regulator(part, depth, seen)
                case LoadSwitch():
                    return self._load_switch(part, depth, seen)
                case Mosfet():
                    return self._mosfet(part, net, depth, seen)
                case _:
                    other = next(there for there in part.pins.values() if there != net)
                    if abs(self.volts(other) - self.volts(net)) > 0.2 * abs(self.volts(other)) > 0.02:
                        return f"{part.name} to pass {other} ({volts(self.volts(other))}) on to {net}"
                    return self.reason(other, depth + 1, seen)
        return ""

    def signal(self, net: str, depth: int = 0, seen: frozenset[str] = frozenset()) -> str:
        """Return what holds a signal low, back to the condition that is not met; empty if nothing is known to."""
        if depth > DEEPEST or net in seen or self.volts(net) > SIGNAL_HIGH:
            return ""
        seen |= {net}
        for part in self.circuit.parts.values():
            if isinstance(part, Regulator) and part.pins.get("PG") == net and self.on(part.roles[2]):
                out = part.pins["OUT"]
                why = self.reason(out, depth + 1, seen) if self._missing(out) else ""
                return f"{part.name} holds {net} low, {out} is {volts(self.volts(out))}" + _and(why)
        for name, label, pin in self._drivers(net):
            if not self.on(f"{name}:{label} low"):
                continue
            part = self.circuit.parts[name]
            if not isinstance(part, Supervisor):
                return f"{name} drives {net} low at {pin}"
            for row, watched in (("threshold", part.watched), ("MR", "MR")):
                if self.side(name, row) is False:
                    other = part.pins[watched]
                    held = f"{name} holds {net} low until {other} rises (it is {volts(self.volts(other))})"
                    return held + _then(self.signal(other, depth + 1, seen))
            return f"{name} holds {net} low"
        for part in self.circuit.parts.values():
            if part.kind == "resistor" and net in part.pins.values():
                other = next((there for there in part.pins.values() if there != net), net)
                found = "" if other in self.circuit.grounds else self.signal(other, depth + 1, seen)
                if found:
                    return found
        return ""

    def _feeding(self, net: str) -> Iterator[Part]:
        """Yield the parts that can feed a net, the surest first."""
        parts = self.circuit.parts.values()
        yield from (p for p in parts if isinstance(p, Regulator | LoadSwitch) and p.pins["OUT"] == net)
        yield from (p for p in parts if isinstance(p, Mosfet) and net in (p.pins["D"], p.pins["S"]) and self._switch(p))
        yield from (
            p for p in parts
            if p.kind in ("ferrite", "inductor", "fuse", "jumper", "switch", "button")
            and net in p.pins.values() and len(set(p.pins.values())) > 1
        )  # fmt: skip

    def _switch(self, part: Mosfet) -> bool:
        """Tell whether a MOSFET lies between two nets that are not ground."""
        return not {part.pins["D"], part.pins["S"]} & set(self.circuit.grounds)

    def _pin(self, part: Part, pin: str) -> float:
        ground = part.pins.get("GND")
        level = self.volts(part.pin(pin))
        return level - self.volts(part.pin("GND")) if ground is not None else level

    def _regulator(self, part: Regulator, depth: int, seen: frozenset[str]) -> str:
        out, power = part.pins["OUT"], part.pins[part.power_pin]
        level = self._pin(part, part.power_pin)
        if self.side(part.name, "supply") is False:
            return self._because(f"{power} to reach {part.name} (it is {volts(level)})", power, depth, seen)
        if self.side(part.name, "undervoltage") is False:
            wanted = f"{power} to rise above {volts(part.undervoltage)} at {part.name} (it is {volts(level)})"
            return self._because(wanted, power, depth, seen)
        if self.side(part.name, "EN") is False:
            return self._enable(part, part.enable_threshold, depth, seen)
        stops = self._stops(part)
        if stops:
            return stops
        if not self.on(f"{part.name}:on"):
            return f"{part.name} to start: it is enabled and has its supply"
        if self.carries(part.name, "limit"):
            return f"less load on {out}: {part.name} is in its current limit, {out} is {volts(self.volts(out))}"
        input_ = part.pins["IN"]
        into = self._pin(part, "IN")
        if self.carries(part.name, "dropout"):
            wanted = f"a higher {input_} at {part.name} (it is {volts(into)})"
            return self._because(wanted, input_, depth, seen)
        return f"{part.name}, which is on and gives {volts(self._pin(part, 'OUT'))}"

    def _stops(self, part: LimitedChip) -> str:
        """Return what a part that starts and stops again and again waits for; empty if it does not."""
        starts, trips = self._starts(f"{part.name}:on"), self._starts(part.tripped)
        if trips:
            return f"less load on {part.pins['OUT']}: {part.name} stops after each overload, {trips} times so far"
        return f"{part.name} to stay on: it started {starts} times" if starts > RESTARTS else ""

    def _load_switch(self, part: LoadSwitch, depth: int, seen: frozenset[str]) -> str:
        input_ = part.pins["IN"]
        if self.side(part.name, "supply") is False:
            wanted = f"{input_} to reach {part.name} (it is {volts(self._pin(part, 'IN'))})"
            return self._because(wanted, input_, depth, seen)
        if self.side(part.name, "EN") is False:
            return self._enable(part, part.enable_threshold, depth, seen)
        stops = self._stops(part)
        if stops:
            return stops
        if not self.on(part.gates[0]):
            return f"{part.name} to turn on: it is enabled and has its supply"
        if self.carries(part.name, "limit"):
            out = part.pins["OUT"]
            return f"less load on {out}: {part.name} is in its current limit, {out} is {volts(self.volts(out))}"
        return self._because(f"a higher {input_} at {part.name}", input_, depth, seen)

    def _enable(self, part: Part, threshold: float, depth: int, seen: frozenset[str]) -> str:
        net = part.pins["EN"]
        wanted = f"{net} to rise above {volts(threshold)} at {part.name} (it is {volts(self._pin(part, 'EN'))})"
        holders = [
            other for other in self.circuit.parts.values()
            if isinstance(other, Regulator) and other.pins.get("PG") == net and self.on(other.roles[2])
        ]  # fmt: skip
        for other in holders:
            out = other.pins["OUT"]
            why = self.reason(out, depth + 1, seen) if self._missing(out) else ""
            held = f"{other.name} holds it low, {out} is {volts(self.volts(out))}"
            return f"{wanted}; {held}" + _and(why)
        for name, label, pin in self._drivers(net):
            if self.on(f"{name}:{label} low"):
                return f"{wanted}; {name} drives it low at {pin}"
        deeper = self.reason(net, depth + 1, seen)
        return f"{wanted}; it waits for {deeper}" if deeper else wanted

    def _drivers(self, net: str) -> Iterator[tuple[str, str, str]]:
        """Yield the chips with an output on a net: name, label of the output's gates, pin."""
        network = self.course.variant.network
        for gate in network.gates:
            name, _, label = gate.partition(":")
            part = self.circuit.parts.get(name)
            if part is not None and label.endswith(" low") and part.pins.get(label[:-4]) == net:
                yield name, label[:-4], part.pin(label[:-4])

    def _mosfet(self, part: Mosfet, net: str, depth: int, seen: frozenset[str]) -> str:
        far = part.pins["D"] if part.pins["S"] == net else part.pins["S"]
        if abs(self.volts(far)) < abs(self.circuit.rails[net].volts) * PRESENT if net in self.circuit.rails else False:
            deeper = self.reason(far, depth + 1, seen)
            wanted = f"{far} behind {part.name} (it is {volts(self.volts(far))})"
            return f"{wanted}; it waits for {deeper}" if deeper else wanted
        gate = part.pins["G"]
        return (
            f"{part.name} to turn on: its gate {gate} is {volts(self.volts(part.pin('G')))}, "
            f"{far} is {volts(self.volts(far))}"
        )

    def _because(self, wanted: str, net: str, depth: int, seen: frozenset[str]) -> str:
        deeper = self.reason(net, depth + 1, seen) if self._missing(net) else ""
        return f"{wanted}; {net} waits for {deeper}" if deeper else wanted

    def _missing(self, net: str) -> bool:
        """Tell whether a net is not what it should be, as far as the file says what that is."""
        rail = self.circuit.rails.get(net)
        if rail is None:
            return True
        low, high = window(rail)
        return not low <= self.volts(net) <= high

    def _starts(self, gate: str) -> int:
        return sum(1 for event in self.course.events if event.name == gate and event.on and event.seconds <= self.until)


def _and(why: str) -> str:
    return f" and waits for {why}" if why else ""


def _then(held: str) -> str:
    return f"; {held}" if held else ""
