"""Random small boards, invented by Hypothesis: supplies, resistors, diodes, transistors and gates on a few nets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bench import network as build
from hypothesis import strategies as st

from seqsim.network import Bridge, Move, Network, Patch, Turn
from seqsim.network.network import Bools
from seqsim.parts import KINDS, Part
from seqsim.parts.supply import Supply
from seqsim.solver import static_gates

NETS = ("V12", "V5", "GND", "N1", "N2", "N3", "N4", "N5")
VOLTS = {"V12": 12.0, "V5": 5.0}

PASSIVE = ("resistor", "resistor", "resistor", "diode", "zener")
DISCRETE = (*PASSIVE, "npn", "pnp", "nmos", "pmos")
ALL = (*DISCRETE, "not", "and")

ohms = st.sampled_from([0.5, 22.0, 330.0, 1e3, 4.7e3, 10e3, 47e3, 220e3, 1e6])
nets = st.sampled_from(NETS)


@dataclass(frozen=True)
class Board:
    """Supplies and parts, in the order of a file."""

    supplies: tuple[Supply, ...]
    parts: tuple[Part, ...]

    def network(self) -> Network:
        """Return its network."""
        return build(self.supplies, self.parts)

    def static(self, network: Network) -> Bools:
        """Return the gates with all supplies applied."""
        return static_gates(network, {supply.applied: True for supply in self.supplies})


def make(kind: str, name: str, pins: dict[str, str], **values: Any) -> Part:
    """Return a part of a kind."""
    return KINDS[kind](**{"name": name, "kind": kind, "pins": pins} | values)


@st.composite
def parts(draw: st.DrawFn, name: str, kinds: tuple[str, ...]) -> Part:
    """Draw one part on nets of the board."""
    kind = draw(st.sampled_from(kinds))
    if kind == "resistor":
        return make(kind, name, {"1": draw(nets), "2": draw(nets)}, ohms=draw(ohms))
    if kind in ("diode", "zener"):
        values = {"type": "zener", "volts": 5.1} if kind == "zener" else {}
        return make("diode", name, {"A": draw(nets), "K": draw(nets)}, **values)
    if kind in ("npn", "pnp"):
        return make(kind, name, {pin: draw(nets) for pin in "BCE"})
    if kind in ("nmos", "pmos"):
        return make(kind, name, {pin: draw(nets) for pin in "GDS"})
    inputs = {pin: draw(nets) for pin in ("A" if kind == "not" else "AB")}
    # an output never sits on a supply: two stiff sources against each other are another test's subject
    return make(kind, name, inputs | {"Y": draw(st.sampled_from(NETS[3:])), "VCC": "V5", "GND": "GND"}, family="hc")


@st.composite
def boards(draw: st.DrawFn, kinds: tuple[str, ...] = ALL, most: int = 12) -> Board:
    """Draw a board of two supplies and some parts of the kinds given."""
    supplies = (
        Supply(name="V12", net="V12", volts=12, ohms=0.05, amps=draw(st.sampled_from([None, 0.3, 3.0]))),
        Supply(name="V5", net="V5", volts=5, ohms=0.1),
    )
    count = draw(st.integers(2, most))
    listed = [draw(parts(f"X{k}", kinds)) for k in range(count)]
    # every net exists, held by a leakage path
    held = [make("resistor", f"H{k}", {"1": net, "2": "GND"}, ohms=1e6) for k, net in enumerate(NETS) if net != "GND"]
    return Board(supplies, tuple(listed + held))


@st.composite
def patches(draw: st.DrawFn, board: Board) -> tuple[Patch, ...]:
    """Draw one or two patches that fit a board."""
    network = board.network()
    pins = [name for name in network.terminals if "." in name]
    knobs = [key for key, knob in network.knobs.items() if knob.neutral == 1]
    found: list[Patch] = []
    for k in range(draw(st.integers(1, 2))):
        match draw(st.sampled_from(["bridge", "move", "turn"])):
            case "bridge":
                first, second = draw(nets), draw(nets)
                found.append(Bridge(first, second, draw(st.sampled_from([10.0, 1e-2, 1e-4, 1e-7]))))
            case "move":
                found.append(Move((draw(st.sampled_from(pins)),), f"cut {k}", joint=draw(st.booleans())))
            case _:
                owner, knob = draw(st.sampled_from(knobs))
                found.append(Turn(owner, knob, draw(st.sampled_from([0.2, 0.8, 1.5, 4.0]))))
    return tuple(found)
