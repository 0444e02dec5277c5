from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from typing import Any

import explained
import pytest

from seqsim.circuit import Circuit, parse_circuit
from seqsim.errors import SeqsimError, UnknownPlaceError
from seqsim.logic import LogicFunction, logic
from seqsim.logic.expression import minimal

Truth = Callable[..., bool]


def circuit(parts: str, signals: tuple[str, ...], target: str, others: str = "") -> Circuit:
    """Return a board with 3.3 V, signals of that level, and a state in which all are applied."""
    lines = [f"  {name}: {{volts: 3.3, ohms: 100, idle: low}}" for name in signals]
    on = ", ".join(("VCC", *signals))
    text = f"""\
format: 1
title: Gates, invented for the tests
supplies:
  VCC: {{volts: 3.3, ohms: 0.05}}
{chr(10).join(lines)}
{others}power_states:
  on: {{on: [{on}]}}
parts:
{parts}target: {target}
"""
    return parse_circuit(text)


def gate(name: str, kind: str, inputs: str, output: str) -> str:
    """Return the line of a gate."""
    pins = ", ".join(f"{pin}: {net}" for pin, net in zip("ABCD", inputs.split(), strict=False))
    return f"  {name}: {{kind: {kind}, pins: {{{pins}, Y: {output}, VCC: VCC, GND: GND}}}}\n"


def values(found: LogicFunction, **fixed: bool) -> dict[tuple[bool, ...], str]:
    """Return the level of each row, by its inputs without VCC, of a board that has VCC."""
    rows = {}
    for row in found.function.rows:
        named = {each.name: on for each, on in zip(found.inputs, row.on, strict=True)}
        if named.pop("VCC", True) and all(named[name] == on for name, on in fixed.items()):
            rows[tuple(named[name] for name in sorted(named))] = row.level
    return rows


ADDER = (
    gate("X1", "xor", "A B", "X") + gate("X2", "xor", "X C", "SUM")
    + gate("A1", "and", "A B", "G1") + gate("A2", "and", "X C", "G2") + gate("O1", "or", "G1 G2", "CARRY")
)  # fmt: skip


@pytest.mark.parametrize(
    ("node", "truth", "text"),
    [
        ("SUM", lambda a, b, c: (a + b + c) % 2 == 1, "VCC and (C xor A xor B)"),
        ("CARRY", lambda a, b, c: a + b + c >= 2, None),
    ],
)
def test_full_adder(node: str, truth: Truth, text: str | None) -> None:
    """Sum and carry of the full adder of Reiter, Artificial Intelligence 32 (1987) 57-95 (from memory)."""
    found = logic("adder", circuit(ADDER, ("A", "B", "C"), node))
    assert found.function.needs == ("VCC",)
    expression = found.function.expression
    assert set(expression.used) == {"A", "B", "C"}
    rows = values(found)
    for a, b, c in itertools.product((False, True), repeat=3):
        assert expression(A=a, B=b, C=c) == truth(a, b, c)
        assert rows[a, b, c] == ("high" if truth(a, b, c) else "low")
    if text is not None:
        assert sorted(found.function.text) == sorted(text)
    assert {stage.label for stage in found.stages} >= {node}


def nand(*inputs: bool) -> bool:
    return not all(inputs)


def c17(pattern: tuple[bool, ...]) -> tuple[bool, bool]:
    """Return both outputs of the ISCAS-85 circuit c17 from its net list (read in published net lists)."""
    n1, n2, n3, n6, n7 = pattern
    n10, n11 = nand(n1, n3), nand(n3, n6)
    n16, n19 = nand(n2, n11), nand(n11, n7)
    return nand(n10, n16), nand(n16, n19)


C17 = "".join(
    gate(f"U{out}", "nand", inputs, f"N{out}")
    for out, inputs in (
        (10, "N1 N3"), (11, "N3 N6"), (16, "N2 N11"), (19, "N11 N7"), (22, "N10 N16"), (23, "N16 N19"),
    )
)  # fmt: skip
C17_INPUTS = ("N1", "N2", "N3", "N6", "N7")


@pytest.mark.parametrize(("node", "output", "used"), [("N22", 0, "N1 N2 N3 N6"), ("N23", 1, "N2 N3 N6 N7")])
def test_c17(node: str, output: int, used: str) -> None:
    """Both outputs of the ISCAS-85 circuit c17 in all 32 input patterns; each depends on four inputs."""
    found = logic("c17", circuit(C17, C17_INPUTS, node))
    expression = found.function.expression
    assert set(expression.used) == set(used.split())
    rows = found.function.rows
    assert len(found.inputs) == 5
    powered = [row for row in rows if row.on[[each.name for each in found.inputs].index("VCC")]]
    assert len(powered) == 16
    for pattern in itertools.product((False, True), repeat=5):
        named = dict(zip(C17_INPUTS, pattern, strict=True))
        asked = {name: named[name] for name in expression.names}
        assert expression(**asked) == c17(pattern)[output]


SMALL: dict[str, tuple[str, dict[str, str], Truth]] = {
    "one NPN inverts": (
        ("  R1: {kind: resistor, ohms: 10k, pins: [A, BASE]}\n"
        "  Q1: {kind: npn, pins: {B: BASE, C: Y, E: GND}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n"),
        {"Y": "not BASE", "BASE": "A"}, lambda a: not a,
    ),
    "an N-MOSFET inverts": (
        "  M1: {kind: nmos, pins: {G: A, D: Y, S: GND}}\n  R2: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n",
        {"Y": "not A"}, lambda a: not a,
    ),
    "a P-MOSFET on the high side inverts": (
        "  M1: {kind: pmos, pins: {G: A, D: Y, S: VCC}}\n  R2: {kind: resistor, ohms: 10k, pins: [Y, GND]}\n",
        {"Y": "not A"}, lambda a: not a,
    ),
    "a PNP on the high side inverts": (
        ("  R1: {kind: resistor, ohms: 10k, pins: [A, BASE]}\n"
        "  Q1: {kind: pnp, pins: {B: BASE, C: Y, E: VCC}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [Y, GND]}\n"),
        {"Y": "not BASE", "BASE": "A"}, lambda a: not a,
    ),
    "two NPNs in a row do not": (
        ("  R1: {kind: resistor, ohms: 10k, pins: [A, B1]}\n"
        "  Q1: {kind: npn, pins: {B: B1, C: N, E: GND}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [VCC, N]}\n"
        "  R3: {kind: resistor, ohms: 22k, pins: [N, B2]}\n"
        "  Q2: {kind: npn, pins: {B: B2, C: Y, E: GND}}\n"
        "  R4: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n"),
        {"Y": "not B2", "B2": "N", "N": "not B1", "B1": "A"}, lambda a: a,
    ),
    "open drains on one wire are a NOR": (
        ("  M1: {kind: nmos, pins: {G: A, D: Y, S: GND}}\n"
        "  M2: {kind: nmos, pins: {G: B, D: Y, S: GND}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n"),
        {"Y": "not A and not B"}, lambda a, b: not (a or b),
    ),
    "channels in a row are a NAND": (
        ("  M1: {kind: nmos, pins: {G: A, D: Y, S: MID}}\n"
        "  M2: {kind: nmos, pins: {G: B, D: MID, S: GND}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n"),
        {}, lambda a, b: not (a and b),
    ),
    "diodes to a pull-up are an AND": (
        ("  D1: {kind: diode, model: schottky-small, pins: {A: Y, K: A}}\n"
        "  D2: {kind: diode, model: schottky-small, pins: {A: Y, K: B}}\n"
        "  R2: {kind: resistor, ohms: 22k, pins: [VCC, Y]}\n"),
        {"Y": "A and B"}, lambda a, b: a and b,
    ),
    "diodes to a pull-down are an OR": (
        ("  D1: {kind: diode, model: schottky-small, pins: {A: A, K: Y}}\n"
        "  D2: {kind: diode, model: schottky-small, pins: {A: B, K: Y}}\n"
        "  R2: {kind: resistor, ohms: 22k, pins: [Y, GND]}\n"),
        {"Y": "A or B"}, lambda a, b: a or b,
    ),
    "a follower follows": (
        "  Q1: {kind: npn, pins: {B: A, C: VCC, E: Y}}\n  R2: {kind: resistor, ohms: 10k, pins: [Y, GND]}\n",
        {"Y": "A"}, lambda a: a,
    ),
    "a pull-down that a pull-down undoes": (
        ("  R1: {kind: resistor, ohms: 10k, pins: [VCC, B1]}\n"
        "  M2: {kind: nmos, pins: {G: A, D: B1, S: GND}}\n"
        "  Q1: {kind: npn, pins: {B: B1, C: Y, E: GND}}\n"
        "  R2: {kind: resistor, ohms: 10k, pins: [VCC, Y]}\n"),
        {"Y": "not B1", "B1": "not A"}, lambda a: a,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SMALL)
def test_small_stages_by_hand(name: str) -> None:
    """Each stage against a truth table written by hand, whole and stage by stage."""
    parts, by_stage, truth = SMALL[name]
    signals = tuple(s for s in "AB" if f"{s}}}" in parts or f" {s}," in parts or f" {s}]" in parts or f"[{s}," in parts)
    found = logic("stage", circuit(parts, signals, "Y"))
    for inputs, level in values(found).items():
        assert level == ("high" if truth(*inputs) else "low"), inputs
    made = {stage.label: stage.expression.text for stage in found.stages if stage.expression is not None}
    assert {label: made[label] for label in by_stage} == by_stage
    for stage in found.stages:
        if stage.label in by_stage and " " not in by_stage[stage.label].removeprefix("not "):
            assert stage.inverting == by_stage[stage.label].startswith("not ")


@pytest.mark.parametrize(
    ("kind", "truth"),
    [
        ("and", lambda a, b: a and b), ("nand", lambda a, b: not (a and b)), ("or", lambda a, b: a or b),
        ("nor", lambda a, b: not (a or b)), ("xor", lambda a, b: a != b), ("xnor", lambda a, b: a == b),
    ],
)  # fmt: skip
def test_gates(kind: str, truth: Truth) -> None:
    """Each gate as its name says, with its supply as the one thing that it needs."""
    found = logic("gate", circuit(gate("U1", kind, "A B", "Y"), ("A", "B"), "Y"))
    assert {row: level == "high" for row, level in values(found).items()} == {
        (a, b): truth(a, b) for a in (False, True) for b in (False, True)
    }
    assert found.function.needs == ("VCC",)


def test_a_latch_remembers() -> None:
    """Two NORs crosswise keep their state while neither is set (set-reset latch, any textbook on digital logic)."""
    parts = gate("U1", "nor", "R QN", "Q") + gate("U2", "nor", "S Q", "QN")
    rows = values(logic("latch", circuit(parts, ("R", "S"), "Q")))
    assert rows == {
        (False, False): "remembers", (False, True): "high", (True, False): "low", (True, True): "low",
    }  # fmt: skip


def test_an_open_drain_without_pull_up_floats_or_is_low() -> None:
    """The wire is never high, and the rows in which nothing pulls are marked."""
    rows = values(logic("open", circuit("  M1: {kind: nmos, pins: {G: A, D: Y, S: GND}}\n", ("A",), "Y")))
    assert rows == {(False,): "floating", (True,): "low"}


def test_an_input_that_floats_leaves_the_output_undefined() -> None:
    """A gate whose input hangs on a signal that is open when idle has no level of its own."""
    others = "  S: {volts: 3.3, ohms: 100}\n"
    found = logic("float", circuit(gate("U1", "buffer", "S", "Y"), (), "Y", others), inputs=["S"])
    assert [row.level for row in found.function.rows] == ["undefined", "high"]


def test_a_level_between_low_and_high_is_undefined() -> None:
    """Half of the supply is neither, as long as nothing that reads it decides."""
    parts = (
        "  R1: {kind: resistor, ohms: 10k, pins: [A, Y]}\n  R2: {kind: resistor, ohms: 10k, pins: [B, Y]}\n"
    )  # fmt: skip
    rows = values(logic("half", circuit(parts, ("A", "B"), "Y")))
    assert rows[True, False] == rows[False, True] == "undefined"
    assert (rows[False, False], rows[True, True]) == ("low", "high")


def test_a_fault_changes_the_function_where_it_says() -> None:
    """With the base cut off, the second inversion is gone: the blower runs as soon as there is battery."""
    board, _ = explained.board("greenhouse_fan")
    found = logic("greenhouse_fan", board, faults=["VIA3:broken"])
    assert found.function.text == "VBAT"
    assert found.healthy is not None
    assert found.healthy.text == "VBAT and START and not SW1"
    assert [found.function.rows[k].on for k in found.differs] == [
        (True, False, False), (True, False, True), (True, True, True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "expression"),
    [
        ("greenhouse_fan", "VBAT and START and not SW1"),
        ("beehive_scale", None),
        ("organ_blower", None),
        ("inverting_npn", "V5 and not DOOR_OPEN"),
        ("power_good_chain", "V12 and ARM"),
        ("diode_wired_and", "V3V3 and DOOR and WATER and HOT"),
    ],
)
def test_stages_put_together_make_the_whole(name: str, expression: str | None) -> None:
    """On a board that has its supplies, what the stages say one after another is what the table says."""
    board, _ = explained.board(name)
    found = logic(name, board)
    if expression is not None:
        assert found.function.text == expression
    made = {stage.label: stage for stage in found.stages}
    supplies = {each.name for each in found.inputs if each.kind == "supply"}

    def level(label: str, given: dict[str, bool], above: frozenset[str] = frozenset()) -> bool:
        """Level of a net; a rail that waits for itself comes up, as regulators that report to each other do."""
        if label in given:
            return given[label]
        if label in above:
            return True
        stage, here = made[label], above | {label}
        assert stage.expression is not None
        used = stage.expression.used
        own = stage.expression(**{n: n in used and level(n, given, here) for n in stage.looks_at})
        return own and all(level(rail, given, here) for rail in stage.needs if rail in made)

    checked = 0
    for row in found.function.rows:
        given = {each.name: on for each, on in zip(found.inputs, row.on, strict=True)}
        if all(given[name] for name in supplies) and row.level in ("high", "low"):
            assert level(found.stages[0].label, given) == (row.level == "high"), given
            checked += 1
    assert checked >= 2


def test_too_many_inputs_are_refused_with_a_way_out() -> None:
    """Thirteen signals and a supply: the message counts them and offers the twelve that stand nearest."""
    signals = tuple(f"S{k}" for k in range(13))
    parts = "".join(f"  D{k}: {{kind: diode, pins: {{A: {s}, K: Y}}}}\n" for k, s in enumerate(signals))
    board = circuit(parts + "  R1: {kind: resistor, ohms: 10k, pins: [Y, GND]}\n", signals, "Y")
    with pytest.raises(SeqsimError, match=r"13 inputs would make .* --inputs S0,S1,") as refused:
        logic("many", board)
    offered = str(refused.value).rpartition("--inputs ")[2].split(",")
    assert len(offered) == 12
    found = logic("many", board, inputs=["S0", "S1"])
    assert len(found.function.rows) == 4
    assert set(found.left_out) == set(signals) - {"S0", "S1"}


def test_an_unknown_input_is_named_with_close_matches() -> None:
    """As everywhere."""
    board, _ = explained.board("greenhouse_fan")
    with pytest.raises(UnknownPlaceError, match="did you mean START"):
        logic("greenhouse_fan", board, inputs=["STRAT"])


def test_free_rows_make_an_expression_shorter() -> None:
    """What may be either way is used (Karnaugh's don't-cares, any textbook on digital logic)."""
    true = [(True, False), (True, True)]
    assert minimal(("A", "B"), true).text == "A"
    assert minimal(("A", "B"), [(True, True)], [(True, False)]).text == "A"
    assert minimal(("A", "B"), []).text == "never"
    assert minimal((), [()]).text == "always"


def test_names_of_nets_stay_as_they_are() -> None:
    """Names that no program could use as a variable come out as the board writes them."""
    found = minimal(("+5V", "EN#"), [(True, False)])
    assert found.text == "+5V and not EN#"
    assert found.senses == {"+5V": 1, "EN#": -1}


def test_the_command(shell: Callable[[str], Any]) -> None:
    """Words for people, fields for programs."""
    done = shell("logic greenhouse_fan")
    assert "EN_BLOWER = VBAT and START and not SW1" in done.out
    fields = json.loads(shell("logic greenhouse_fan --fault VIA3:broken --json").out)
    assert fields["schema"] == 1
    assert fields["expression"] == "VBAT"
    assert fields["healthy"]["expression"] == "VBAT and START and not SW1"
    assert len(fields["rows"]) == 8
    assert fields["stages"][0]["devices"] == ["Q1"]
    shown = shell("logic greenhouse_fan --fault VIA3:broken --inputs START,SW1").out
    assert "changes 3 of 4 rows" in shown
