"""Netlists written by hand: imported and solved beside SPICE, or refused by line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from seqsim.circuit import check, compile_network, parse_circuit, state_gates
from seqsim.errors import CircuitError
from seqsim.netlist import NetlistErrors, import_netlist, import_text
from seqsim.netlist.numbers import bench, spice_number
from seqsim.solver import solve

DECKS = Path(__file__).parent / "decks"
NEAR = 0.1
"""Volts between the switch level and SPICE that DESIGN aims at for 99 of 100 levels."""

SPICE = {
    "divider_bias": {"base": 1.783185, "coll": 5.989106, "emit": 1.125271},
    "four_resistors": {"gate": 4.975124, "drain": 7.021259, "source": 2.978681},
    "shelf_latch": {"a": 0.064027, "b": 4.236819, "X3_mid": 0.057151, "out": 4.999976},
    "zener_and_diodes": {"rail": 5.157704, "wire": 0.563296, "low": 0.020884},
    "high_side": {"b": 0.645419, "drv": 0.022964, "gate": 1.111776, "lamp": 11.99153, "load": 11.99153},
    "currents": {"sense": 4.270867, "e": 4.959656},
}
"""Operating points that ngspice 39 finds for these decks, with 1 GΩ from each node to ground."""


@pytest.mark.parametrize("name", SPICE)
def test_solves_as_spice_does(name: str) -> None:
    """Each node of six netlists has the level that SPICE finds, and nothing in the circuit file is suspicious."""
    circuit = parse_circuit(import_netlist(DECKS / f"{name}.cir").text)
    levels = solve(compile_network(circuit), gates=state_gates(circuit, "on"))
    for node, volts in SPICE[name].items():
        assert levels.at(node) == pytest.approx(volts, abs=NEAR), node
    assert [str(warning) for warning in check(circuit) if "floats" not in str(warning)] == []


def test_textbook_answers() -> None:
    """Sedra and Smith, 5th edition, example 4.5 (from memory, recomputed): gate 5 V, source 3 V, drain 7 V."""
    circuit = parse_circuit(import_netlist(DECKS / "four_resistors.cir").text)
    levels = solve(compile_network(circuit), gates=state_gates(circuit, "on"))
    for node, volts in {"gate": 5.0, "source": 3.0, "drain": 7.0}.items():
        assert levels.at(node) == pytest.approx(volts, abs=0.05)


def test_each_entry_names_its_line() -> None:
    """A comment behind each entry gives the line of the element, of its model, and of the X lines that it came by."""
    text = import_netlist(DECKS / "shelf_latch.cir").text
    lines = {line.split(":")[0].strip(): line for line in text.splitlines()}
    assert "# line 3: V1 rail 0 5" in lines["V1"]
    assert "# line 11, through line 16, through line 7: Q1 out base 0 small, model on line 19" in lines["X3_X1_Q1"]


def test_nothing_is_left_out_silently() -> None:
    """Each of these says something that a circuit file does not: it is noted with its line."""
    told = {name: {(note.line, note.text) for note in import_netlist(DECKS / f"{name}.cir").notes} for name in SPICE}
    said = {(name, line, text.split()[0]) for name, notes in told.items() for line, text in notes}
    assert said >= {
        ("shelf_latch", 4, "V2:"), ("shelf_latch", 20, "commands"), ("shelf_latch", 25, "'this"),
        ("zener_and_diodes", 10, "Cw:"), ("zener_and_diodes", 13, ".tran"), ("high_side", 3, "VON:"),
        ("high_side", 9, "VM:"), ("currents", 3, "I1:"), ("currents", 5, "I2:"), ("currents", 8, "Rfar:"),
    }  # fmt: skip


BROKEN = {
    "a value with digits behind its suffix": ("R1 a 0 4k7", 3, "write it like 4.7k"),
    "a source that is controlled": ("E1 a 0 b 0 10", 3, "voltage-controlled source"),
    "a model that is nowhere": ("Q1 a b 0 small", 3, "the model small, which is not here"),
    "a model of another kind": ("Q1 a b 0 d1\n.model d1 D(IS=1n)", 3, "needs NPN or PNP"),
    "a parameter of a model that nobody knows": ("D1 a 0 d1\n.model d1 D(IS=1n\n+ WEIGHT=3)", 4, "WEIGHT of model d1"),
    "a subcircuit that is nowhere": ("X1 a b gone", 3, "no .subckt of that name"),
    "a subcircuit with other nodes": ("X1 a b s\n.subckt s p\nR1 p 0 1k\n.ends", 3, "gives 2 nodes, but .subckt s"),
    "a subcircuit that is never closed": ("R1 a 0 1k\n.subckt s p\nR1 p 0 1k", 4, "never closed"),
    "a subcircuit in itself": ("X1 a s\n.subckt s p\nX1 p s\n.ends", 5, "inside itself"),
    "another file": (".include parts.lib", 3, "put its text in its place"),
    "an expression": ("R1 a 0 {2*R}", 3, "has an expression"),
    "a waveform alone": ("V2 a 0 SIN(0 1 1k)", 3, "only a waveform"),
    "a source between two nodes": ("V2 a b 5", 3, "put node 0 at one end"),
    "a bulk elsewhere": ("M1 a b c 0 f\n.model f NMOS(VTO=1)", 3, "put the bulk on c"),
    "a depletion type": ("M1 a b 0 0 f\n.model f NMOS(VTO=-1)", 3, "VTO of an enhancement type"),
    "a level that is not the first": ("M1 a b 0 0 f\n.model f NMOS(LEVEL=8 VTO=1)", 3, "level 8"),
    "one name twice": ("R1 a 0 1k\nr1 a b 1k", 4, "stands twice (first on line 3)"),
    "one node": ("R1 a 10k", 3, "needs 2 nodes and a value"),
    "a value beyond reason": ("R1 a 0 -5", 3, "between 0"),
    "a word that means nothing here": ("R1 a 0 10k green", 3, "'green' of R1 is not understood"),
    "what SPICE programs read differently": ("R1 a 0 10a", 3, "write 10"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_refused_by_line(what: str) -> None:
    """What is not understood is named with its line and what mends it."""
    body, line, words = BROKEN[what]
    with pytest.raises(NetlistErrors) as caught:
        import_text(f"a title\nV1 x 0 5\n{body}\n.end\n", "board.cir")
    error = caught.value
    assert (error.file, error.line) == ("board.cir", line)
    assert words in error.message
    assert str(error).startswith(f"board.cir:{line}: ")
    assert "\n" not in str(error)


def test_a_continuation_of_nothing() -> None:
    """A line with + that no line precedes is an error, not a part of the title."""
    with pytest.raises(NetlistErrors, match="continues none"):
        import_text("a title\n+ R1 a 0 1k\n")


def test_all_errors_are_found_in_one_pass() -> None:
    """The first error is told in full, the lines of the others with it."""
    with pytest.raises(NetlistErrors) as caught:
        import_text("t\nR1 a 0 1k7\nR2 a 0 5k\nE1 a 0 b 0 1\nD1 a 0 none\n")
    assert [error.line for error in caught.value.errors] == [2, 4, 5]
    assert str(caught.value).endswith("(also wrong: lines 4, 5)")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1M", 1e-3), ("1m", 1e-3), ("1MEG", 1e6), ("2.2megohm", 2.2e6), ("1mil", 25.4e-6), ("10kOhm", 1e4),
        ("5V", 5.0), ("1F", 1e-15), ("100n", 1e-7), ("4.7UF", 4.7e-6), ("-.5", -0.5), ("1e3k", 1e6), ("3T", 3e12),
        ("7G", 7e9),
    ],
)  # fmt: skip
def test_suffixes_as_spice_means_them(text: str, value: float) -> None:
    """M is milli, MEG mega, MIL 25.4 µm, F femto; what follows a suffix means nothing (SPICE input format)."""
    assert spice_number(text) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("value", [1e4, 4.7e3, 2.5e-9, 1e-14, 0.0, -12.0, 1.2345678901, 2.2e6, 999.9999, 1e-7])
def test_numbers_are_written_exactly(value: float) -> None:
    """What the circuit file says is the number that the netlist said."""
    from seqsim.quantity import Unit, parse_quantity

    assert parse_quantity(bench(value), Unit.NUMBER if "e" in bench(value) else Unit.OHM) == value


def test_a_source_without_a_steady_value_is_zero() -> None:
    """SPICE takes 0 for it; the note says so."""
    imported = import_text("t\nV1 a 0 AC 1\nR1 a 0 1k\n")
    assert parse_circuit(imported.text).supplies["V1"].volts == 0
    assert any("takes for 0" in note.text for note in imported.notes)


def test_power_states_and_target() -> None:
    """States apply the sources that are named, whatever their capitals; the target is the net of a node."""
    text = "t\nV1 Rail 0 5\nV2 GO 0 3.3\nR1 rail en 1k\nR2 go en 1k\n"
    circuit = parse_circuit(import_text(text, states={"idle": ["v1"], "run": ["V1", "V2"]}, target="EN").text)
    assert [*circuit.power_states] == ["off", "idle", "run"]
    assert circuit.power_states["run"].on == ("V1", "V2")
    assert circuit.target == "en"
    with pytest.raises(CircuitError, match="V3"):
        import_text(text, states={"idle": ["V3"]})
    with pytest.raises(CircuitError, match="no node 'enn'; did you mean en"):
        import_text(text, target="enn")


def test_names_that_a_circuit_file_cannot_have() -> None:
    """Nodes and elements with forbidden signs, or with one name for both, are renamed, and the nodes noted."""
    imported = import_text("t\nV1 +5v 0 5\nR1 +5v n.1 1k\nR.2 n.1 R1 1k\nR3 r1 GND 1k\n")
    circuit = parse_circuit(imported.text)
    assert set(circuit.parts) == {"R1", "R_2", "R3"}
    assert set(circuit.nets()) == {"GND", "+5v", "n_1", "R1_"}
    assert {note.line for note in imported.notes} == {3, 4}


def test_the_command(shell: Any, tmp_path: Path) -> None:
    """The circuit file goes to standard output, the notes to standard error, a bad netlist ends with code 2."""
    done = shell(f"import {DECKS / 'high_side.cir'} --state idle=VBAT --state on=VBAT,VON --target lamp")
    assert done.code == 0
    assert parse_circuit(done.out).target == "lamp"
    assert "high_side.cir:3: VON" in done.err
    bad = tmp_path / "bad.cir"
    bad.write_text("t\nR1 a 0 4k7\n")
    done = shell(f"import {bad}")
    assert (done.code, done.out) == (2, "")
    assert f"{bad}:2: " in done.err
    assert shell(f"import {DECKS / 'high_side.cir'} --state idle").code == 2
    assert shell(f"import {tmp_path / 'none.cir'}").code == 2
