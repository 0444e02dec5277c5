"""What is legal but suspicious is told, and a sound board is left alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from seqsim.circuit import Circuit, check, parse_circuit, read_circuit, starter_text, write_starter
from seqsim.errors import CircuitError

Build = Callable[..., Circuit]


class Case(NamedTuple):
    """Parts of a circuit, words of a warning, further sections."""

    parts: str
    words: str
    more: str = ""


SUSPICIOUS: dict[str, Case] = {
    "net with one pin": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, SENSE]}
        """,
        "net SENSE has only one pin, R1.2",
    ),
    "misspelt net": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, SENSE]}
        R2: {kind: resistor, ohms: 1k, pins: [SENSE, GND]}
        R3: {kind: resistor, ohms: 1k, pins: [SENCE, GND]}
        """,
        "net SENCE has only one pin, R3.1; did you mean SENSE",
    ),
    "unused supply net": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, GND]}
        """,
        "supply VIN feeds net VIN, on which there is no",
    ),
    "floating net": Case(
        """
        U1: {kind: not, pins: {A: OPEN, Y: OUT, VCC: V5, GND: GND}}
        U2: {kind: not, pins: {A: OPEN, Y: OUT2, VCC: V5, GND: GND}}
        """,
        "net OPEN (U1.A, U2.A) floats",
    ),
    "floating gates": Case(
        """
        M1: {kind: nmos, pins: [G, V5, GND]}
        M2: {kind: nmos, pins: [G, V5, GND]}
        """,
        "net G (M1.G, M2.G) floats",
    ),
    "floating behind a capacitor": Case(
        """
        C1: {kind: capacitor, farads: 1u, pins: [V5, AC]}
        M2: {kind: nmos, pins: [AC, V5, GND]}
        """,
        "net AC (C1.2, M2.G) floats",
    ),
    "base on a supply": Case(
        """
        Q1: {kind: npn, pins: [V5, VIN, GND]}
        """,
        "the base of Q1 is driven from V5 without a resistor",
    ),
    "base on a gate": Case(
        """
        U1: {kind: buffer, family: hc, pins: {A: VIN, Y: B, VCC: V5, GND: GND}}
        Q1: {kind: npn, pins: [B, VIN, GND]}
        """,
        "the base of Q1 is driven from V5 without a resistor",
    ),
    "base of a PNP on ground": Case(
        """
        Q1: {kind: pnp, pins: [GND, LOAD, V5]}
        """,
        "the base of Q1 is driven from GND",
    ),
    "base behind a diode": Case(
        """
        D1: {kind: diode, pins: [V5, B]}
        Q1: {kind: npn, pins: [B, VIN, GND]}
        """,
        "the base of Q1 is driven from V5",
    ),
    "gate beyond its rating": Case(
        """
        M1: {kind: pmos, gate_limit: 8, pins: {G: G, D: OUT, S: VIN}}
        R1: {kind: resistor, ohms: 10k, pins: [VIN, G]}
        M2: {kind: nmos, pins: {G: V5, D: G, S: GND}}
        """,
        "the gate of M1 can reach -12 V from its source",
    ),
    "gate beyond its rating upwards": Case(
        """
        M1: {kind: nmos, gate_limit: 8, pins: {G: G, D: V5, S: GND}}
        R1: {kind: resistor, ohms: 10k, pins: [VIN, G]}
        """,
        "the gate of M1 can reach +12 V",
    ),
    "gate with a weak divider": Case(
        """
        M1: {kind: pmos, gate_limit: 8, pins: {G: G, D: OUT, S: VIN}}
        R1: {kind: resistor, ohms: 100k, pins: [VIN, G]}
        R2: {kind: resistor, ohms: 10k, pins: [G, DRIVE]}
        M2: {kind: nmos, pins: {G: V5, D: DRIVE, S: GND}}
        """,
        "the gate of M1 can reach -10.9 V",
    ),
    "rail that nothing drives": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [VX, GND]}
        R2: {kind: resistor, ohms: 1k, pins: [VX, GND]}
        """,
        "nothing drives rail VX",
        "rails: {VX: {volts: 5}}\n",
    ),
    "rail that is only fed backwards": Case(
        """
        U1: {kind: and, family: hc, pins: [V5, V5, Y, VX, GND]}
        R2: {kind: resistor, ohms: 1k, pins: [VX, GND]}
        """,
        "nothing drives rail VX",
        "rails: {VX: {volts: 5}}\n",
    ),
    "target without pull-up": Case(
        """
        Q1: {kind: npn, pins: [B, EN, GND]}
        R1: {kind: resistor, ohms: 1k, pins: [V5, B]}
        U1: {kind: not, pins: {A: EN, Y: Y, VCC: V5, GND: GND}}
        """,
        "nothing drives target EN high: it can only be pulled low",
        "target: EN\n",
    ),
    "target that floats": Case(
        """
        U1: {kind: not, pins: {A: EN, Y: Y, VCC: V5, GND: GND}}
        """,
        "nothing drives target EN high: it floats",
        "target: EN\n",
    ),
    "chip without supply": Case(
        """
        U1: {kind: not, pins: {A: V5, Y: Y, VCC: VX, GND: GND}}
        C1: {kind: capacitor, farads: 1u, pins: [VX, GND]}
        """,
        "nothing feeds U1.VCC",
    ),
    "resistor across one net": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, V5]}
        """,
        "R1 has 1 and 2 on one net, V5",
    ),
    "transistor across one net": Case(
        """
        Q1: {kind: npn, pins: [B, V5, V5]}
        """,
        "Q1 has C and E on one net, V5",
    ),
    "diode across one net": Case(
        """
        D1: {kind: diode, pins: [V5, V5]}
        """,
        "D1 has A and K on one net",
    ),
    "supply pins exchanged": Case(
        """
        U1: {kind: not, pins: {A: V5, Y: Y, VCC: GND, GND: V5}}
        """,
        "U1.VCC lies on GND; are its supply pins exchanged",
    ),
    "LED without resistor": Case(
        """
        D1: {kind: diode, type: led, pins: [VIN, GND]}
        """,
        "D1 lies straight across VIN (12 V) and GND",
    ),
    "diode reversed": Case(
        """
        D1: {kind: diode, pins: [V5, GND]}
        """,
        "is it reversed, or a resistor missing",
    ),
    "capacitor below its voltage": Case(
        """
        C1: {kind: capacitor, farads: 10u, volts: 6.3, pins: [VIN, GND]}
        """,
        "C1 has 12 V across it, but is rated 6.3 V",
    ),
    "resistor beyond its power": Case(
        """
        R1: {kind: resistor, ohms: 100, watts: 0.25, pins: [VIN, GND]}
        """,
        "R1 takes 1.44 W at 12 V, but is rated 0.25 W",
    ),
    "package with two supplies": Case(
        """
        U1: {kind: not, package: U9, pins: {A: V5, Y: Y1, VCC: V5, GND: GND}}
        U2: {kind: not, package: U9, pins: {A: V5, Y: Y2, VCC: VIN, GND: GND}}
        """,
        "U1 and U2 share package U9, but their VCC",
    ),
    "rail of another voltage": Case(
        """
        U1: {kind: regulator, volts: 3.3, pins: [V5, VX, GND]}
        """,
        "rail VX should reach 5 V, but U1 is set to 3.3 V",
        "rails: {VX: {volts: 5}}\n",
    ),
    "overlapping cut sets": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, X]}
        R2: {kind: resistor, ohms: 1k, pins: [X, GND]}
        R3: {kind: resistor, ohms: 1k, pins: [X, GND]}
        R4: {kind: resistor, ohms: 1k, pins: [X, GND]}
        """,
        "T1 and T2 cut off overlapping sets of pins of X",
        """\
copper:
  T1: {net: X, cuts_off: [R1.2, R2.1]}
  T2: {net: X, cuts_off: [R2.1, R3.1]}
""",
    ),
    "names that differ in case": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, En]}
        R2: {kind: resistor, ohms: 1k, pins: [EN, GND]}
        """,
        "nets En and EN differ only in upper and lower case",
    ),
    "part named as a net": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, R2]}
        R2: {kind: resistor, ohms: 1k, pins: [R2, GND]}
        """,
        "R2 names a part and a net",
    ),
    "unused model": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, GND]}
        """,
        "no part uses model x",
        "models: {x: {from: npn-small}}\n",
    ),
    "nothing on ground": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [V5, VIN]}
        """,
        "nothing is connected to GND",
    ),
}


@pytest.mark.parametrize("name", SUSPICIOUS)
def test_what_is_suspicious_is_told_with_its_line(name: str, build: Build) -> None:
    """Each warning names its place, its file and its line."""
    parts, words, more = SUSPICIOUS[name]
    found = [warning for warning in check(build(parts, more)) if words in warning.message]
    assert found, [str(warning) for warning in check(build(parts, more))]
    assert found[0].file == "made.yaml"
    assert "\n" not in str(found[0])
    if name != "nothing on ground":
        assert found[0].line is not None
        assert str(found[0]).startswith(f"made.yaml:{found[0].line}: ")


SOUND: dict[str, Case] = {
    "base behind a resistor": Case(
        """
        R1: {kind: resistor, ohms: 10k, pins: [V5, B]}
        Q1: {kind: npn, pins: [B, VIN, GND]}
        """,
        "base",
    ),
    "follower": Case(
        """
        Q1: {kind: npn, pins: [V5, VIN, OUT]}
        R1: {kind: resistor, ohms: 1k, pins: [OUT, GND]}
        """,
        "base",
    ),
    "base pulled low by a collector": Case(
        """
        R1: {kind: resistor, ohms: 10k, pins: [V5, B]}
        Q1: {kind: npn, pins: [B, VIN, GND]}
        R2: {kind: resistor, ohms: 10k, pins: [V5, B2]}
        Q2: {kind: npn, pins: [B2, B, GND]}
        """,
        "base",
    ),
    "gate with a divider": Case(
        """
        M1: {kind: pmos, gate_limit: 8, pins: {G: G, D: OUT, S: VIN}}
        R1: {kind: resistor, ohms: 10k, pins: [VIN, G]}
        R2: {kind: resistor, ohms: 10k, pins: [G, DRIVE]}
        M2: {kind: nmos, pins: {G: V5, D: DRIVE, S: GND}}
        """,
        "rating",
    ),
    "gate with a Zener": Case(
        """
        M1: {kind: pmos, gate_limit: 8, pins: {G: G, D: OUT, S: VIN}}
        R1: {kind: resistor, ohms: 10k, pins: [VIN, G]}
        R2: {kind: resistor, ohms: 1k, pins: [G, GND]}
        D1: {kind: diode, type: zener, volts: 6.8, pins: {A: G, K: VIN}}
        """,
        "rating",
    ),
    "diode in its usual place": Case(
        """
        D1: {kind: diode, pins: {A: GND, K: VIN}}
        """,
        "straight",
    ),
    "Zener above its supply": Case(
        """
        D1: {kind: diode, type: zener, volts: 15, pins: {A: GND, K: VIN}}
        """,
        "straight",
    ),
    "open drain with pull-up": Case(
        """
        R1: {kind: resistor, ohms: 10k, pins: [V5, EN]}
        Q1: {kind: npn, pins: [B, EN, GND]}
        R2: {kind: resistor, ohms: 10k, pins: [V5, B]}
        U1: {kind: not, pins: {A: EN, Y: Y, VCC: V5, GND: GND}}
        """,
        "EN",
    ),
    "step-down rail": Case(
        """
        U1: {kind: regulator, type: switching, volts: 3.3, pins: [VIN, VX, GND]}
        U2: {kind: not, pins: {A: VX, Y: Y, VCC: VX, GND: GND}}
        """,
        "VX",
    ),
    "nested and separate cut sets": Case(
        """
        R1: {kind: resistor, ohms: 1k, pins: [X, V5]}
        R2: {kind: resistor, ohms: 1k, pins: [X, GND]}
        R3: {kind: resistor, ohms: 1k, pins: [X, GND]}
        R4: {kind: resistor, ohms: 1k, pins: [X, GND]}
        """,
        "overlapping",
        """\
copper:
  T1: {net: X, cuts_off: [R1.1, R2.1]}
  T2: {net: X, cuts_off: [R2.1]}
  T3: {net: X, cuts_off: [R3.1]}
""",
    ),
}


@pytest.mark.parametrize("name", SOUND)
def test_usual_stages_are_left_alone(name: str, build: Build) -> None:
    """The sound sibling of a suspicious stage gets no such warning."""
    parts, word, more = SOUND[name]
    assert not [str(warning) for warning in check(build(parts, more)) if word in warning.message]


STATES = {
    "no state": ("", "no power state applies a supply"),
    "supply without state": ("power_states: {on: {on: [V5]}}\n", "no power state applies supply VIN"),
    "supplies that fight": ("power_states: {on: {on: [V5, VIN, V6]}}\n", "feed V5 with different volts at once"),
}


@pytest.mark.parametrize("name", STATES)
def test_states_are_looked_at(name: str) -> None:
    """A supply that is never applied, or two on one net, are told."""
    states, words = STATES[name]
    text = f"""\
format: 1
supplies:
  V5: {{volts: 5}}
  VIN: {{volts: 12}}
  V6: {{volts: 6, net: V5}}
{states}parts:
  R1: {{kind: resistor, ohms: 1k, pins: [V5, GND]}}
  R2: {{kind: resistor, ohms: 1k, pins: [VIN, GND]}}
"""
    assert any(words in warning.message for warning in check(parse_circuit(text)))


def test_warnings_come_in_the_order_of_the_file(build: Build) -> None:
    """Whoever mends a file goes through it from top to bottom."""
    circuit = build("R1: {kind: resistor, ohms: 1k, pins: [V5, V5]}\nD1: {kind: diode, pins: [V5, GND]}")
    lines = [warning.line or 0 for warning in check(circuit)]
    assert len(lines) > 1
    assert lines == sorted(lines)


def test_the_starter_checks_clean(tmp_path: Path) -> None:
    """The file that `check --new` writes has neither errors nor warnings, and says what it is."""
    path = tmp_path / "new.yaml"
    write_starter(path)
    circuit = read_circuit(path)
    assert check(circuit) == ()
    assert circuit.target in circuit.rails
    text = starter_text()
    for word in ("invented", "Cautions", "mains", "discharge", "batteries", "category", "Local codes"):
        assert word in text


def test_the_starter_overwrites_nothing(tmp_path: Path) -> None:
    """An existing file stays as it is; a folder that is not there is told."""
    path = tmp_path / "mine.yaml"
    path.write_text("mine")
    with pytest.raises(CircuitError, match="exists already and is left alone"):
        write_starter(path)
    assert path.read_text() == "mine"
    with pytest.raises(CircuitError, match="cannot be written"):
        write_starter(tmp_path / "none" / "new.yaml")
