"""A board, healthy or faulted, as a SPICE deck.

Nodes get generated names (n1, n2 and so on): SPICE lower-cases names, cuts them, and takes some for its own. Numbers
are plain SI floats, since `1M` is a milliohm there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from seqsim.circuit import Circuit, compile_network
from seqsim.circuit.compile import ISLAND_SIEMENS
from seqsim.errors import SpiceFailedError
from seqsim.network import Disable, Network, Patch, SetGate, SetSide, Turn, Variant, vary
from seqsim.network.network import Floats
from seqsim.parts.wiring import ModelWriter, Wiring, model_line

SHUNT_OHMS = 1e9
"""Resistance (Ω) from each node to ground, the switch level's 1 nS: a floating gate and an open joint then have a
level, and no matrix is singular."""
FINE = f".options rshunt={SHUNT_OHMS!r} reltol=1e-5 abstol=1e-12 vntol=1e-7"
LADDER = f"{FINE} itl1=500 itl2=500"
NEWTON = f"{FINE} itl1=150 gminsteps=0 srcsteps=0"
"""Newton's method alone: where it fails, the engine's ladder of smaller steps almost always fails too at the steep
sources of chips, after a hundred times the work."""
IN_TIME = f".options rshunt={SHUNT_OHMS!r} reltol=1e-3 abstol=1e-9 vntol=1e-5"
KICK_SECONDS = 1e-6
"""Time constant that each node is given for a kick."""
KICK_LENGTH = 1000
"""Time constants that a kick is followed for."""
REST_FARADS = 1e-9
"""Capacitance of every node of a board that is let go from nothing."""
REST_SECONDS = 10.0
"""How long it is followed: ten time constants of a node that nothing but 1 GΩ drives."""


@dataclass(frozen=True)
class Deck:
    """The lines of a deck without an analysis, and the SPICE node of each net and cut-off piece.

    ``places`` maps the names that people use to SPICE nodes; ``nodes`` lists the SPICE node of each node of the
    switch level, the inner points of parts left out. ``near`` are volts by SPICE node where the text of the deck tells
    the engine to start: without them it finds no steady point on many boards with chips.
    """

    title: str
    lines: tuple[str, ...]
    places: Mapping[str, str]
    nodes: Mapping[int, str]
    near: Mapping[str, float] = field(default_factory=dict)

    def operating_point(self, guess: Mapping[str, float] | None = None, options: str = LADDER) -> str:
        """Return the deck with an operating point to find, near ``guess`` (volts by SPICE node) if one is given."""
        near = [f".nodeset V({node})={volts!r}" for node, volts in (guess or {}).items()]
        return self._text(*self.lines, *near, ".op", options=options)

    def kick(self, start: Mapping[str, float], ohms: Mapping[str, float]) -> str:
        """Return the deck with a transient from ``start``, slightly off (volts by SPICE node).

        Every node has a capacitance that gives it the same time constant behind its own resistance ``ohms``. A stable
        point takes the kick back within some time constants, from an unstable one it grows.
        """
        # alternate signs: neighbours of a latch are pushed apart
        off = {node: volts + (0.01 if k % 2 else -0.01) for k, (node, volts) in enumerate(start.items())}
        farads = {node: KICK_SECONDS / resistance for node, resistance in ohms.items()}
        return self._in_time(off, farads, KICK_LENGTH * KICK_SECONDS)

    def from_rest(self) -> str:
        """Return the deck with a transient from 0 V everywhere, with all that is applied there at once.

        Every node has the same capacitance: which of several stable points is reached is then no matter of luck in
        the engine's arithmetic.
        """
        return self.followed({})

    def followed(self, start: Mapping[str, float]) -> str:
        """Return the deck with a transient from ``start`` (volts by SPICE node, else 0 V) to rest, as `from_rest`."""
        nodes = dict.fromkeys(self.nodes.values())
        begin = {node: start.get(node, 0.0) for node in nodes}
        return self._in_time(begin, dict.fromkeys(nodes, REST_FARADS), REST_SECONDS)

    def _in_time(self, start: Mapping[str, float], farads: Mapping[str, float], last: float) -> str:
        """Return the deck with a transient; the board's capacitors are left out, its inductors are short."""
        steady = [line for line in self.lines if not line.startswith("C")]
        steady = [_shorted(line) if line.startswith("L") else line for line in steady]
        storage = [f"Ckick{node} {node} 0 {capacitance!r}" for node, capacitance in farads.items()]
        begin = [f".ic V({node})={volts!r}" for node, volts in start.items()]
        return self._text(*steady, *storage, *begin, f".tran {last / 50!r} {last!r} uic", options=IN_TIME)

    def _text(self, *lines: str, options: str) -> str:
        return "\n".join((self.title, *lines, options, ".end", ""))

    def __str__(self) -> str:
        return self.operating_point(self.near)


def _shorted(line: str) -> str:
    name, first, second, *_ = line.split()
    return f"R{name} {first} {second} 1e-6"


def write_deck(
    circuit: Circuit,
    gates: Mapping[str, bool],
    patches: Iterable[Patch] = (),
    *,
    network: Network | None = None,
    write_model: ModelWriter = model_line,
) -> Deck:
    """Return the deck of a board in a power state (``gates`` as `state_gates` gives them), with a fault's patches.

    Raises
    ------
    SpiceFailedError
        If a patch changes something of a part that its SPICE cards cannot show.
    """
    patches = tuple(patches)
    network = compile_network(circuit) if network is None else network
    variant = vary(network, patches)
    inner = range(network.nets, len(network.node_names))
    spice = {k: f"n{k + 1}" for k in range(variant.size) if k not in inner} | {-1: "0"}
    names = [*network.node_names, *(stub.rpartition("/")[0] for stub in variant.stubs)]
    places = {names[k]: node for k, node in spice.items() if k >= 0}
    changes = _Changes(network, patches)
    lines = [f"* {node} is {_plain(name)}" for name, node in places.items()]
    ties = (places[ground] for ground in circuit.grounds[1:] if ground in places)
    lines += [f"Rtie{node} {node} 0 {1 / ISLAND_SIEMENS!r}" for node in ties]
    for k, supply in enumerate(circuit.supplies.values(), start=1):
        wiring = changes.wiring(supply.name, {"entry": spice[variant.node(f"{supply.name}:entry")]}, write_model)
        lines.append(f"* supply {_plain(supply.name)}")
        if not changes.gone(supply.name):
            applied = changes.forced(supply.applied, gates.get(supply.applied, False))
            idle = changes.forced(supply.idle_low, gates.get(supply.idle_low, False))
            lines += supply.cards(f"s{k}", wiring, applied=applied, idle_low=idle)
            changes.all_shown(supply.name, wiring)
    for k, part in enumerate(circuit.parts.values(), start=1):
        lines.append(f"* {_plain(part.name)}: {part.title}")
        if changes.gone(part.name):
            continue
        nodes = {pin: spice[variant.node(part.pin(pin))] for pin in part.pins}
        closed = gates.get(f"{part.name}:closed")
        wiring = changes.wiring(part.name, nodes, write_model, {} if closed is None else {"closed": closed})
        lines += part.cards(str(k), wiring)
        changes.all_shown(part.name, wiring)
    lines += _added(variant, spice)
    return Deck(_plain(circuit.title or "a board"), tuple(lines), places, {k: n for k, n in spice.items() if k >= 0})


def _plain(text: str) -> str:
    """Return text that SPICE takes for a comment whatever it holds."""
    return " ".join(text.split()).encode("ascii", "replace").decode() or "-"


def _added(variant: Variant, spice: Mapping[int, str]) -> list[str]:
    """Return the lines of what patches add between nodes: bridges, sources and their limits."""
    lines, ports = [], variant.ports
    for k, original in enumerate(variant.port_of):
        if original >= 0:
            continue
        sensed = "+".join(
            f"({weight!r})*V({spice[node]})"
            for node, weight in zip(ports.sense_at[k].tolist(), ports.sense_weight[k].tolist(), strict=True)
            if node >= 0 and weight
        )
        drive = f"{sensed or '0'}-({float(ports.threshold[0, k])!r})"
        amps = f"{float(ports.conductance[0, k])!r}*{f'max(0,{drive})' if ports.clamped[k] else f'({drive})'}"
        for place, (node, weight) in enumerate(
            zip(ports.inject_at[k].tolist(), ports.inject_weight[0, k].tolist(), strict=True)
        ):
            if node >= 0 and weight:
                lines.append(f"Badd{k}x{place} {spice[node]} 0 I=({weight!r})*({amps})")
    return lines


class _Changes:
    """What the patches of a fault change in the parts, apart from where pins lie and what is added."""

    def __init__(self, network: Network, patches: tuple[Patch, ...]) -> None:
        self._network = network
        self._turned: dict[str, dict[str, float]] = {}
        self._sides: dict[str, dict[str, bool]] = {}
        self._gates: dict[str, bool] = {}
        self._off: dict[str, set[str]] = {}
        self._gone: set[str] = set()
        for patch in patches:
            match patch:
                case Turn(owner, knob, value):
                    self._turned.setdefault(owner, {})[knob] = float(np.ravel(value)[0])
                case SetSide(owner, row, above):
                    self._sides.setdefault(owner, {})[row] = above
                case SetGate(gate, on):
                    self._gates[gate] = on
                case Disable(owner, None):
                    self._gone.add(owner)
                case Disable(owner, roles):
                    self._off.setdefault(owner, set()).update(self._carrying(owner, roles or ()))

    def _carrying(self, owner: str, roles: Iterable[str]) -> list[str]:
        """Return those of the roles that the part has at all."""
        own = {self._network.roles[k] for k in self._network.hinges_of.get(owner, ())}
        return [role for role in roles if role in own]

    def gone(self, owner: str) -> bool:
        return owner in self._gone

    def forced(self, gate: str, otherwise: bool) -> bool:  # noqa: FBT001 - a value, not an option
        return self._gates.get(gate, otherwise)

    def wiring(
        self, owner: str, nodes: Mapping[str, str], write_model: ModelWriter, gates: Mapping[str, bool] | None = None
    ) -> Wiring:
        prefix = f"{owner}:"
        forced = {gate.removeprefix(prefix): on for gate, on in self._gates.items() if gate.startswith(prefix)}
        return Wiring(
            nodes,
            turned=self._turned.get(owner),
            sides=self._sides.get(owner),
            gates={**(gates or {}), **forced},
            off=self._off.get(owner, ()),
            write_model=write_model,
        )

    def all_shown(self, owner: str, wiring: Wiring) -> None:
        """Refuse a deck that would leave out what a fault changes."""
        left = wiring.ignored - {"applied", "idle low"}
        if left:
            message = f"SPICE cannot show what this fault changes in {owner} ({', '.join(sorted(left))})"
            raise SpiceFailedError(message, place=owner)


def seeded(deck: Deck, volts: Floats) -> dict[str, float]:
    """Return the switch level's node voltages by SPICE node."""
    return {node: float(volts[k]) for k, node in deck.nodes.items()}
