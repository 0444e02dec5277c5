"""All single faults of a board of original assembly."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from seqsim.circuit import Circuit, copper_patches
from seqsim.faults.cautions import off_caution
from seqsim.faults.fault import Fault, Kind, Patches
from seqsim.faults.history import Factors, History, Tilt
from seqsim.faults.misfits import misfits
from seqsim.faults.nets import Nets
from seqsim.faults.priors import (
    LEAK_TO_GROUND,
    LEAK_TO_SUPPLY,
    SHORT_TO_GROUND,
    SHORT_TO_SUPPLY,
    WEIGHTS,
    Weight,
    check_factors,
    combined,
)
from seqsim.faults.severity import middle
from seqsim.network import GROUND, Bridge, Disable, Move, Patch
from seqsim.parts.chip import without_ground
from seqsim.parts.part import Part, Severity
from seqsim.quantity import Unit

SHORT = Severity("ohms", Unit.OHM, 0.1, 1e3)
LEAK = Severity("ohms", Unit.OHM, 1e4, 1e7)
SOLDER = Severity("ohms", Unit.OHM, 0.1, 10.0)
"""Bridges between neighbouring pins, and parts whose pins are all shorted: our judgement."""
SUPPLY_PINS = frozenset({"VCC", "GND"})
"""Pins that parts of one package share."""


def open_joint(pin: str) -> str:
    """Name of the node of a pin whose joint is open."""
    return f"{pin}/open"


def single_faults(circuit: Circuit, factors: Factors | None = None) -> tuple[Fault, ...]:
    """Return every single fault of a board, with priors that add up to one.

    Parameters
    ----------
    factors
        What is known of the board: a history, or plain factors on the priors. A key is a kind (`joint`, `leak`, `part`
        and so on, see `Kind`), a place (a part, net, pin, copper or supply, with all that counts as being there) or a
        fault's name; factors whose keys fit the same fault multiply. Only a history of rework or first assembly has
        parts that were fitted wrongly.

    Raises
    ------
    UnknownPlaceError
        If a factor's key fits nothing.
    QuantityError
        If a factor is negative or no number, or if no fault is left.
    """
    history = factors if isinstance(factors, History) else History.of(factors or {})
    fitted_wrongly = (fault for fault in misfits(circuit) if history.may_misfit(fault)) if history.misfitted else ()
    faults = _merged((*_Faults(circuit).all(), *fitted_wrongly))
    names = {name for fault in faults for name in (fault.name, *fault.also, *fault.places)}
    names |= {name for key, _ in history.past for name in _misfit_names(circuit, key)}
    check_factors({tilt.key: tilt.factor for tilt in history.tilts}, names)
    check_factors(dict.fromkeys((key for key, _ in history.past), 1.0), names)
    return history.tilted(faults)


def every_fault(circuit: Circuit) -> tuple[Fault, ...]:
    """Return every single fault of a board, parts that were fitted wrongly included."""
    return single_faults(circuit, History(misfitted=(frozenset(),)))


def tilts_told(circuit: Circuit, history: History) -> tuple[tuple[str, str, tuple[str, ...], float], ...]:
    """Return what a history says: the words, which priors they tilt (a kind, place or fault), where, by which factor.

    Past jobs come last, each with the factor that it has on the share that the rest of the history leaves.
    """
    told = [(tilt.said, tilt.key, tuple(sorted(tilt.places)), tilt.factor) for tilt in history.tilts]
    if history.past:
        before = single_faults(circuit, replace(history, past=()))
        after = single_faults(circuit, history)
        jobs = sum(count for _, count in history.past)
        for key, count in history.past:
            shares = [sum(f.prior for f in faults if Tilt("", key, 1.0).fits(f)) for faults in (before, after)]
            factor = shares[1] / shares[0] if shares[0] > 0 else 1.0
            told.append((f"found in {count} of {jobs} past jobs", key, (), factor))
    return tuple(told)


def _misfit_names(circuit: Circuit, key: str) -> tuple[str, ...]:
    """Return the names of a part fitted wrongly: a past job may have been one, whatever this board went through."""
    return tuple(name for fault in misfits(circuit) for name in (fault.name, *fault.also) if name == key)


@dataclass(frozen=True)
class _Faults:
    """The generators of faults; priors are relative to a film resistor until all are known."""

    circuit: Circuit

    def all(self) -> Iterator[Fault]:
        nets = Nets(self.circuit)
        caution = off_caution(self.circuit)
        for faults in (
            self.parts(), self.supplies(), self.joints(nets), self.copper(),
            self.shorts(nets), self.bridges(), self.missing(nets), self.shorted(),
        ):  # fmt: skip
            for fault in faults:
                yield replace(fault, caution=caution)

    def parts(self) -> Iterator[Fault]:
        """The failure modes of each part."""
        for part in self.circuit.parts.values():
            for mode in part.modes():
                yield Fault(
                    f"{part.name}:{mode.name}", part.name, frozenset({part.name}), Kind.PART, mode.patches,
                    mode.severity, part.rate.relative * mode.share, combined(mode.source, part.rate.source),
                    mode.confirm, mode.repair, "",
                )  # fmt: skip

    def supplies(self) -> Iterator[Fault]:
        """Supplies and signals that are absent, stuck, low or too high."""
        for name, supply in self.circuit.supplies.items():
            for mode in supply.modes():
                yield Fault(
                    f"{name}:{mode.name}", name, _places(name, supply.net), Kind.SUPPLY, mode.patches,
                    mode.severity, supply.rate.relative * mode.share, combined(mode.source, supply.rate.source),
                    mode.confirm, mode.repair, "",
                )  # fmt: skip

    def joints(self, nets: Nets) -> Iterator[Fault]:
        """An open joint for each pin that shares its net; parts of one package share their supply joints."""
        weight = WEIGHTS[Kind.JOINT]
        done: set[str] = set()
        for part in self.circuit.parts.values():
            for pin, net in part.pins.items():
                if part.pin(pin) in done:
                    continue
                pins = self.joint(nets, part, pin, net)
                done.update(pins)
                if nets.joins(net, len(pins)):
                    yield Fault(
                        f"{pins[0]}:joint open", pins[0],
                        _places(*pins, *(at.partition(".")[0] for at in pins), net), Kind.JOINT,
                        _fixed(
                            *(Move((at,), open_joint(pins[0]), joint=True) for at in pins),
                            *without_ground(self.circuit.parts.values(), pins),
                        ),
                        None, weight.relative, weight.source,
                        f"with power off, measure from the metal of {pins[0]} to {net} away from the joint: "
                        f"more than 1 Ω means that the joint is open",
                        f"resolder {pins[0]}", "", tuple(f"{at}:joint open" for at in pins[1:]),
                    )  # fmt: skip

    def joint(self, nets: Nets, part: Part, pin: str, net: str) -> tuple[str, ...]:
        """Pins that one joint carries: the same supply pin of all parts of a package."""
        if pin not in SUPPLY_PINS or part.package is None:
            return (part.pin(pin),)
        members = (self.circuit.parts[name] for name in nets.packages[part.package])
        return tuple(member.pin(pin) for member in members if member.pins.get(pin) == net)

    def copper(self) -> Iterator[Fault]:
        """The vias and tracks that the circuit file names."""
        weight = WEIGHTS[Kind.COPPER]
        for name, copper in self.circuit.copper.items():
            first, second = copper.touch
            moves = copper_patches(self.circuit, name)
            lost = without_ground(self.circuit.parts.values(), [pin for move in moves for pin in move.pins])
            yield Fault(
                f"{name}:broken", name, _places(name, copper.net), Kind.COPPER,
                _fixed(*moves, *lost), None, weight.relative, weight.source,
                f"with power off, measure {first} to {second}: more than 1 Ω means that {name} is broken",
                f"bridge {name} with a wire", "",
            )  # fmt: skip

    def shorts(self, nets: Nets) -> Iterator[Fault]:
        """Each net shorted, or leaking, to ground or to a supply."""
        for net in nets.signals:
            others = [other for other in nets.power if other != net]
            for word, kind, severity, ground, supply in (
                ("short", Kind.SHORT, SHORT, SHORT_TO_GROUND, SHORT_TO_SUPPLY),
                ("leak", Kind.LEAK, LEAK, LEAK_TO_GROUND, LEAK_TO_SUPPLY),
            ):
                yield self.contact(net, GROUND, word, kind, severity, ground.relative, ground)
                for other in others:
                    yield self.contact(net, other, word, kind, severity, supply.relative / len(others), supply)

    def contact(
        self, net: str, other: str, word: str, kind: Kind, severity: Severity, relative: float, weight: Weight
    ) -> Fault:
        """One unwanted conductance between two nets."""
        beeps = "it reads far less than on a good board"
        return Fault(
            f"{net}:{word} to {other}", net, _places(net, other), kind, _bridge(net, other), severity, relative,
            weight.source, f"with power off, measure {net} to {other} in both directions: {beeps}",
            f"find what joins {net} and {other} (lift parts one by one, or find the warm spot at a limited current) "
            f"and remove it" if kind is Kind.SHORT else f"clean the board around {net} and {other}, dry it, look again",
            "",
        )  # fmt: skip

    def bridges(self) -> Iterator[Fault]:
        """Solder or dirt between neighbouring pins of a part."""
        weight = WEIGHTS[Kind.BRIDGE]
        for part in self.circuit.parts.values():
            for first, second in part.neighbours():
                if not {first, second} <= part.pins.keys() or part.pins[first] == part.pins[second]:
                    continue
                yield Fault(
                    f"{part.name}:{first}-{second} bridged", part.name,
                    _places(part.name, part.pins[first], part.pins[second]), Kind.BRIDGE,
                    _bridge(part.pin(first), part.pin(second)), SOLDER, weight.relative, weight.source,
                    f"with power off, measure {part.pin(first)} to {part.pin(second)}: it beeps in both directions",
                    f"remove what joins pins {first} and {second} of {part.name}", "",
                )  # fmt: skip

    def missing(self, nets: Nets) -> Iterator[Fault]:
        """Each package with all its pins open."""
        weight = WEIGHTS[Kind.MISSING]
        for package, parts in nets.packages.items():
            names = tuple(dict.fromkeys((package, *parts) if len(parts) > 1 else (*parts, package)))
            first, *rest = (f"{name}:missing" for name in names)
            places = frozenset(names if len(parts) > 1 else parts)
            yield Fault(
                first, names[0], places, Kind.MISSING, _fixed(*(Disable(name) for name in parts)), None,
                weight.relative, weight.source, f"look whether {names[0]} is there and every joint of it is wetted",
                f"fit {names[0]}", "", tuple(rest),
            )  # fmt: skip

    def shorted(self) -> Iterator[Fault]:
        """Each part of three pins and more with all of them shorted together."""
        weight = WEIGHTS[Kind.SHORTED]
        for part in self.circuit.parts.values():
            first, *rest = part.pins
            if len(rest) < 2 or len(set(part.pins.values())) == 1:
                continue
            yield Fault(
                f"{part.name}:all shorted", part.name, frozenset({part.name}), Kind.SHORTED,
                _star(part.pin(first), [part.pin(pin) for pin in rest]), SOLDER,
                part.rate.relative * weight.relative, weight.source,
                f"with power off, measure between the pins of {part.name}: every pair beeps in both directions",
                f"replace {part.name}", "",
            )  # fmt: skip


def _places(*names: str) -> frozenset[str]:
    return frozenset(names) - {GROUND} if len(names) > 1 else frozenset(names)


def _fixed(*patches: Patch) -> Patches:
    return lambda _: patches


def _bridge(first: str, second: str) -> Patches:
    return lambda ohms: (Bridge(first, second, 1 / ohms),)


def _star(first: str, rest: list[str]) -> Patches:
    return lambda ohms: tuple(Bridge(first, other, 1 / ohms) for other in rest)


def _merged(faults: Iterable[Fault]) -> list[Fault]:
    """Make one of faults that are the same by construction, under the name that comes first."""
    found: dict[object, Fault] = {}
    for fault in faults:
        key = _signature(fault)
        same = found.get(key)
        if same is None:
            found[key] = fault
        else:
            found[key] = replace(same, prior=same.prior + fault.prior, also=(*same.also, fault.name, *fault.also))
    return list(found.values())


def _signature(fault: Fault) -> object:
    """What a fault does, so that equal signatures are equal events.

    A contact between two points is told by its ends alone: if a part's own short and a solder bridge join the same
    pins, no reading can tell one from the other, whatever ranges of resistance are assumed.
    """
    patches = fault.patches(middle(fault.severity))
    if len(patches) == 1 and isinstance(patches[0], Bridge):
        return frozenset({patches[0].first, patches[0].second}), fault.kind is Kind.LEAK
    return frozenset(_signed(patch) for patch in patches)


def _signed(patch: Patch) -> object:
    if isinstance(patch, Bridge):
        return frozenset({patch.first, patch.second}), f"{patch.siemens:.9g}"
    return patch
