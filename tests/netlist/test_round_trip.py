"""Circuits of discrete parts, written as SPICE and imported again, keep their levels."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqsim.circuit import OFF, Circuit, compile_network, parse_circuit, read_circuit, state_gates
from seqsim.netlist import import_text
from seqsim.solver import solve
from seqsim.spice.deck import write_deck

FOLDER = Path(__file__).parents[2] / "circuits"
DISCRETE = frozenset({
    "resistor", "capacitor", "inductor", "ferrite", "diode", "npn", "pnp", "npn_prebiased", "pnp_prebiased", "nmos",
    "pmos", "fuse", "jumper", "switch", "button", "load", "connector",
})  # fmt: skip
"""Kinds that R, C, L, D, Q and M can say."""
SAME = 5e-3
"""Volts within which a level counts as the same: the aim."""


def unlimited(circuit: Circuit) -> Circuit:
    """Return a circuit whose supplies have no limit: SPICE's V element has none, and a healthy board meets none."""
    supplies = {name: supply.model_copy(update={"amps": None}) for name, supply in circuit.supplies.items()}
    return circuit.model_copy(update={"supplies": supplies})


def is_discrete(circuit: Circuit) -> bool:
    """Tell whether R C L D Q M and V can say all that a circuit holds."""
    return (
        all(part.kind in DISCRETE and getattr(part, "ohms", 0) is not None for part in circuit.parts.values())
        and len(circuit.grounds) == 1
    )


CIRCUITS = {
    path.stem: circuit
    for path in sorted(FOLDER.glob("*.yaml"))
    if not path.name.endswith(".readings.yaml") and is_discrete(circuit := read_circuit(path))
}


def test_there_are_such_circuits() -> None:
    """Most single stages of the library are of discrete parts."""
    assert set(CIRCUITS) >= {"inverting_npn", "double_inversion", "p_channel_high_side"}


@pytest.mark.parametrize("name", CIRCUITS)
def test_same_levels_after_the_way_through_spice(name: str) -> None:
    """Each net of each power state keeps its level within 5 mV."""
    circuit = unlimited(CIRCUITS[name])
    network = compile_network(circuit)
    for state in circuit.power_states:
        if state == OFF:
            continue
        gates = state_gates(circuit, state)
        levels = solve(network, gates=gates)  # both from nothing: a netlist knows no state before
        deck = write_deck(circuit, gates)
        imported = parse_circuit(import_text(deck.operating_point()).text)
        again = solve(compile_network(imported), gates=state_gates(imported, "on"))
        for net in circuit.nets():
            if net in circuit.grounds:
                continue
            spice = deck.places[net]
            assert re.fullmatch(r"n\d+", spice)
            assert again.at(spice) == pytest.approx(levels.at(net), abs=SAME), (state, net)
