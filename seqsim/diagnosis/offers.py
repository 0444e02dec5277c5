"""The readings on offer: places, power states, what may be done to the board, and the seconds that it all takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from seqsim.circuit import OFF, Circuit
from seqsim.circuit.model import REACH_SECONDS
from seqsim.faults.cautions import large_capacitors
from seqsim.parts.bipolar import Bipolar
from seqsim.parts.diode import Diode
from seqsim.readings import Intervention, Probe
from seqsim.readings.interventions import Forced, Jumpered, Lifted, Limited, Pressed, Pulled, Removed

NEXT_STATE_SECONDS = 5.0
"""Time to go on to the next power state, besides the wait that the file asks for: a key, a flap, a second supply."""
POWER_UP_SECONDS = 10.0
"""Time to connect the supply and switch it on."""
POWER_DOWN_SECONDS = 25.0
"""Time to disconnect every supply and to see that the rails are at 0 V."""
DRAIN_SECONDS = 20.0
"""Time that large capacitors take to be drained, on top."""
DISPLAY_SECONDS = 5.0
"""Time to read what a bench supply displays."""
WORK_SECONDS: Mapping[type[Intervention], float] = {
    Forced: 40.0, Jumpered: 40.0, Limited: 15.0, Pressed: 15.0, Pulled: 20.0, Lifted: 180.0, Removed: 300.0,
}  # fmt: skip
"""Time to do it and to undo it again; all these times are our judgement."""
DEAD_WORK = (Jumpered, Pulled, Lifted, Removed)
"""What is done with the power off."""
FORCE_OHMS, FORCE_AMPS = (1e3, 2.2e3, 4.7e3, 10e3, 22e3, 47e3, 100e3), 5e-3
"""Resistors to force through: the first that keeps the current to some milliamperes (A)."""
LIMIT_FACTOR, LEAST_LIMIT = 1.5, 0.05
"""A supply is limited to so many times what a healthy board draws, and never below this (A)."""


@dataclass(frozen=True)
class Offer:
    """A reading that can be had: ``at`` is a pin where its net can be touched, ``note`` what the file says of it.

    ``again`` is why one that was taken is to be taken once more, see `Step`.
    """

    probe: Probe
    seconds: float
    at: str = ""
    note: str = ""
    again: str = ""


@dataclass(frozen=True)
class Reach:
    """How long each place takes to reach, and which pin of a net a probe touches; hidden places are not in it."""

    seconds: Mapping[str, float]
    at: Mapping[str, str]
    notes: Mapping[str, str]

    @classmethod
    def of(cls, circuit: Circuit) -> Reach:
        """Return the places of a circuit that can be reached: nets, pins and pads."""
        points = circuit.probe_points
        seconds: dict[str, float] = {}
        at: dict[str, str] = {}
        cut = {pin for copper in circuit.copper.values() for pin in copper.cuts_off}
        for net, pins in circuit.nets().items():
            own = [pin for pin in pins if ":" not in pin]
            for pin in own:
                point = points.get(pin) or points.get(pin.partition(".")[0])
                if point is None or not point.hidden:
                    seconds[pin] = seconds[f"{pin}/pad"] = REACH_SECONDS if point is None else point.seconds
            here = [pin for pin in own if pin in seconds]
            whole = [pin for pin in here if pin not in cut] or here
            if net in points:
                if not points[net].hidden:
                    seconds[net] = points[net].seconds
            elif whole or not own:
                seconds[net] = min((seconds[pin] for pin in whole), default=REACH_SECONDS)
            if net in seconds and whole:
                at[net] = min(whole, key=seconds.__getitem__)
        return cls(seconds, at, {name: point.note for name, point in points.items() if point.note})

    def __contains__(self, place: object) -> bool:
        return place in self.seconds

    def note(self, place: str) -> str:
        """Return what the file says of a place, or of the pin where its net is touched."""
        for name in (place, place.removesuffix("/pad"), self.at.get(place, "")):
            if name in self.notes:
                return self.notes[name]
        return ""


def state_seconds(circuit: Circuit, now: str, then: str) -> float:
    """Return the time to go from one power state to another (s); none to stay."""
    states = list(circuit.power_states)
    a, b = states.index(now), states.index(then)
    if a == b:
        return 0.0
    if b == 0:
        return POWER_DOWN_SECONDS + (DRAIN_SECONDS if large_capacitors(circuit) else 0.0)
    passed = states[a + 1 : b + 1] if b > a else states[b:a]
    waits = sum(circuit.power_states[name].after or 0.0 for name in passed)
    steps = NEXT_STATE_SECONDS * (abs(b - a) - (a == 0))
    return (POWER_UP_SECONDS if a == 0 else 0.0) + steps + waits


def seconds_of(circuit: Circuit, reach: Reach, probe: Probe, now: str) -> float:
    """Return the technician's time for a reading (s): what is done to the board, the power state, the places."""
    dead = any(isinstance(each, DEAD_WORK) for each in probe.interventions)
    work = sum(WORK_SECONDS.get(type(each), 60.0) for each in probe.interventions)
    work += sum(reach.seconds.get(each.pin, REACH_SECONDS) for each in probe.interventions if isinstance(each, Pressed))
    if dead:
        change = state_seconds(circuit, now, OFF) + state_seconds(circuit, OFF, probe.state)
    else:
        change = state_seconds(circuit, now, probe.state)
    if probe.kind == "current":
        return work + change + DISPLAY_SECONDS
    copper = circuit.copper.get(probe.place)
    places = copper.touch if copper is not None and probe.to is None else (probe.place, probe.to)
    return work + change + sum(
        reach.seconds.get(place, REACH_SECONDS) for place in places if place and place not in circuit.grounds
    )  # fmt: skip


def offers(
    circuit: Circuit,
    *,
    now: str = OFF,
    taken: Iterable[Probe] = (),
    near: Iterable[str] = (),
    forced: Intervention | None = None,
    driven: Iterable[str] = (),
    limits: Iterable[Limited] = (),
    pressed: Iterable[str] = (),
    lifted: Iterable[str] = (),
    diodes: bool = False,
) -> tuple[Offer, ...]:
    """Return every reading on offer but those already taken.

    Parameters
    ----------
    now
        The power state in which the board is.
    taken
        Readings that need no repeating.
    near
        Parts, pins and copper that are suspected: only there are pins, their pads and single parts offered.
    forced, driven
        How the target would be held where a healthy board has it, and the rails that then have to come up.
    limits, pressed, lifted
        Supplies that have to be limited, pins whose joints would be pressed, and pins that would be lifted.
    diodes
        Offer the diode test of every net, not only of the rails: it takes long to foresee and seldom tells much.
    """
    reach = Reach.of(circuit)
    done = set(taken)
    found: dict[Probe, Offer] = {}
    near, limits = list(dict.fromkeys(near)), list(limits)
    for probe in (
        *_powered(circuit, reach, near), *_unpowered(circuit, reach, near, diodes=diodes), *_currents(circuit),
        *_forcing(circuit, reach, forced, driven), *_pressing(circuit, reach, pressed),
        *_lifting(circuit, reach, lifted),
    ):  # fmt: skip
        probe = limited(circuit, probe, limits)
        if probe not in done and probe not in found:
            found[probe] = _offer(circuit, reach, probe, now)
    return tuple(found.values())


def again(circuit: Circuit, probe: Probe, now: str, why: str = "") -> Offer:
    """Return the offer to take a reading once more."""
    return _offer(circuit, Reach.of(circuit), probe, now, why)


def _offer(circuit: Circuit, reach: Reach, probe: Probe, now: str, why: str = "") -> Offer:
    """Return the offer of a reading; a supply that was limited while the power is on stays so."""
    there = sum(isinstance(each, Limited) for each in probe.interventions) if now != OFF else 0
    seconds = seconds_of(circuit, reach, probe, now) - there * WORK_SECONDS[Limited]
    at = reach.at.get(probe.place, "") if probe.to is None else ""
    return Offer(probe, seconds, at, reach.note(probe.place), why)


def _nets(circuit: Circuit, reach: Reach) -> list[str]:
    return [net for net in circuit.nets() if net not in circuit.grounds and net in reach]


def _pins(circuit: Circuit, reach: Reach, near: Iterable[str]) -> list[str]:
    """Return suspected pins, and both sides of suspected copper."""
    known = circuit.pins()
    touched = [pin for name in near if name in circuit.copper for pin in circuit.copper[name].touch]
    joints = [pin for pin in near if pin in known and ":" not in pin]
    sides = [*touched, *(side for pin in joints for side in (pin, f"{pin}/pad"))]
    return [side for side in dict.fromkeys(sides) if side in reach and known.get(side) not in circuit.grounds]


def _powered(circuit: Circuit, reach: Reach, near: Iterable[str]) -> Iterator[Probe]:
    for state, power in circuit.power_states.items():
        if power.on:
            for place in (*_nets(circuit, reach), *_pins(circuit, reach, near)):
                yield Probe(kind="volts", place=place, state=state)


def _unpowered(circuit: Circuit, reach: Reach, near: Iterable[str], *, diodes: bool) -> Iterator[Probe]:
    near = list(near)
    ground = circuit.grounds[0]
    for net in _nets(circuit, reach):
        yield Probe(kind="ohms", place=net, state=OFF)
        if diodes or net in circuit.rails:
            yield Probe(kind="diode", place=net, state=OFF)
            yield Probe(kind="diode", place=ground, to=net, state=OFF)
    for name in circuit.copper:
        if all(side in reach for side in circuit.copper[name].touch):
            yield Probe(kind="continuity", place=name, state=OFF)
    for pin in _pins(circuit, reach, [name for name in near if name not in circuit.copper]):
        if not pin.endswith("/pad"):
            yield Probe(kind="continuity", place=pin, to=f"{pin}/pad", state=OFF)
    for name in near:
        part = circuit.parts.get(name)
        if part is None:
            continue
        pairs: list[tuple[str, str]] = []
        if isinstance(part, Diode):
            pairs = [(a, k) for a in part.pins for k in part.pins if a.startswith("A") and k.startswith("K")]
        elif isinstance(part, Bipolar):
            pairs = [("B", "E"), ("B", "C"), ("C", "E")]
        elif len(part.pins) == 2:
            first, second = part.pins
            pairs = [(first, second)]
        for a, b in pairs:
            plus, minus = part.pin(a), part.pin(b)
            if plus in reach and minus in reach:
                yield Probe(kind="ohms", place=plus, to=minus, state=OFF)
                if diodes and (len(part.pins) > 2 or isinstance(part, Diode)):
                    yield Probe(kind="diode", place=plus, to=minus, state=OFF)


def _currents(circuit: Circuit) -> Iterator[Probe]:
    for state, power in circuit.power_states.items():
        for supply in power.on:
            yield Probe(kind="current", place=supply, state=state)


def limited(circuit: Circuit, probe: Probe, limits: Iterable[Limited]) -> Probe:
    """Return a reading with the supplies limited that have to be, whatever is read while they feed the board."""
    known = {each.supply: each for each in limits}
    mine = tuple(known[name] for name in circuit.power_states[probe.state].on if name in known)
    return probe.model_copy(update={"interventions": (*probe.interventions, *mine)}) if mine else probe


def _forcing(circuit: Circuit, reach: Reach, forced: Intervention | None, driven: Iterable[str]) -> Iterator[Probe]:
    rails = list(driven)
    if forced is not None and rails:
        for place in (*rails, circuit.target):
            if place in reach:
                yield Probe(kind="volts", place=place, state=list(circuit.power_states)[-1], interventions=(forced,))


def _pressing(circuit: Circuit, reach: Reach, pins: Iterable[str]) -> Iterator[Probe]:
    """Yield the target, read while a joint is pressed closed: an open one comes to life, a dead part does not.

    A pin that no tip reaches is pressed through the body of its part.
    """
    state = list(circuit.power_states)[-1]
    if circuit.target is not None and circuit.target in reach and state != OFF:
        for pin in pins:
            yield Probe(kind="volts", place=circuit.target, state=state, interventions=(Pressed(pin=pin),))


def _lifting(circuit: Circuit, reach: Reach, pins: Iterable[str]) -> Iterator[Probe]:
    state = list(circuit.power_states)[-1]
    known = circuit.pins()
    for pin in pins:
        net = known[pin]
        if net in reach and pin in reach and net not in circuit.grounds:
            done = (Lifted(pin=pin),)
            yield Probe(kind="ohms", place=net, state=OFF, interventions=done)
            if state != OFF:
                yield Probe(kind="volts", place=net, state=state, interventions=done)


def force(target: str, volts: float) -> Forced:
    """Return how a target is held at its healthy level (V): through a resistor that spares what drives it."""
    ohms = next((each for each in FORCE_OHMS if abs(volts) / each <= FORCE_AMPS), FORCE_OHMS[-1])
    return Forced(place=target, volts=round(volts, 1), ohms=ohms)


def limit(circuit: Circuit, supply: str, amps: float) -> Limited:
    """Return how a supply is limited on a board that draws so much (A) when healthy."""
    most = max(LIMIT_FACTOR * abs(amps), LEAST_LIMIT)
    return Limited(supply=supply, amps=float(f"{most:.2g}"), negative=circuit.supplies[supply].volts < 0)
