"""Facts that are put into a circuit file: it says them, and all else stays as it was written."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from seqsim.circuit import find_circuit, parse_circuit
from seqsim.circuit.circuit_file import CircuitFile
from seqsim.circuit.library import library
from seqsim.errors import CircuitError

BOARD = """\
# a pump driver, drawn from the board on a Tuesday      (invented)
format: 1
title: Pump driver   # working title

supplies:
  V5:    {volts: 5, spread: 2%}      # bench
  START: {volts: 3.3, ohms: 1k}

power_states:
  idle:    {on: [V5]}
  running: {on: [V5, START], after: 50ms}   # both

# ---- parts
parts:
  # the inverter
  R1:  {kind: resistor, ohms: "10k", pins: [START, Q1_B]}   # base
  Q1:  {kind: npn, pins: {B: Q1_B, C: EN, E: GND},
        gain: 150}  # on two lines
  R2:
    kind: resistor
    ohms: ?            # not read yet
    pins: [V5, EN]

  # ---- to be traced
  R3:  {kind: resistor, ohms: 1k, pins: [EN, R3_2]}

rails:
  EN: {volts: 5}   # up

healthy:
  idle: {EN: 5 V}

target: EN   # the enable
# the end
"""

CHANGED: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # facts, and the lines that they change: those that go (-) and those that come (+)
    "a value": (("R2 22k",), ("-    ohms: ?            # not read yet", "+    ohms: 22k            # not read yet")),
    "a value in quotes": (
        ("r1 4k7",),
        ('-  R1:  {kind: resistor, ohms: "10k", pins: [START, Q1_B]}   # base',
         "+  R1:  {kind: resistor, ohms: 4k7, pins: [START, Q1_B]}   # base"),
    ),
    "a value that was not there": (
        ("R3 1%",),
        ("-  R3:  {kind: resistor, ohms: 1k, pins: [EN, R3_2]}",
         "+  R3:  {kind: resistor, ohms: 1k, pins: [EN, R3_2], tolerance: 1%}"),
    ),
    "a key of a block": (("R2 tolerance=5%",), ("+    tolerance: 5%",)),
    "a part": (
        ("R9 4k7 1% 1=V5 2=r3.2",), ("+  R9: {kind: resistor, ohms: 4k7, tolerance: 1%, pins: {1: V5, 2: R3_2}}",),
    ),
    "a transistor by its legs": (
        ("Q2 npn sot23 1=R3.2 2=gnd 3=OUT",),
        ("+  Q2: {kind: npn, pins: {B: R3_2, E: GND, C: OUT}}",),
    ),
    "a pin that lies elsewhere": (("R2 2=OUT",), ("-    pins: [V5, EN]", "+    pins: [V5, OUT]")),
    "a contact of a loose end": (
        ("R3.2 = Q1.B",),
        ("-  R3:  {kind: resistor, ohms: 1k, pins: [EN, R3_2]}",
         "+  R3:  {kind: resistor, ohms: 1k, pins: [EN, Q1_B]}"),
    ),
    "copper": (
        ("R1.2 = Q1.B via VIA1",), ("+copper:", "+  VIA1: {net: Q1_B, cuts_off: [R1.2], touch: [R1.2, Q1.B]}"),
    ),
    "a net's name": (
        ("Q1.B is BASE",),
        ('-  R1:  {kind: resistor, ohms: "10k", pins: [START, Q1_B]}   # base',
         "-  Q1:  {kind: npn, pins: {B: Q1_B, C: EN, E: GND},",
         '+  R1:  {kind: resistor, ohms: "10k", pins: [START, BASE]}   # base',
         "+  Q1:  {kind: npn, pins: {B: BASE, C: EN, E: GND},"),
    ),
    "a supply and its state": (
        ("V12 12 0.1ohm", "state boost: v5 V12 after 5ms", "state running V5 START V12"),
        ("+  V12: {volts: 12, ohms: 0.1ohm}",
         "-  running: {on: [V5, START], after: 50ms}   # both",
         "+  running: {on: [V5, START, V12], after: 50ms}   # both",
         "+  boost: {on: [V5, V12], after: 5ms}"),
    ),
    "a voltage": (
        ("v5 5.02",),
        ("-  V5:    {volts: 5, spread: 2%}      # bench", "+  V5:    {volts: 5.02, spread: 2%}      # bench"),
    ),
    "target, rail, title": (
        ("target Q1.B", "rail EN 4.8 5%", "title Pump driver: second board"),
        ("-title: Pump driver   # working title", '+title: "Pump driver: second board"   # working title',
         "-  EN: {volts: 5}   # up", "+  EN: {volts: 4.8, within: 5%}   # up",
         "-target: EN   # the enable", "+target: Q1_B   # the enable"),
    ),
    "what stands there already": (("R1 10k", "R1.2 = Q1.B", "target EN", "Q1 npn"), ()),
}  # fmt: skip


@pytest.fixture
def board(tmp_path: Path) -> CircuitFile:
    path = tmp_path / "board.yaml"
    path.write_text(BOARD, encoding="utf-8")
    return CircuitFile.open(path)


@pytest.mark.parametrize("name", CHANGED)
def test_only_what_a_fact_says_is_changed(board: CircuitFile, name: str) -> None:
    """Comments, order, blank lines and alignment stay; the changes are told with their lines."""
    facts, lines = CHANGED[name]
    done = board
    for fact in facts:
        done = done.add(fact)
    found = [
        line for line in difflib.unified_diff(BOARD.splitlines(), done.text.splitlines(), n=0, lineterm="")
        if line[:1] in "+-" and line[:3] not in ("+++", "---")
    ]  # fmt: skip
    assert sorted(found) == sorted(lines)
    assert bool(done.changes) == bool(lines)
    done.save()
    assert CircuitFile.open(board.path).text == done.text


def test_a_new_name_goes_wherever_the_net_is_named(board: CircuitFile) -> None:
    """Pins, rails, stated levels and the target follow."""
    done = board.add("EN is ENABLE").circuit()
    assert done.target == "ENABLE"
    assert set(done.rails) == {"ENABLE"}
    assert set(done.healthy["idle"]) == {"ENABLE"}
    assert set(done.nets()) == {"GND", "V5", "START", "Q1_B", "ENABLE", "R3_2"}


REFUSED = {
    "Q2 npn? B=EN": "Q2 may be npn, pnp; a circuit file holds what is certain",
    "Q2 npn 1=EN": "which leg of Q2 is which?",
    "R2 22k?": "write R2 ? for its value, or keep notes",
    "R1 npn": "R1 is a resistor on line 16 of the file; change its kind there",
    "Q1 10k": "'10k' is no value of Q1, which is a npn",
    "R1 ohms=-5": "-5",
    "R1.2 = R2.2": "Q1_B (R1.2, Q1.B) and EN (Q1.C, R2.2, R3.1) are two nets of the file",
    "V5 = START": "START and V5 are two supplies",
    "R3.2 not Q1.B": "only contacts that are there; take it as a reading",
    "EN goes on": "keep what is not traced yet in notes",
    "EN done": "keep what is not traced yet in notes",
    "read EN 0.02": "a circuit file holds no readings",
    "about all of it": "edit it in the file",
    "ground AGND": "edit `grounds:` of the file",
    "R3.2 = U7.1": "add the part first",
    "R3.2 goes U7.1": "add the part first",
    "rail NIX 5": "there is no net NIX in the file",
    "target NIX": "there is no net NIX in the file",
    "state running: V55": "'V55', which is no supply",
    "Q3 inverts OUT from R3.2": "write its parts one by one",
    "frobnicate": "says nothing yet",
    "V5 is GROUNDED": "V5 keeps its name",
}
"""Lines that cannot be put into this file, and words of the sentence that says why."""


@pytest.mark.parametrize("line", REFUSED)
def test_what_cannot_be_put_into_a_circuit_file(board: CircuitFile, line: str) -> None:
    """One sentence that names the line and the mend; nothing is changed."""
    with pytest.raises(CircuitError) as caught:
        board.add(line)
    assert REFUSED[line] in str(caught.value)
    assert f"'{line}' is left out: " in str(caught.value)
    assert "\n" not in str(caught.value)
    assert board.text == BOARD


@pytest.mark.parametrize("name", sorted(library()))
def test_the_library_stays_as_it_was_written(name: str) -> None:
    """A part more is one line more, in every file of the library; the circuit is the same with that part."""
    held = CircuitFile.open(find_circuit(name))
    before = held.circuit()
    done = held.add(f"R990 47k 5% 1={before.target or 'GND'} 2=gnd")
    lines = done.text.splitlines()
    (fresh,) = [k for k, line in enumerate(lines) if "R990" in line]
    assert lines[:fresh] + lines[fresh + 1 :] == held.text.splitlines()
    after = done.circuit()
    assert {k: part for k, part in after.parts.items() if k != "R990"} == dict(before.parts)
    assert after.copper == before.copper


def test_line_ends_and_byte_order_mark_stay(tmp_path: Path) -> None:
    """What another editor has written stays so."""
    path = tmp_path / "board.yaml"
    path.write_bytes("\ufeff".encode() + BOARD.replace("\n", "\r\n").encode())
    CircuitFile.open(path).add("R9 1k 1=EN 2=GND").add("R1.2 = Q1.B via VIA1").save()
    content = path.read_bytes()
    assert content.startswith("\ufeff".encode())
    assert content.count(b"\n") == content.count(b"\r\n") == BOARD.count("\n") + 3


def test_files_in_one_line() -> None:
    """A file that is one flow mapping gets entries before its brace."""
    from seqsim.circuit.source_edit import added

    text = "{format: 1, supplies: {V5: {volts: 5}}, parts: {R1: {kind: resistor, ohms: 1k, pins: [V5, GND]}}}\n"
    text = added(text, ("parts",), "R2", "{kind: resistor, ohms: 2k, pins: [V5, MID]}")
    text = added(text, ("copper",), "W1", "{net: V5, cuts_off: [R2.1]}")
    circuit = parse_circuit(text)
    assert list(circuit.parts) == ["R1", "R2"]
    assert circuit.copper["W1"].cuts_off == ("R2.1",)
