"""What the sections of a circuit file mean."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from seqsim.circuit import (
    OFF,
    Before,
    Circuit,
    Monotonic,
    NeverAbove,
    Off,
    Rises,
    parse_circuit,
)
from seqsim.circuit.draft import CircuitErrors
from seqsim.errors import CircuitError
from seqsim.parts import KINDS

Build = Callable[..., Circuit]


def test_the_states_begin_with_off(board_text: str) -> None:
    """`off` is there without being written, first, with nothing applied."""
    states = parse_circuit(board_text).power_states
    assert list(states) == [OFF, "battery", "running"]
    assert states[OFF].on == ()
    assert states["running"].after == pytest.approx(0.05)
    assert states["running"].ramp == pytest.approx(2e-3)
    assert states["running"].closed == {"SW1": True}


def test_quantities_arrive_in_si_units(board_text: str) -> None:
    """Ohms, volts, shares and ranges are numbers."""
    circuit = parse_circuit(board_text)
    assert circuit.parts["R1"].model_dump()["ohms"] == 10e3
    assert circuit.supplies["START"].ohms == 1e3
    assert circuit.rails["V5"].ohms == (400, 900)
    assert circuit.rails["V5"].within == pytest.approx(0.05)
    assert circuit.probe_points["Q1.B"].seconds == 40


def test_a_supply_feeds_the_net_of_its_name_unless_told(board_text: str) -> None:
    """`net` defaults to the supply's name."""
    supplies = parse_circuit(board_text).supplies
    assert supplies["START"].net == "START"
    assert supplies["VBAT"].net == "V12"


def test_names_that_other_readers_would_convert_stay_names() -> None:
    """Nets called `on`, `5E4`, `012`, `3V3`, `+5V`, `EN#` and a supply called `NO` are names."""
    text = """\
format: 1
supplies: {NO: {volts: 5, net: +5V}}
power_states: {yes: {on: [NO]}}
parts:
  1: {kind: resistor, ohms: 1k, pins: [on, 5E4]}
  2: {kind: resistor, ohms: 1k, pins: [012, 3V3]}
  3: {kind: resistor, ohms: 1k, pins: [+5V, EN#]}
"""
    circuit = parse_circuit(text)
    assert {"on", "5E4", "012", "3V3", "+5V", "EN#"} <= circuit.nets().keys()
    assert circuit.power_states["yes"].on == ("NO",)


def test_pins_may_be_listed_named_or_numbered(build: Build) -> None:
    """A list has the family's order (B C E); a number is the place in `pin_order`, else in the family's order."""
    circuit = build("""
        Q1: {kind: npn, pins: [BASE, COLL, GND]}
        Q2: {kind: npn, pins: {E: GND, B: BASE, C: COLL}}
        Q3: {kind: npn, pins: {1: BASE, 2: COLL, 3: GND}}
        Q4: {kind: npn, pin_order: [E, C, B], pins: {1: GND, 2: COLL, 3: BASE}}
    """)
    for name in ("Q1", "Q2", "Q3", "Q4"):
        assert dict(circuit.parts[name].pins) == {"B": "BASE", "C": "COLL", "E": "GND"}
    assert tuple(circuit.parts["Q2"].pins) == ("E", "B", "C")
    assert circuit.parts["Q4"].pin_order == ("E", "C", "B")


def test_a_list_may_leave_out_optional_pins(build: Build) -> None:
    """A two-input gate lists A B Y VCC GND; a regulator without EN and PG lists IN OUT GND."""
    circuit = build("""
        U1: {kind: and, pins: [IN1, IN2, RUN, V5, GND]}
        U2: {kind: regulator, volts: 3.3, pins: [V5, V3, GND]}
        U3: {kind: regulator, volts: 3.3, pins: [V5, V3, GND, RUN]}
    """)
    assert dict(circuit.parts["U1"].pins) == {"A": "IN1", "B": "IN2", "Y": "RUN", "VCC": "V5", "GND": "GND"}
    assert dict(circuit.parts["U2"].pins) == {"IN": "V5", "OUT": "V3", "GND": "GND"}
    assert circuit.parts["U3"].pins["EN"] == "RUN"


def test_dual_diodes_have_three_pins(build: Build) -> None:
    """`dual:` decides the pins: A K1 K2, A1 A2 K, A M K."""
    circuit = build("""
        D1: {kind: diode, dual: common-anode, pins: [X, Y, Z]}
        D2: {kind: diode, dual: common-cathode, pins: [X, Y, Z]}
        D3: {kind: diode, dual: series, pins: [X, Y, Z]}
    """)
    assert [tuple(circuit.parts[name].pins) for name in ("D1", "D2", "D3")] == [
        ("A", "K1", "K2"),
        ("A1", "A2", "K"),
        ("A", "M", "K"),
    ]


def test_device_types_of_the_file_stand_on_built_in_ones(build: Build) -> None:
    """A model's values lie over its `from:`, a part's over its model's, through several models."""
    circuit = build(
        """
        M1: {kind: nmos, model: pass-fet, pins: [G, D, S]}
        M2: {kind: nmos, model: pass-fet, on_ohms: 0.3, pins: [G, D, S]}
        M3: {kind: nmos, model: tired-fet, pins: [G, D, S]}
        M4: {kind: nmos, model: nmos-logic, pins: [G, D, S]}
        """,
        "models:\n  pass-fet: {from: nmos-logic, threshold: 1.1V, on_ohms: 0.1}\n"
        "  tired-fet: {from: pass-fet, threshold: 2.5V, spread: {threshold: 0.2V}}\n",
    )
    values = {name: part.model_dump() for name, part in circuit.parts.items()}
    assert values["M1"]["threshold"] == 1.1
    assert values["M1"]["on_ohms"] == 0.1
    assert values["M2"]["on_ohms"] == 0.3
    assert values["M3"]["threshold"] == 2.5
    assert values["M3"]["on_ohms"] == 0.1
    assert circuit.parts["M3"].spread_of("threshold") == pytest.approx(0.2)
    assert values["M1"]["gate_limit"] == values["M4"]["gate_limit"]
    assert circuit.parts["M1"].model == "pass-fet"
    assert circuit.unused_models == ()


def test_a_model_of_another_kind_is_refused(build: Build) -> None:
    """A type made from an N-MOSFET cannot be a transistor's."""
    with pytest.raises(CircuitError, match="made from nmos-logic, which is no model of its kind"):
        build("Q1: {kind: npn, model: fet, pins: [B, C, GND]}", "models: {fet: {from: nmos-logic}}\n")


def test_spread_of_one_part(build: Build) -> None:
    """`spread: {gain: 40%}` is a share, and belongs to that part alone."""
    circuit = build("""
        Q1: {kind: npn, spread: {gain: 40%}, pins: [B, C, GND]}
        Q2: {kind: npn, pins: [B, C, GND]}
    """)
    assert circuit.parts["Q1"].spread_of("gain") == pytest.approx(0.4)
    assert circuit.parts["Q2"].spread_of("gain") != pytest.approx(0.4)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "black_box"])
def test_every_value_may_be_unknown(kind: str, build: Build) -> None:
    """`?` stands for any value of any kind, words and switches included; the value is then wide, or the default."""
    cls = KINDS[kind]
    pins = ", ".join(f"{pin}: N{pin}" for pin in cls.pins_for({}))
    required = [name for name in cls.values() if cls.model_fields[name].is_required()]
    words = [name for name in ("type", "family", "output", "closed") if name in cls.model_fields]
    for key in (*cls.values(), *words):
        given = dict.fromkeys([*required, key], "?")
        if kind == "load" and key not in ("ohms", "amps"):
            given["ohms"] = "?"
        values = "".join(f", {name}: {text}" for name, text in given.items())
        try:
            part = build(f"X1: {{kind: {kind}{values}, pins: {{{pins}}}}}").parts["X1"]
        except CircuitError as error:
            raise AssertionError(f"{kind} with {key}: ?") from error
        assert all(name in part.unknown for name in given if name in cls.values())


def test_copper_knows_both_its_sides(board_text: str) -> None:
    """`touch` is ordered: first the side that is cut off; without it, a pin of each side."""
    assert parse_circuit(board_text).copper["VIA1"].touch == ("R1.2", "Q1.B")
    turned = board_text.replace("touch: [R1.2, Q1.B]", "touch: [Q1.B, R1.2]")
    assert parse_circuit(turned).copper["VIA1"].touch == ("R1.2", "Q1.B")
    without = board_text.replace(", touch: [R1.2, Q1.B]", "")
    assert parse_circuit(without).copper["VIA1"].touch == ("R1.2", "R2.1")


def test_copper_may_cut_off_a_supply_and_break_ground(board_text: str) -> None:
    """`cuts_off` may name a supply; pins may be given by number; GND copper is allowed."""
    more = "  VIA2: {net: V12, cuts_off: [VBAT]}\n  VIA3: {net: GND, cuts_off: [Q1.3, R2.2]}\n"
    copper = parse_circuit(board_text.replace("rails:\n", more + "rails:\n")).copper
    assert copper["VIA2"].cuts_off == ("VBAT:entry",)
    assert copper["VIA3"].cuts_off == ("Q1.E", "R2.2")


def test_rules_are_typed(board_text: str) -> None:
    """Each rule has its own class with numbers in seconds and volts."""
    rules = """\
  - {before: [V5, EN], by: [1ms, 500ms]}
  - {never_above: [EN, V5], by: 0.3V}
  - {rises: V5, in: [0.2ms, 20ms]}
  - {off: V5, within: 10ms}
"""
    assert parse_circuit(board_text + rules).rules == (
        Monotonic(net="V5"),
        Before(first="V5", second="EN", least=1e-3, most=0.5),
        NeverAbove(net="EN", other="V5", by=0.3),
        Rises(net="V5", least=0.2e-3, most=20e-3),
        Off(net="V5", within=10e-3),
    )


def test_a_button_turns_over_how_it_rests(build: Build) -> None:
    """Pressing closes a normally open button and opens a normally closed one; closed and open are what they say."""
    circuit = build(
        """
        SW1: {kind: button, pins: [A, GND]}
        SW2: {kind: button, closed: true, pins: [A, GND]}
        """,
    )
    assert circuit.parts["SW2"].model_dump()["closed"] is True
    text = """\
format: 1
power_states:
  up: {switches: {SW1: released, SW2: released}}
  down: {switches: {SW1: pressed, SW2: pressed}}
  set: {switches: {SW1: open, SW2: closed}}
parts:
  SW1: {kind: button, pins: [A, GND]}
  SW2: {kind: button, closed: true, pins: [A, GND]}
"""
    states = parse_circuit(text).power_states
    assert states["up"].closed == {"SW1": False, "SW2": True}
    assert states["down"].closed == {"SW1": True, "SW2": False}
    assert states["set"].closed == {"SW1": False, "SW2": True}


def test_every_item_knows_its_line(board_text: str) -> None:
    """Lines are kept, so that later messages can point into the file."""
    circuit = parse_circuit(board_text)
    lines = board_text.splitlines()
    for path, words in (
        (("parts", "Q1"), "Q1: {kind: npn"),
        (("supplies", "START"), "START: {"),
        (("copper", "VIA1"), "VIA1: {"),
        (("power_states", "running"), "running: {"),
        (("rails", "V5"), "V5: {"),
        (("target",), "target: EN"),
        (("probe_points", "Q1.B"), "Q1.B: {"),
        (("rules", "0"), "- {monotonic"),
    ):
        line = circuit.line(*path)
        assert line is not None
        assert words in lines[line - 1]


def test_a_circuit_cannot_be_changed(board_text: str) -> None:
    """Circuits are frozen."""
    circuit = parse_circuit(board_text)
    with pytest.raises(ValueError, match="frozen"):
        setattr(circuit, "title", "another")  # noqa: B010 - the type checker refuses it as well


def test_a_package_lists_its_sections_in_one_line() -> None:
    """Pins as a list of lists, or of mappings, are the sections of one package: U1A and U1B share its supply joints."""
    circuit = parse_circuit(
        "format: 1\nsupplies:\n  V5: {volts: 5}\n  GO: {volts: 5, ohms: 1k}\nparts:\n"
        "  U1: {kind: not, family: hc, pins: [[GO, MID, V5, GND], {A: MID, Y: OUT, VCC: V5, GND: GND}]}\n"
        "  Q1: {kind: npn, gain: 150, package: Q1Q2, pins: [[OUT, X, GND], [X, Y, GND]]}\n"
        "  R1: {kind: resistor, ohms: 1k, pins: [V5, X]}\n  R2: {kind: resistor, ohms: 1k, pins: [V5, Y]}\n"
    )
    assert [*circuit.parts] == ["U1A", "U1B", "Q1A", "Q1B", "R1", "R2"]
    assert {circuit.parts[name].package for name in ("U1A", "U1B")} == {"U1"}
    assert {circuit.parts[name].package for name in ("Q1A", "Q1B")} == {"Q1Q2"}
    assert circuit.parts["Q1B"].pins == {"B": "X", "C": "Y", "E": "GND"}
    assert getattr(circuit.parts["Q1B"], "gain", None) == 150


def test_sections_that_cannot_be() -> None:
    """A section with the name of another part, and one with too few pins, are told with their line."""
    with pytest.raises(CircuitErrors) as caught:
        parse_circuit(
            "format: 1\nparts:\n  Q1A: {kind: npn, pins: [A, B, GND]}\n"
            "  Q1: {kind: npn, pins: [[A, B, GND],\n    [B, GND]]}\n"
        )
    told = {(error.line, error.message.split(";")[0]) for error in caught.value.errors}
    assert (4, "section A of Q1 would be called Q1A, as another part") in told
    assert any(line == 5 and "Q1B" in message for line, message in told)
