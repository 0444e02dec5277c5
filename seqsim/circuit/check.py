"""What is legal in a circuit but suspicious: found from its structure, no levels are solved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from seqsim.circuit.gates import beyond_rating
from seqsim.circuit.model import OFF, Circuit, Copper
from seqsim.circuit.names import close
from seqsim.circuit.paths import STIFF_OHMS, Paths
from seqsim.network import GROUND
from seqsim.parts import Part
from seqsim.parts.supply import ENTRY
from seqsim.quantity import Unit, format_quantity

ENDS = (("1", "2"), ("A", "K"), ("C", "E"), ("D", "S"), ("IN", "OUT"), ("IN", "GND"), ("VCC", "GND"), ("RAIL", "GND"))
"""Pins of one part that make no sense on one net."""
FED = ("VCC", "IN", "RAIL")
"""Pins that feed a part."""
FORWARD_VOLTS = 1.2
LED_VOLTS = 5.0
"""More than this across a diode without a resistor destroys it (common practice)."""


@dataclass(frozen=True, slots=True)
class Warning:  # noqa: A001 - what `check` gives beside errors is called a warning everywhere
    """Something suspicious: where in the file, what it concerns, and one sentence."""

    message: str
    file: str | None
    line: int | None
    place: str

    def __str__(self) -> str:
        where = ":".join(str(item) for item in (self.file, self.line) if item is not None)
        return f"{where}: {self.message}" if where else self.message


Found = Iterator[tuple[tuple[str, ...], str, str]]
"""Path of the item in the file, what is concerned, and the sentence."""


def check(circuit: Circuit) -> tuple[Warning, ...]:
    """Return the warnings of a circuit in the order of its file's lines."""
    paths = Paths(circuit)
    found = [
        Warning(message, circuit.file, circuit.line(*path), place)
        for checker in CHECKS
        for path, place, message in checker(circuit, paths)
    ]
    return tuple(sorted(dict.fromkeys(found), key=lambda warning: warning.line or 0))


def _lone_nets(circuit: Circuit, paths: Paths) -> Found:
    """Nets with one pin."""
    del paths
    nets = circuit.nets()
    for net, pins in nets.items():
        if net in circuit.grounds and not pins:
            yield ("grounds",), net, f"nothing is connected to {net}; name the pins that lie on it"
        elif len(pins) == 1 and pins[0].endswith(ENTRY):
            supply = pins[0].removesuffix(ENTRY)
            yield (
                ("supplies", supply),
                supply,
                f"supply {supply} feeds net {net}, on which there is no part{_like(net, nets)}",
            )
        elif len(pins) == 1:
            yield _pin_path(pins[0]), net, f"net {net} has only one pin, {pins[0]}{_like(net, nets)}"


def _like(net: str, nets: dict[str, tuple[str, ...]]) -> str:
    found = close(net, [other for other in nets if other != net], 1)
    return f"; did you mean {found[0]}?" if found else "; is a part missing?"


def _pin_path(pin: str) -> tuple[str, ...]:
    return ("supplies", pin.removesuffix(ENTRY)) if pin.endswith(ENTRY) else ("parts", pin.partition(".")[0])


def _floating(circuit: Circuit, paths: Paths) -> Found:
    """Nets from which no current can flow to ground or a supply, and that none can feed."""
    special = {circuit.target, *circuit.rails}
    for net, pins in circuit.nets().items():
        if len(pins) > 1 and net not in paths.up | paths.down and net not in (*circuit.grounds, *special):
            message = f"net {net} ({', '.join(pins)}) floats: nothing drives it, high or low; is a pull-up missing?"
            yield _pin_path(pins[0]), net, message


def _undriven(circuit: Circuit, paths: Paths) -> Found:
    """Rails and a target that nothing can bring up, supply pins that nothing feeds."""
    for name, rail in circuit.rails.items():
        if name not in (paths.up if rail.volts > 0 else paths.below_ground):
            yield ("rails", name), name, f"nothing drives rail {name}: no supply can reach it through any part"
    target = circuit.target
    if target is not None and target not in paths.up:
        how = "it can only be pulled low" if target in paths.down else "it floats"
        yield ("target",), target, f"nothing drives target {target} high: {how}; is a pull-up or driver missing?"
    for part in circuit.parts.values():
        for pin in FED:
            net = part.pins.get(pin)
            if net is not None and net not in circuit.rails and net not in paths.up | paths.below_ground:
                yield ("parts", part.name), part.name, f"nothing feeds {part.pin(pin)}: no supply reaches net {net}"


def _short_circuited(circuit: Circuit, paths: Paths) -> Found:
    """Parts across two equal nets."""
    del paths
    for part in circuit.parts.values():
        for first, second in ENDS:
            net = part.pins.get(first)
            if net is not None and net == part.pins.get(second):
                message = f"{part.name} has {first} and {second} on one net, {net}, so it does nothing there"
                yield ("parts", part.name), part.name, message


def _bare_bases(circuit: Circuit, paths: Paths) -> Found:
    """Bases that a source of power drives without a resistor, with the emitter on a source of power too."""
    for part in circuit.parts.values():
        if part.kind not in ("npn", "pnp") or part.pins["E"] not in paths.stiff:
            continue
        driver = _stiff_driver(part, paths)
        if driver is not None:
            message = (
                f"the base of {part.name} is driven from {driver} without a resistor, so nothing limits its current; "
                f"is a base resistor missing?"
            )
            yield ("parts", part.name), part.pin("B"), message


def _stiff_driver(part: Part, paths: Paths) -> str | None:
    """Return the source of power that drives a base through little resistance, if there is one."""
    emitter = paths.stiff[part.pins["E"]]
    into = part.kind == "npn"
    seen, ahead = {part.pins["B"]}, [part.pins["B"]]
    while ahead:
        node = ahead.pop()
        if node in paths.stiff:
            if paths.stiff[node] > emitter if into else paths.stiff[node] < emitter:
                return node
            continue
        for flow in (paths.into if into else paths.out_of).get(node, ()):
            other = flow.source if into else flow.sink
            if flow.owner != part.name and flow.siemens >= 1 / STIFF_OHMS and other not in seen:
                seen.add(other)
                ahead.append(other)
    return None


def _gate_ratings(circuit: Circuit, paths: Paths) -> Found:
    """Gates driven beyond their rating."""
    for part in circuit.parts.values():
        volts = beyond_rating(part, circuit, paths)
        if volts is not None:
            limit = format_quantity(float(getattr(part, "gate_limit", 0.0)), Unit.VOLT)
            message = (
                f"the gate of {part.name} can reach {volts:+.3g} V from its source, beyond its rating of {limit}; "
                f"divide the drive or add a Zener diode from gate to source"
            )
            yield ("parts", part.name), part.pin("G"), message


def _bare_diodes(circuit: Circuit, paths: Paths) -> Found:
    """Diodes straight across two sources of power."""
    for part in circuit.parts.values():
        if part.kind != "diode" or "A" not in part.pins or "K" not in part.pins:
            continue
        anode, cathode = paths.stiff.get(part.pins["A"]), paths.stiff.get(part.pins["K"])
        if anode is None or cathode is None:
            continue
        type_ = getattr(part, "type", "")
        forward = LED_VOLTS if type_ == "led" else FORWARD_VOLTS
        breakdown = getattr(part, "volts", None) if type_ == "zener" else None
        if anode - cathode > forward or (breakdown is not None and cathode - anode > 1.1 * breakdown):
            message = (
                f"{part.name} lies straight across {part.pins['A']} ({anode:g} V) and {part.pins['K']} "
                f"({cathode:g} V), so nothing limits its current; is it reversed, or a resistor missing?"
            )
            yield ("parts", part.name), part.name, message


def _ratings(circuit: Circuit, paths: Paths) -> Found:
    """Capacitors and resistors across two sources of power that exceed their rating."""
    for part in circuit.parts.values():
        if part.kind not in ("capacitor", "resistor"):
            continue
        first, second = paths.stiff.get(part.pins["1"]), paths.stiff.get(part.pins["2"])
        if first is None or second is None:
            continue
        across = abs(first - second)
        rated, watts, ohms = (getattr(part, key, None) for key in ("volts", "watts", "ohms"))
        if part.kind == "capacitor" and rated is not None and across > rated:
            yield ("parts", part.name), part.name, f"{part.name} has {across:g} V across it, but is rated {rated:g} V"
        if part.kind == "resistor" and watts is not None and ohms and across**2 / ohms > watts:
            takes = format_quantity(across**2 / ohms, Unit.WATT)
            yield (
                ("parts", part.name),
                part.name,
                f"{part.name} takes {takes} at {across:g} V, but is rated {watts:g} W",
            )


def _wrong_supplies(circuit: Circuit, paths: Paths) -> Found:
    """Supply pins on ground, ground pins on a rail, one package with two supplies."""
    packages: dict[tuple[str, str], tuple[str, str]] = {}
    for part in circuit.parts.values():
        for pin in FED:
            if part.pins.get(pin) == GROUND:
                yield (
                    ("parts", part.name),
                    part.name,
                    f"{part.pin(pin)} lies on {GROUND}; are its supply pins exchanged?",
                )
        if len(part.pins) > 2 and paths.stiff.get(part.pins.get("GND", GROUND), 0.0) > 0:
            message = f"{part.pin('GND')} lies on {part.pins['GND']}, a supply; are its supply pins exchanged?"
            yield ("parts", part.name), part.name, message
        for pin in ("VCC", "GND"):
            if part.package is None or pin not in part.pins:
                continue
            other, net = packages.setdefault((part.package, pin), (part.name, part.pins[pin]))
            if net != part.pins[pin]:
                message = (
                    f"{other} and {part.name} share package {part.package}, but their {pin} pins lie on {net} and "
                    f"{part.pins[pin]}"
                )
                yield ("parts", part.name), part.name, message


def _states(circuit: Circuit, paths: Paths) -> Found:
    """Supplies that no state applies, and supplies that fight."""
    del paths
    states = [state for name, state in circuit.power_states.items() if name != OFF]
    if not any(state.on for state in states):
        if circuit.supplies:
            yield ("power_states",), OFF, "no power state applies a supply, so nothing ever comes up; add one"
        else:
            yield ("supplies",), OFF, "the circuit has no supplies, so nothing ever comes up; add one"
        return
    for supply in circuit.supplies.values():
        if not any(supply.name in state.on for state in states):
            message = f"no power state applies supply {supply.name}; add it to the `on:` of one"
            yield ("supplies", supply.name), supply.name, message
    for state in states:
        on: dict[str, str] = {}
        for name in state.on:
            supply = circuit.supplies[name]
            other = circuit.supplies[on.setdefault(supply.net, name)]
            if other.volts != supply.volts:
                message = f"supplies {other.name} and {name} feed {supply.net} with different volts at once"
                yield ("power_states", state.name), supply.net, message


def _rail_volts(circuit: Circuit, paths: Paths) -> Found:
    """Rails that their regulator or supply is not set to."""
    del paths
    feeders = [(s.net, s.name, s.volts) for s in circuit.supplies.values()]
    for part in circuit.parts.values():
        volts = getattr(part, "volts", None)
        if part.kind == "regulator" and isinstance(volts, float):
            feeders.append((part.pins["OUT"], part.name, volts))
    for net, feeder, volts in feeders:
        rail = circuit.rails.get(net)
        if rail is not None and abs(volts - rail.volts) > rail.within * abs(rail.volts):
            message = f"rail {net} should reach {rail.volts:g} V, but {feeder} is set to {volts:g} V"
            yield ("rails", net), net, message


def _copper(circuit: Circuit, paths: Paths) -> Found:
    """Cut sets of one net that are neither nested nor disjoint."""
    del paths
    pieces = list(circuit.copper.values())
    for k, piece in enumerate(pieces):
        for other in pieces[:k]:
            if other.net == piece.net and _overlap(piece, other):
                message = (
                    f"{other.name} and {piece.name} cut off overlapping sets of pins of {piece.net}; copper without "
                    f"loops cuts off nested or separate sets, so list the pins beyond each break"
                )
                yield ("copper", piece.name), piece.name, message


def _overlap(piece: Copper, other: Copper) -> bool:
    first, second = set(piece.cuts_off), set(other.cuts_off)
    return bool(first & second) and not first <= second and not second <= first


def _names(circuit: Circuit, paths: Paths) -> Found:
    """Names that are easily confused, and device types that nothing uses."""
    del paths
    pins = circuit.nets()
    seen: dict[str, str] = {}
    for net in pins:
        other = seen.setdefault(net.lower(), net)
        if other != net and pins[net]:
            yield _pin_path(pins[net][0]), net, f"nets {other} and {net} differ only in upper and lower case"
    for name in pins:
        if name in circuit.parts:
            yield ("parts", name), name, f"{name} names a part and a net, so a fault of {name} could mean either"
    for supply in circuit.supplies.values():
        if supply.net != supply.name and supply.name in pins:
            message = f"supply {supply.name} feeds {supply.net}, but there is also a net {supply.name}; rename one"
            yield ("supplies", supply.name), supply.name, message
    for name in circuit.unused_models:
        yield ("models", name), name, f"no part uses model {name}"


CHECKS: tuple[Callable[[Circuit, Paths], Found], ...] = (
    _lone_nets,
    _floating,
    _undriven,
    _short_circuited,
    _bare_bases,
    _gate_ratings,
    _bare_diodes,
    _ratings,
    _wrong_supplies,
    _states,
    _rail_volts,
    _copper,
    _names,
)
