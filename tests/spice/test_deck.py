"""Decks: every part, every fault, every name. No engine is needed here."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from shelf import sample
from single_part import NAME, network, part

from seqsim.circuit import compile_network, find_circuit, read_circuit, state_gates
from seqsim.circuit.library import library
from seqsim.faults import middle, single_faults
from seqsim.parts import KINDS
from seqsim.spice.deck import _Changes, write_deck
from seqsim.spice.models import full_model, gain_at

LIBRARY = sorted(library())


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_mode_reaches_the_cards(kind: str) -> None:
    """Whatever a mode turns, forces or switches off in a part, its SPICE lines ask for it."""
    what = part(kind)
    built = network(what)
    nodes = {pin: f"n{k + 1}" for k, pin in enumerate(what.pins)}
    for mode in what.modes():
        at = 1.0 if mode.severity is None else float(mode.severity.points(1)[0])
        changes = _Changes(built, mode.patches(at))
        if changes.gone(NAME):
            continue
        wiring = changes.wiring(NAME, nodes, full_model)
        what.cards("1", wiring)
        changes.all_shown(NAME, wiring)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_fault_by_degrees_changes_a_card(kind: str) -> None:
    """A mode changes the part's lines, unless it adds something between nodes or takes the part away."""
    what = part(kind)
    built = network(what)
    nodes = {pin: f"n{k + 1}" for k, pin in enumerate(what.pins)}
    closed = {"closed": True} if "closed" in type(what).model_fields else {}
    healthy = what.cards("1", _Changes(built, ()).wiring(NAME, nodes, full_model, closed))
    for mode in what.modes():
        at = 1.0 if mode.severity is None else float(mode.severity.points(1)[0])
        patches = mode.patches(at)
        changes = _Changes(built, patches)
        if changes.gone(NAME) or any(type(patch).__name__ in ("Bridge", "Move", "Exchange") for patch in patches):
            continue
        if mode.name != "stuck closed":  # it stands closed here anyway
            assert what.cards("1", changes.wiring(NAME, nodes, full_model, closed)) != healthy, mode.name


@pytest.mark.parametrize("name", LIBRARY)
def test_every_fault_of_the_library_has_a_deck(name: str) -> None:
    """Each single fault can be written, with generated node names and plain numbers only; of large boards a sample."""
    circuit = read_circuit(find_circuit(name))
    built = compile_network(circuit)
    gates = state_gates(circuit, list(circuit.power_states)[-1])
    for fault in sample(circuit, single_faults(circuit)):
        deck = write_deck(circuit, gates, fault.patches(middle(fault.severity)), network=built)
        for line in deck.lines:
            if line.startswith(("*", ".")):
                continue
            assert not re.search(r"\b(None|nan|inf|True|False)\b", line), line
            for word in line.split()[1:3]:
                assert re.fullmatch(r"0|[a-z]+\d+[a-z]?|s\d+e|n\d+", word), line


ODD = """\
format: 1
title: Names that SPICE would take for something else, invented for the tests
supplies:
  +5V: {volts: 5, ohms: 1}
power_states:
  on: {on: [+5V]}
parts:
  R1: {kind: resistor, ohms: 1k, pins: [+5V, time]}
  R2: {kind: resistor, ohms: 1k, pins: [time, "net(1)"]}
  R3: {kind: resistor, ohms: 1k, pins: ["net(1)", $x]}
  R4: {kind: resistor, ohms: 1k, pins: [$x, gnd]}
  R5: {kind: resistor, ohms: 1k, pins: [gnd, EN#]}
  R6: {kind: resistor, ohms: 1k, pins: [EN#, GND]}
"""


def test_odd_net_names_are_mapped_there_and_back(tmp_path: Path) -> None:
    """Nets called `time`, `gnd`, `$x`, `net(1)` get nodes of their own, and their volts come back by name."""
    from seqsim.board import Board

    path = tmp_path / "odd.yaml"
    path.write_text(ODD, encoding="utf-8")
    result = Board.load(path).spice("on")
    assert set(result.nodes) == {"+5V", "time", "net(1)", "$x", "gnd", "EN#"}
    # 5 V over six resistors of 1 kΩ: each takes a sixth, less the 1 Ω of the supply
    for k, net in enumerate(("+5V", "time", "net(1)", "$x", "gnd")):
        assert result.nodes[net].spice == pytest.approx((6 - k) * 5 / 6.001, abs=0.001)
    assert result.worst is not None
    assert abs(result.nodes[result.worst].difference or 0) < 1e-4


def test_a_full_transistor_has_the_gain_that_the_part_tells() -> None:
    """At a twentieth of its rated current a full model has the part's gain, and less at a thousandth of that."""
    line = full_model("m1", "NPN", {"IS": 1e-14, "BF": 200.0, "BR": 1.0, "RB": 10.0, "IKF": 0.2})
    told = {key: float(number) for key, number in re.findall(r"(\w+)=([0-9.e+-]+)", line)}
    assert gain_at(told, 0.01) == pytest.approx(200, rel=1e-6)
    assert gain_at(told, 1e-5) < 120
