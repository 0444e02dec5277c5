"""Notes taken while tracing make the circuit that a circuit file would make."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.circuit import Circuit, find_circuit, parse_circuit, read_circuit
from seqsim.circuit.doubts import About, answered, value_doubts
from seqsim.circuit.notes_compile import parse_notes

INVERTER = """\
# invented: a valve driver on a test bench
target EN
V5 5.02
R9 4k7 1% 1=V5 2=EN
Q7 npn B=R12.2 E=gnd C=EN
R12 10k 1=G7
"""


def parts_of(circuit: Circuit) -> dict[str, tuple[str, dict[str, str]]]:
    return {name: (part.kind, dict(part.pins)) for name, part in circuit.parts.items()}


def test_a_fact_a_line() -> None:
    """Parts, a supply and the target; a net without a name is called after its first pin."""
    circuit = parse_notes(INVERTER)
    assert parts_of(circuit) == {
        "R9": ("resistor", {"1": "V5", "2": "EN"}),
        "Q7": ("npn", {"B": "Q7_B", "E": "GND", "C": "EN"}),
        "R12": ("resistor", {"1": "G7", "2": "Q7_B"}),
    }
    assert circuit.supplies["V5"].volts == pytest.approx(5.02)
    assert circuit.target == "EN"
    assert circuit.power_states["powered"].on == ("V5",)
    assert circuit.line("parts", "R9") == 4


@pytest.mark.parametrize(
    "line",
    [
        "R12.2 = Q7.1", "r12 pin 2 = q7 pin 1", "R12.2=Q7.1", "R12 leg 2 = Q7.1", "R12-2 = Q7:1", "R12.2 Q7.1",
        "q7.1 to r12.2", "R12 2=Q7.1", "Q7 1=R12.2", "R12.2 beeps Q7.1",
    ],
)  # fmt: skip
def test_one_contact_in_many_forms(line: str) -> None:
    """Case, order, spaces and the word `pin` change nothing."""
    circuit = parse_notes(f"R12 10k 1=V5\nQ7 npn sot23 2=GND 3=EN\nV5 5\n{line}\n")
    assert circuit.parts["R12"].pins["2"] == circuit.parts["Q7"].pins["B"]


@pytest.mark.parametrize("word", ["gnd", "GND", "ground", "0V", "Vss", "Gnd"])
def test_ground_in_many_words(word: str) -> None:
    """All names of ground are GND; `ground NAME` adds one of the board's own."""
    assert parse_notes(f"R1 1k 1=V5 2={word}\nV5 5\n").parts["R1"].pins["2"] == "GND"
    assert parse_notes("ground AGND\nR1 1k 1=V5 2=agnd\nV5 5\n").parts["R1"].pins["2"] == "GND"


def test_a_part_between_two_nets() -> None:
    """What has two legs alike may be said to go from one net to another."""
    for line in ("R9 4k7 from V5 to EN", "r9 4k7 between v5 and en", "R9 4k7 1=V5 2=EN"):
        assert parse_notes(f"V5 5\ntarget EN\n{line}\n").parts["R9"].pins == {"1": "V5", "2": "EN"}


def test_nets_take_the_name_that_comes_later() -> None:
    """A net is called after its first pin until a line gives it a name; differing case is no difference."""
    text = "R1 1k 1=V5\nR2 1k 2=gnd\nR1.2 = R2.1\nV5 5\n"
    assert parse_notes(text).parts["R1"].pins["2"] == "R1_2"
    for line in ("R1.2 is MID", "MID = R2.1", "R2.1 = mid\nMid goes R1.2"):
        pins = parse_notes(text + line).parts["R1"].pins
        assert pins["2"].casefold() == "mid"


def test_two_names_of_one_net() -> None:
    """The first name stays, and readings may use the other."""
    circuit = parse_notes("R1 1k 1=V5 2=EN\nEN = ENABLE\nV5 5\ntarget ENABLE\n")
    assert circuit.target == "EN"
    assert circuit.aliases["ENABLE"] == "EN"


def test_a_stage_in_one_line_is_the_stage_in_four() -> None:
    """`Q3 inverts EN from G7` is a transistor with its emitter on ground, and the resistors that are named."""
    legs = "through R8 10k, pull-up R9 4k7 to V5, pull-down R4 47k at base"
    stage = parse_notes(f"V5 5\nQ3 npn inverts EN from G7, {legs}\n")
    parts = parse_notes("V5 5\nR8 10k 1=G7 2=Q3.B\nR9 4k7 1=V5 2=EN\nR4 47k 1=gnd 2=Q3.B\nQ3 npn C=EN E=gnd\n")
    assert parts_of(stage) == parts_of(parts)


def test_a_high_side_switch_in_one_line() -> None:
    """`M1 switches OUT from IN by GATE`: a P-channel switch as a rule."""
    stage = "M1 switches LAMP from V12 by DRIVE, pull-up R4 100k to V12 at gate"
    circuit = parse_notes(f"V12 12\n{stage}\nR3 10k 1=DRIVE\n")
    assert parts_of(circuit)["M1"] == ("pmos", {"D": "LAMP", "S": "V12", "G": circuit.parts["M1"].pins["G"]})
    assert circuit.parts["R4"].pins["2"] == circuit.parts["M1"].pins["G"] == circuit.parts["R3"].pins["1"] == "DRIVE"


def test_states_copper_and_readings() -> None:
    """Power states, copper that can break, rails and readings are written as facts too."""
    circuit = parse_notes(
        INVERTER + "START 3.3 1k idle low\nSW1 1=START 2=gnd\nstate idle: V5, SW1 closed\n"
        "state run: V5 START, SW1 open after 50ms\nR12.1 goes START via VIA3\n"
        "R12.1 = SW1.1 via VIA4\nrail EN 5\nread EN 0.02 @run\n"
    )
    assert circuit.power_states["run"].on == ("V5", "START")
    assert (circuit.supplies["START"].volts, circuit.supplies["START"].ohms) == (3.3, 1e3)
    assert circuit.power_states["run"].closed == {"SW1": False}
    assert circuit.power_states["run"].after == pytest.approx(0.05)
    assert circuit.copper["VIA3"].cuts_off == ("R12.1",)
    assert circuit.rails["EN"].volts == 5
    readings = [text for _, text in circuit.noted]
    assert readings == ["V5 5.02 @run", "R12.1 to SW1.1 beep", "EN 0.02 @run"]


def test_what_a_doubtful_part_may_be() -> None:
    """`npn?` is an NPN first; the others have their priors, their own pins, and the same nets."""
    circuit = parse_notes("V5 5\nQ7 npn? 1=R12.2 2=gnd 3=EN\nR12 10k 1=V5\nR9 10k 1=V5 2=EN\n")
    doubt = next(each for each in circuit.doubts if each.about is About.KIND)
    assert doubt.answers[0].label.startswith("npn")
    assert sum(answer.prior for answer in doubt.answers) == pytest.approx(1)
    assert circuit.parts["Q7"].pins == {"B": "Q7_1", "E": "GND", "C": "EN"}
    other = next(answer for answer in doubt.answers if answer.label.startswith("nmos"))
    changed = answered(circuit, {doubt.name: other})
    assert changed.parts["Q7"].pins == {"G": "Q7_1", "S": "GND", "D": "EN"}
    assert other.renamed == {"Q7.B": "Q7.G", "Q7.C": "Q7.D", "Q7.E": "Q7.S"}
    assert len(circuit.nets()) == len(changed.nets())


def test_letters_of_pins_say_what_a_part_can_be() -> None:
    """B, C, E make a bipolar transistor, G, D, S a MOSFET, A and K diodes."""
    for pins, kinds in (("B=X C=EN", {"npn", "pnp"}), ("G=X D=EN", {"nmos", "pmos"}), ("K=X A1=EN A2=V5", {"diode"})):
        circuit = parse_notes(f"V5 5\nQ7 ? {pins}\n")
        found = {circuit.parts["Q7"].kind}
        found |= {answer.parts["Q7"].kind for doubt in circuit.doubts if doubt.name == "Q7" for answer in doubt.answers}
        assert found == kinds


def test_unknown_resistors_are_log_uniform() -> None:
    """The answers about an unknown resistor are equal parts of 100 Ω to 1 MΩ, each spread over its part."""
    circuit = parse_notes("V5 5\nR9 ? 1=V5 2=EN\n")
    (doubt,) = value_doubts(circuit, 8)
    values = [answer.parts["R9"].ohms for answer in doubt.answers]  # type: ignore[attr-defined]
    assert values[0] == pytest.approx(100 * 10**0.25)
    assert values[-1] == pytest.approx(1e6 / 10**0.25)
    # standard deviation of a logarithm that is uniform over half a decade
    assert doubt.answers[0].parts["R9"].spread["ohms"] == pytest.approx(1.1513 / 12**0.5, rel=1e-3)


def test_what_lies_beyond() -> None:
    """A net that nothing traced decides has what lies beyond it as a doubt, until it is said to be all there."""
    circuit = parse_notes(INVERTER)
    (beyond,) = (doubt for doubt in circuit.doubts if doubt.about is About.UPSTREAM)
    assert beyond.name == "G7"
    assert {answer.label for answer in beyond.answers} == {"low", "high", "open"}
    assert parse_notes(INVERTER + "G7 done\n").doubts == ()
    assert [doubt.name for doubt in parse_notes(INVERTER + "EN goes on\n").doubts] == ["EN", "G7"]
    assert [doubt.place for doubt in parse_notes(INVERTER + "EN goes U4.5\n").doubts] == ["U4.5", "R12.1"]


def test_a_net_that_one_rail_alone_holds() -> None:
    """A pull-up and what waits for it make an open end, until it is said to be all there, or a driver is traced."""
    text = "V12 12\nM1 pmos G=GATE D=LAMP S=V12\nR4 100k 1=V12 2=GATE\nLD1 24 1=LAMP 2=gnd\ntarget LAMP\n"
    (doubt,) = parse_notes(text).doubts
    assert (doubt.name, doubt.held) == ("GATE", "V12")
    assert [answer.label for answer in doubt.answers] == ["open", "low"]
    (down,) = (answer for answer in doubt.answers if answer.label == "low")
    assert down.supplies["beyond_GATE"].net == "GATE"
    assert parse_notes(text + "GATE done\n").doubts == ()
    assert parse_notes(text + "Q1 npn C=GATE E=gnd B=ON\nON done\n").doubts == ()
    # a divider, a signal that comes and goes, and a wire to what only measures decide
    assert parse_notes(text + "R5 10k 1=GATE 2=gnd\n").doubts == ()
    assert parse_notes(text + "DRIVE 12 1k idle low\nR5 10k 1=GATE 2=DRIVE\n").doubts == ()
    through = parse_notes(text.replace("2=GATE", "2=MID") + "R5 10k 1=MID 2=GATE\n").doubts
    assert [each.held for each in through] == ["V12"]


def test_copper_to_what_is_not_described() -> None:
    """A via to a pin of a part that has no line yet is an unknown far side: it waits for the part."""
    text = "target GO\nV3 3.3\nR4 10k 1=V3 2=GO\nR4.2 goes U2.PG via VIA3\n"
    circuit = parse_notes(text)
    assert circuit.copper == {}
    assert [doubt.place for doubt in circuit.doubts] == ["U2.PG"]
    assert circuit.assumed == ("VIA3 leads on to U2.PG, which is not described yet: a break of it is beyond",)
    for line in ("U2.PG goes R4.2 via VIA3", "R4.2 = U2.PG via VIA3"):
        assert parse_notes(text.replace("R4.2 goes U2.PG via VIA3", line)).copper == {}
    known = parse_notes(text + "V5 5\nU2 regulator 1.8V amps=1 IN=V5 EN=V3 OUT=V1 PG=GO GND=gnd\n")
    assert known.copper["VIA3"].touch == ("R4.2", "U2.PG")
    assert known.assumed == ()


def test_a_contact_that_is_absent() -> None:
    """What was expected to beep and does not is broken copper, or two nets; and it is a reading."""
    circuit = parse_notes("V5 5\nR12 10k 1=V5\nQ7 npn sot23 2=gnd 3=EN\nR12.2 not Q7.1\nR9 1k 1=V5 2=EN\n")
    doubt = next(each for each in circuit.doubts if each.about is About.CONTACT)
    assert circuit.parts["R12"].pins["2"] == circuit.parts["Q7"].pins["B"]
    assert circuit.copper["R12_2-Q7_1"].touch == ("Q7.B", "R12.2")
    assert [text for _, text in circuit.noted] == ["V5 5 @powered", "Q7.B to R12.2 OL"]
    apart = answered(circuit, {doubt.name: doubt.answers[1]})
    assert apart.parts["R12"].pins["2"] != apart.parts["Q7"].pins["B"]
    assert apart.copper == {}


def test_notes_are_found_by_their_name_or_their_content(tmp_path: Path) -> None:
    """A file called `.notes` holds notes, also one that is no YAML; a circuit file is read as ever."""
    for name in ("board.notes", "board.txt"):
        (tmp_path / name).write_text(INVERTER)
        assert len(read_circuit(find_circuit(tmp_path / name)).parts) == 3
    circuit = "format: 1\nsupplies: {V5: {volts: 5}}\nparts:\n  R1: {kind: resistor, ohms: 1k, pins: [V5, GND]}\n"
    (tmp_path / "board.circuit").write_text(circuit)
    assert list(read_circuit(tmp_path / "board.circuit").parts) == ["R1"]
    assert parse_circuit(circuit).doubts == ()
