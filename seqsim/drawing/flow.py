"""Which way signals go on a board: what is a rail, what hangs on a net, which pins of a part give and which take."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

from seqsim.circuit import Circuit
from seqsim.parts import Part
from seqsim.parts.connector import Connector

STIFF_OHMS = 10.0
"""A supply behind less than this feeds a board, one behind more is a signal (our judgement: leads against series
resistors)."""
FEEDS = frozenset({"fuse", "ferrite", "inductor", "jumper"})
"""Kinds that carry a rail on under another name."""
CONTACTS = frozenset({"switch", "button", "jumper"})
TRANSISTORS = frozenset({"npn", "pnp", "npn_prebiased", "pnp_prebiased", "nmos", "pmos", "optocoupler"})
MAIN_PINS = (("C", "E"), ("D", "S"))
FED = ("IN", "VCC")
"""Pins by which chips are fed."""
GIVING = frozenset({"OUT", "Y", "PG"})
"""Pins of chips that drive a net."""
PULL, STEP = 1, 2
"""How far a net is from what drives it: through a pull-up, and for each part in series."""
NOWHERE = 10**6


class Use(Enum):
    """What a pin of a part means in the picture."""

    TAKES = "takes"
    GIVES = "gives"
    RAIL = "rail"
    EARTH = "earth"


@dataclass(frozen=True, slots=True)
class Shunt:
    """A part with two pins that hangs on a net: ``near`` is its pin there, ``far`` the pin on a rail or on ground."""

    part: Part
    near: str
    far: str
    far_net: str


@dataclass(frozen=True)
class Flow:
    """The circuit as a graph of nets and parts.

    Nodes are ``net:N``, ``part:P`` and ``supply:S``. ``after`` lists for each node which ones it drives, in the order
    of the file; ``uses`` tells what each pin of a part means; ``shunts`` what hangs on each net.
    """

    circuit: Circuit
    rails: tuple[str, ...]
    shunts: Mapping[str, tuple[Shunt, ...]]
    uses: Mapping[str, Mapping[str, Use]]
    after: Mapping[str, tuple[str, ...]]

    def before(self) -> dict[str, tuple[str, ...]]:
        """Return for each node what drives it."""
        found: dict[str, list[str]] = {node: [] for node in self.after}
        for node, following in self.after.items():
            for other in following:
                found[other].append(node)
        return {node: tuple(others) for node, others in found.items()}

    def deciding(self, net: str) -> frozenset[str]:
        """Return the nodes from which a net can be reached, itself included."""
        return _reached([f"net:{net}"], self.before())


def _joined(part: Part) -> tuple[tuple[str, str], ...]:
    """Return the pairs of nets that a part joins as one rail."""
    if isinstance(part, Connector):
        return tuple((part.pins[wire], part.pins[pin]) for pin, wire in part.contacts)
    nets = tuple(part.pins.values())
    return ((nets[0], nets[1]),) if part.kind in FEEDS and len(nets) == 2 else ()


def _guarded(circuit: Circuit, part: Part, net: str) -> str | None:
    """Return the net behind a diode or a MOSFET that passes a rail on to what feeds chips."""
    ends = {"diode": ("A", "K"), "pmos": ("D", "S"), "nmos": ("S", "D")}.get(part.kind)
    if ends is None or part.pins.get(ends[0]) != net or ends[1] not in part.pins:
        return None
    behind = part.pins[ends[1]]
    fed = any(other.pins.get(pin) == behind for other in circuit.parts.values() for pin in FED)
    return behind if fed else None


def _reached(start: Iterable[str], edges: Mapping[str, Iterable[str]]) -> frozenset[str]:
    found = set(start)
    queue = deque(start)
    while queue:
        for other in edges.get(queue.popleft(), ()):
            if other not in found:
                found.add(other)
                queue.append(other)
    return frozenset(found)


def _distances(start: Iterable[str], edges: Mapping[str, Iterable[str]]) -> dict[str, int]:
    found = dict.fromkeys(start, 0)
    queue = deque(found)
    while queue:
        node = queue.popleft()
        for other in edges.get(node, ()):
            if other not in found:
                found[other] = found[node] + 1
                queue.append(other)
    return found


def _sorted(edges: Mapping[str, set[str]]) -> dict[str, list[str]]:
    return {net: sorted(others) for net, others in edges.items()}


def flow(circuit: Circuit) -> Flow:
    """Return the graph of a circuit; a pure function of it."""
    return _Sorting(circuit).result()


class _Sorting:
    """The steps from a circuit to its graph."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.grounds = frozenset(circuit.grounds)
        self.rails = self.find_rails()
        self.uses: dict[str, dict[str, Use]] = {}
        self.shunts: dict[str, list[Shunt]] = {}
        self.series: list[tuple[Part, tuple[str, ...], tuple[str, ...]]] = []
        self.drive: dict[str, int] = {}

    def find_rails(self) -> dict[str, int]:
        """Nets that feed the board, with the number of parts from their source."""
        found = {
            supply.net: 0
            for supply in self.circuit.supplies.values()
            if supply.ohms < STIFF_OHMS and supply.idle != "low"
        }
        for part in self.circuit.parts.values():
            if "IN" in part.pins and "OUT" in part.pins and part.kind in ("regulator", "load_switch"):
                found.setdefault(part.pins["OUT"], 0)
        found = {net: 0 for net in found if net not in self.grounds}
        queue = deque(found)
        while queue:
            net = queue.popleft()
            for part in self.circuit.parts.values():
                behind = _guarded(self.circuit, part, net)
                for nets in _joined(part) if behind is None else ((net, behind),):
                    other = nets[1] if nets[0] == net else nets[0]
                    if net in nets and other not in found and other not in self.grounds:
                        found[other] = found[net] + 1
                        queue.append(other)
        return found

    def plain(self, net: str) -> bool:
        """Tell whether a net is a signal."""
        return net not in self.rails and net not in self.grounds

    def result(self) -> Flow:
        for part in self.circuit.parts.values():
            self.sort(part)
        self.find_drive()
        self.turn_series()
        nodes = [f"supply:{name}" for name in self.circuit.supplies]
        nodes += [f"part:{name}" for name in self.uses]
        nets = dict.fromkeys(net for net in self.circuit.pins().values() if net not in self.grounds)
        edges: dict[str, list[str]] = {node: [] for node in (*nodes, *(f"net:{net}" for net in nets))}
        for supply in self.circuit.supplies.values():
            if supply.net not in self.grounds:
                edges[f"supply:{supply.name}"].append(f"net:{supply.net}")
        for name, uses in self.uses.items():
            for pin, use in uses.items():
                net = self.circuit.parts[name].pins[pin]
                first, second = f"net:{net}", f"part:{name}"
                if use is Use.GIVES:
                    first, second = second, first
                if use in (Use.GIVES, Use.TAKES) and second not in edges[first]:
                    edges[first].append(second)
        return Flow(
            self.circuit,
            tuple(self.rails),
            {net: tuple(shunts) for net, shunts in self.shunts.items()},
            self.uses,
            {node: tuple(others) for node, others in edges.items()},
        )

    def sort(self, part: Part) -> None:
        """Give the pins of a part their use, as far as the part alone tells it."""
        uses = {
            pin: Use.EARTH if net in self.grounds else Use.RAIL if net in self.rails else Use.TAKES
            for pin, net in part.pins.items()
        }
        if len(part.pins) == 2 and not isinstance(part, Connector):
            self.sort_pair(part, uses)
            return
        self.uses[part.name] = uses
        if isinstance(part, Connector):
            for pin, wire in part.contacts:
                if self.plain(part.pins[pin]) and self.plain(part.pins[wire]):
                    self.series.append((part, (wire,), (pin,)))
                elif uses[pin] is uses[wire] is Use.RAIL:
                    onward = self.rails[part.pins[wire]] <= self.rails[part.pins[pin]]
                    uses[pin if onward else wire] = Use.GIVES
            return
        if part.kind == "diode":
            common = {"common-anode": "A", "common-cathode": "K", "series": "M"}[
                getattr(part, "dual", None) or "series"
            ]
            legs = tuple(pin for pin in part.pins if pin != common and self.plain(part.pins[pin]))
            if legs and self.plain(part.pins[common]):
                self.series.append((part, legs, (common,)))
            return
        for pair in MAIN_PINS if part.kind in TRANSISTORS else ():
            far = [self.rails.get(part.pins.get(pin, "")) for pin in pair]
            if far[0] is not None and far[1] is not None and far[0] != far[1]:
                uses[pair[0] if far[0] > far[1] else pair[1]] = Use.GIVES
        giving = GIVING | {str(getattr(part, "out", "OUT"))}
        for pin in part.pins if part.kind not in TRANSISTORS else ():
            feeds = uses[pin] is Use.TAKES or (uses[pin] is Use.RAIL and pin == "OUT" and "IN" in part.pins)
            if pin in giving and feeds:
                uses[pin] = Use.GIVES

    def sort_pair(self, part: Part, uses: dict[str, Use]) -> None:
        (first, one), (second, two) = part.pins.items()
        if self.plain(one) and self.plain(two):
            self.uses[part.name] = uses
            self.series.append((part, (first,), (second,)))
        elif self.plain(one) or self.plain(two) or self.grounds & {one, two}:
            near, far = (
                (second, first) if self.plain(two) or (two in self.rails and one in self.grounds) else (first, second)
            )
            if part.pins[near] in self.grounds:
                self.uses[part.name] = uses
                return
            self.shunts.setdefault(part.pins[near], []).append(Shunt(part, near, far, part.pins[far]))
        else:
            self.uses[part.name] = uses
            backwards = self.rails[two] < self.rails[one]
            if part.kind == "diode":
                backwards = first == "K"
            uses[first if backwards else second] = Use.GIVES

    def find_drive(self) -> None:
        """Find how far each net is from what drives it, and so which way transistors in series pass."""
        for supply in self.circuit.supplies.values():
            self.drive[supply.net] = 0
        undecided = []
        for name, uses in self.uses.items():
            part = self.circuit.parts[name]
            for pin, use in uses.items():
                if use is Use.GIVES:
                    self.drive[part.pins[pin]] = 0
            pair = next((pair for pair in MAIN_PINS if part.kind in TRANSISTORS and pair[0] in part.pins), None)
            if pair is None:
                continue
            signals = [pin for pin in pair if self.plain(part.pins[pin])]
            if len(signals) == 2:
                undecided.append((part, *pair))
            for pin in signals if len(signals) == 1 else ():
                uses[pin] = Use.GIVES
                self.drive[part.pins[pin]] = 0
        for net, shunts in self.shunts.items():
            if any(s.part.kind in CONTACTS or (s.part.kind == "resistor" and s.far_net in self.rails) for s in shunts):
                self.drive.setdefault(net, PULL)
        self.relax()
        for part, far, near in undecided:
            # stacked transistors pull from below; a pass transistor passes on what drives one side better
            backwards = self.drive.get(part.pins[far], NOWHERE) < self.drive.get(part.pins[near], NOWHERE)
            gives = near if backwards and not self.driven(part, near) else far
            self.uses[part.name][gives] = Use.GIVES
            self.drive[part.pins[gives]] = 0
        self.relax()

    def driven(self, part: Part, pin: str) -> bool:
        """Tell whether another part drives the net of a pin."""
        return any(
            use is Use.GIVES and other != part.name and self.circuit.parts[other].pins[at] == part.pins[pin]
            for other, uses in self.uses.items()
            for at, use in uses.items()
        )

    def relax(self) -> None:
        for _ in range(len(self.series) + 1):
            changed = False
            for part, *sides in self.series:
                pins = [pin for side in sides for pin in side]
                near = min(self.drive.get(part.pins[pin], NOWHERE) for pin in pins)
                for pin in pins:
                    if self.drive.get(part.pins[pin], NOWHERE) > near + STEP and near < NOWHERE:
                        self.drive[part.pins[pin]] = near + STEP
                        changed = True
            if not changed:
                return

    def turn_series(self) -> None:
        """Let each part in series pass from the net that is driven to the other, else towards the target."""
        open_ends: list[tuple[Part, tuple[str, ...], tuple[str, ...]]] = []
        for part, first, second in self.series:
            near = min(self.drive.get(part.pins[pin], NOWHERE) for pin in first)
            far = min(self.drive.get(part.pins[pin], NOWHERE) for pin in second)
            # a capacitor drives nothing at rest: it goes along with the signal, also where it feeds back
            if near == far or part.kind == "capacitor":
                open_ends.append((part, first, second))
            else:
                self.give(part, second if near < far else first)
        if not open_ends:
            return
        onward = self.decided_edges()
        for part, first, second in open_ends:
            for one in first:
                for two in second:
                    onward.setdefault(part.pins[one], set()).add(part.pins[two])
                    onward.setdefault(part.pins[two], set()).add(part.pins[one])
        backward: dict[str, set[str]] = {}
        for net, others in onward.items():
            for other in others:
                backward.setdefault(other, set()).add(net)
        target = self.circuit.target
        to_target = _distances([target] if target else [], _sorted(backward))
        from_there = _distances(sorted(to_target) or sorted(self.drive), _sorted(onward))
        for part, first, second in open_ends:
            ends = [[part.pins[pin] for pin in side] for side in (first, second)]
            before = [min(to_target.get(net, NOWHERE) for net in nets) for nets in ends]
            after = [min(from_there.get(net, NOWHERE) for net in nets) for nets in ends]
            upstream = max(before) < NOWHERE and before[0] != before[1]
            forwards = before[0] > before[1] if upstream else after[0] <= after[1]
            self.give(part, second if forwards else first)

    def decided_edges(self) -> dict[str, set[str]]:
        """Return which nets each net leads to, through the parts whose direction is known."""
        found: dict[str, set[str]] = {}
        for name, uses in self.uses.items():
            pins = self.circuit.parts[name].pins
            giving = [pins[pin] for pin, use in uses.items() if use is Use.GIVES]
            for pin, use in uses.items():
                if use is Use.TAKES:
                    found.setdefault(pins[pin], set()).update(giving)
        return found

    def give(self, part: Part, pins: tuple[str, ...]) -> None:
        for pin in pins:
            self.uses[part.name][pin] = Use.GIVES


def chain_order(found: Flow) -> tuple[str, ...]:
    """Return the nets of a board from the sources to the target, each after what drives it where that is possible."""
    before = found.before()
    seen: list[str] = []
    done: set[str] = set()

    def visit(node: str) -> None:
        stack = [(node, iter(before[node]))]
        done.add(node)
        while stack:
            at, rest = stack[-1]
            following = next((other for other in rest if other not in done), None)
            if following is None:
                stack.pop()
                if at.startswith("net:"):
                    seen.append(at[4:])
            else:
                done.add(following)
                stack.append((following, iter(before[following])))

    rails = [net for net in found.rails if f"net:{net}" in before]
    target = found.circuit.target
    for net in (*rails, *([target] if target else []), *(node[4:] for node in before if node.startswith("net:"))):
        if f"net:{net}" in before and f"net:{net}" not in done:
            visit(f"net:{net}")
    return tuple(seen)
