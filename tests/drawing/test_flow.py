"""Which way signals go: rails, what hangs on a net, and the direction of parts that have none of their own."""

from __future__ import annotations

import pytest
from drawn_boards import BOARDS, library_circuit

from seqsim.circuit import Circuit
from seqsim.drawing.flow import Use, chain_order, flow


def test_rails_and_shunts_of_a_board() -> None:
    """A battery, regulator outputs and what a fuse passes on are rails; a signal behind 100 Ω is none."""
    found = flow(library_circuit("greenhouse_fan"))
    assert set(found.rails) == {"V24", "V24F", "V5", "V3V3"}
    hanging = {net: {shunt.part.name for shunt in shunts} for net, shunts in found.shunts.items()}
    assert hanging["EN_5V"] == {"R2", "R3"}
    assert hanging["M1_GATE"] == {"R12", "D3"}
    assert hanging["FLAP"] == {"SW1", "R15"}


@pytest.mark.parametrize(
    ("part", "takes", "gives"),
    [
        ("D2", {"K1", "K2"}, {"A"}),  # a wired-AND: the cathodes decide, the common anode is decided
        ("R9", {"1"}, {"2"}),  # a gate behind a resistor is driven, although it loads the target
        ("R11", {"2"}, {"1"}),  # from the drain that pulls to the gate that is pulled
        ("Q1", {"B"}, {"C"}),
        ("M1", {"G"}, {"D"}),
        ("U5", {"A", "B"}, {"Y"}),
        ("U3", {"EN"}, {"OUT", "PG"}),
    ],
)
def test_directions(part: str, takes: set[str], gives: set[str]) -> None:
    """Worked out by hand from the drawing of the greenhouse board."""
    uses = flow(library_circuit("greenhouse_fan")).uses[part]
    assert {pin for pin, use in uses.items() if use is Use.TAKES} == takes
    assert {pin for pin, use in uses.items() if use is Use.GIVES} == gives


def test_followers_and_pass_transistors(every_shape: Circuit) -> None:
    """An emitter follower gives at its emitter, a pass FET at the side that nothing else drives better."""
    uses = flow(every_shape).uses
    assert uses["Q3"]["E"] is Use.GIVES
    assert uses["Q3"]["C"] is Use.RAIL
    assert sorted(uses["M1"][pin].value for pin in ("D", "S")) == ["gives", "takes"]


@pytest.mark.parametrize("name", BOARDS)
def test_the_target_is_decided_by_its_sources(name: str) -> None:
    """What decides the target holds a device or supply that drives it, and nothing that only hangs behind it."""
    circuit = library_circuit(name)
    found = flow(circuit)
    assert circuit.target is not None
    deciding = found.deciding(circuit.target)
    assert any(node.startswith(("part:", "supply:")) for node in deciding)
    behind = {other for node in found.after[f"net:{circuit.target}"] for other in (node, *found.after[node])}
    assert not (behind & deciding)


@pytest.mark.parametrize("name", BOARDS)
def test_order_of_nets(name: str) -> None:
    """The order from the sources to the target names each net once, and what decides the target before it."""
    circuit = library_circuit(name)
    found = flow(circuit)
    order = chain_order(found)
    assert sorted(order) == sorted(net for net in circuit.nets() if f"net:{net}" in found.after)
    assert circuit.target is not None
    before = order[: order.index(circuit.target)]
    assert {node[4:] for node in found.deciding(circuit.target) if node.startswith("net:")} <= {
        *before, circuit.target,
    }  # fmt: skip
