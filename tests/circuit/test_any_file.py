"""Whatever stands in a circuit file, it is read or refused in sentences; what is read can be compiled and checked."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from porch_light import BOARD

from seqsim.circuit import CircuitErrors, check, compile_network, parse_circuit, state_gates
from seqsim.errors import CircuitError
from seqsim.parts import KINDS, Part

WORDS = (
    "x", "-1", "0", "1e999", "1e-30", "nan", "''", "?", "10k", "true", "V5", "[]", "[1, 2]", "[[1], [2]]", "{}",
    "{1: a, 2: b}", "{A: {b: c}}", "'" + "(" * 3000 + "'", '"a\\nb"',
)  # fmt: skip


def outcome(text: str) -> str:
    """Read, compile and check a text; return "read", or what it was refused for."""
    try:
        circuit = parse_circuit(text, "any.yaml")
    except CircuitErrors as errors:
        messages = [str(error) for error in errors.errors]
    except CircuitError as error:
        messages = [str(error)]
    else:
        compile_network(circuit)
        check(circuit)
        for state in circuit.power_states:
            state_gates(circuit, state)
        return "read"
    for message in messages:
        assert message.startswith("any.yaml:"), message
        assert message.isprintable(), message
        assert len(message) < 600, message
    return messages[0]


def pins_of(cls: type[Part]) -> tuple[str, ...]:
    try:
        return cls.pins_for({})
    except ValueError:
        return ("A", "OUT", "VCC", "GND")


@pytest.mark.parametrize("kind", KINDS)
def test_any_value_of_any_part_is_read_or_refused(kind: str) -> None:
    """Odd words, lists and mappings in every key of every kind never end in another exception."""
    cls = KINDS[kind]
    pins = ", ".join(f"{pin}: N{pin}" for pin in pins_of(cls))
    required = [name for name in cls.values() if cls.model_fields[name].is_required()]
    refused = 0
    for key in (key for key in cls.model_fields if key not in ("name", "unknown", "kind")):
        for word in WORDS:
            body = {"kind": kind, "pins": f"{{{pins}}}", **dict.fromkeys(required, "?"), key: word}
            line = ", ".join(f"{name}: {text}" for name, text in body.items())
            refused += outcome(f"format: 1\nsupplies: {{V5: {{volts: 5}}}}\nparts:\n  X1: {{{line}}}\n") != "read"
    assert refused > 0


@pytest.mark.parametrize("key", ["volts", "spread", "ohms", "amps", "sink", "idle", "net"])
def test_any_value_of_a_supply_is_read_or_refused(key: str) -> None:
    """The same for supplies."""
    for word in WORDS:
        body = {"volts": "5", key: word}
        line = ", ".join(f"{name}: {text}" for name, text in body.items())
        outcome(f"format: 1\nsupplies: {{V: {{{line}}}}}\nparts:\n  R1: {{kind: resistor, ohms: 1k, pins: [V, GND]}}\n")


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_any_damage_to_a_file_is_told(data: st.DataObject) -> None:
    """A good file with pieces cut out, doubled or replaced is still good, or is refused in sentences."""
    text = BOARD
    for _ in range(data.draw(st.integers(1, 4))):
        begin = data.draw(st.integers(0, len(text) - 1))
        end = min(len(text), begin + data.draw(st.integers(0, 25)))
        piece = data.draw(
            st.sampled_from(
                ["", text[begin:end] * 2, "?", "[", "]", "{", "}", ":", ",", "\n", " ", "GND", "V5", "-", "&a ", "*a"]
            )
        )
        text = text[:begin] + piece + text[end:]
    assert outcome(text)


@pytest.mark.parametrize(
    "section",
    [
        "grounds",
        "supplies",
        "power_states",
        "parts",
        "copper",
        "rails",
        "target",
        "probe_points",
        "rules",
        "models",
        "title",
        "about",
    ],
)
def test_any_form_of_a_section_is_read_or_refused(section: str) -> None:
    """A section may be empty; any other wrong form is refused."""
    for word in (*WORDS, "", "{a: }", "{a: {b: }}", "[{a: b}]", "[a, {b: c}]", "{V5: {volts: {a: b}}}"):
        lines = BOARD.replace("format: 1\n", "").splitlines(keepends=True)
        keep, skip = [], False
        for line in lines:
            if not line.startswith(" "):
                skip = line.startswith(f"{section}:")
            if not skip:
                keep.append(line)
        assert outcome(f"format: 1\n{section}: {word}\n{''.join(keep)}")
