"""How boards are read without advice: walking back from the target, and halving what is suspect.

Both know the drawing and what a healthy board reads, and end at a device: then its pins, its copper and its two ends
are read. Both stop where `next` would: as soon as one group of look-alikes holds 95 %.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

from blind_boards import Workshop
from measured_boards import chain_nets

from seqsim.circuit import OFF
from seqsim.diagnosis.advice import HELD
from seqsim.diagnosis.offers import Reach, seconds_of
from seqsim.diagnosis.report import ranking
from seqsim.readings import Probe, Reading

Read = Callable[[Probe], Reading | None]
Walk = Iterator[Probe]


class Walker:
    """Reads boards of one circuit, and counts the technician's seconds."""

    def __init__(self, workshop: Workshop) -> None:
        self.workshop, self.circuit = workshop, workshop.circuit
        self.reach = Reach.of(self.circuit)
        self.chain = [net for net in chain_nets(self.circuit) if net in self.reach]
        self.powered = [state for state in reversed(list(self.circuit.power_states)) if state != OFF]

    @cached_property
    def last(self) -> str:
        """Return the last power state."""
        return self.powered[0]

    def seconds(self, read: Read, *, halving: bool) -> tuple[float, int, bool]:
        """Return the seconds and readings that a board takes, and whether a group holds 95 % at the end."""
        taken: list[Reading] = []
        verdict: dict[Probe, bool] = {}
        total, state = 0.0, OFF
        walk = self.halved(verdict) if halving else self.back(verdict)
        for probe in walk:
            if probe in verdict:
                continue
            shown = read(probe)
            if shown is None:
                verdict[probe] = False
                continue
            total += seconds_of(self.circuit, self.reach, probe, state)
            state = probe.state
            taken.append(shown)
            found = self.workshop.diagnosed(tuple(taken))
            told = ranking(found, taken)
            verdict[probe] = told.readings[-1].verdict in ("low", "high")
            if told.where[0].probability >= HELD:
                return total, len(taken), True
        return total, len(taken), False

    def at(self, net: str, state: str) -> Probe:
        """Return volts at a net."""
        return Probe(kind="volts", place=net, state=state)

    def wrong_state(self, verdict: dict[Probe, bool]) -> Iterator[Probe]:
        """Yield the target in each power state until it is wrong in one."""
        assert self.circuit.target is not None
        for state in self.powered:
            probe = self.at(self.circuit.target, state)
            yield probe
            if verdict.get(probe):
                return

    def found_state(self, verdict: dict[Probe, bool]) -> str:
        """Return the power state in which the target is wrong, or the last."""
        assert self.circuit.target is not None
        wrong = [state for state in self.powered if verdict.get(self.at(self.circuit.target, state))]
        return wrong[0] if wrong else self.last

    def back(self, verdict: dict[Probe, bool]) -> Walk:
        """Yield the chain from the target back, net by net, to the last one that is wrong; then what is there."""
        yield from self.wrong_state(verdict)
        state = self.found_state(verdict)
        last_wrong = self.chain[0]
        for net in self.chain:
            probe = self.at(net, state)
            yield probe
            if verdict.get(probe):
                last_wrong = net
            elif net != self.chain[0]:
                break
        yield from self.around(last_wrong, state)
        yield from self.everything(state)

    def halved(self, verdict: dict[Probe, bool]) -> Walk:
        """Yield the middle of what is suspect, again and again; then what is at the first wrong net."""
        yield from self.wrong_state(verdict)
        state = self.found_state(verdict)
        low, high = 0, len(self.chain)  # the net at `low` is wrong, that at `high` is right
        while high - low > 1:
            middle = (low + high) // 2
            probe = self.at(self.chain[middle], state)
            yield probe
            low, high = (middle, high) if verdict.get(probe) else (low, middle)
        yield from self.around(self.chain[low], state)
        yield from self.everything(state)

    def around(self, net: str, state: str) -> Walk:
        """Yield the pins and pads of what lies on a net, its copper, and parts from end to end."""
        pins = [pin for pin in self.circuit.nets().get(net, ()) if ":" not in pin and pin in self.reach]
        for pin in pins:
            yield self.at(pin, state)
            yield self.at(f"{pin}/pad", state)
        parts = dict.fromkeys(pin.partition(".")[0] for pin in pins)
        for name in parts:
            for other in self.circuit.parts[name].pins.values():
                if other in self.reach and other not in self.circuit.grounds:
                    yield self.at(other, state)
        for name, copper in self.circuit.copper.items():
            if copper.net == net:
                yield Probe(kind="continuity", place=name, state=OFF)
        yield Probe(kind="ohms", place=net, state=OFF)
        for name in parts:
            part = self.circuit.parts[name]
            if len(part.pins) == 2:
                one, two = (part.pin(pin) for pin in part.pins)
                if one in self.reach and two in self.reach:
                    yield Probe(kind="ohms", place=one, to=two, state=OFF)

    def everything(self, state: str) -> Walk:
        """Yield what is left: each net of the chain with what lies on it, in every power state."""
        for net in self.chain:
            for other in (state, *self.powered):
                yield self.at(net, other)
        for net in self.chain:
            yield from self.around(net, state)
