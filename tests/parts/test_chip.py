"""What integrated circuits share."""

from __future__ import annotations

import pytest
from bench import Bench

from seqsim.network import Move
from seqsim.parts import KINDS, Part
from seqsim.parts.chip import without_ground
from seqsim.parts.resistor import Resistor
from seqsim.solver import Steadiness

LOAD = Resistor(name="RL", ohms=1e4, pins={"1": "OUT", "2": "GND"})


def chip(kind: str, pins: dict[str, str], **values: object) -> Part:
    return KINDS[kind](kind=kind, name="U1", pins=pins | {"GND": "GND"}, **values)


@pytest.mark.parametrize(
    "made",
    [
        chip("regulator", {"IN": "V", "OUT": "OUT"}, volts=3.3, type="switching"),
        chip("regulator", {"IN": "V", "OUT": "OUT"}, volts=3.3),
        chip("buffer", {"A": "V", "Y": "OUT", "VCC": "V"}, family="lvc"),
        chip("comparator", {"INP": "V", "INN": "X", "OUT": "OUT", "VCC": "V"}, output="push-pull"),
        chip("supervisor", {"OUT": "OUT", "VCC": "V"}, threshold=3),
        chip("load_switch", {"IN": "V", "OUT": "OUT", "EN": "V"}),
        chip("black_box", {"A": "V", "OUT": "OUT", "VCC": "V"}, high_when="A > 1"),
    ],
    ids=lambda made: f"{made.kind} {getattr(made, 'type', '')}",
)
def test_a_lifted_ground_turns_a_chip_off(made: Part) -> None:
    """With its ground pin open a chip drives nothing, whatever state the board was in before."""
    bench = Bench({"V": 5.0, "X": 1.0}, [made, LOAD])
    working = bench.solve()
    assert working.at("OUT") > 3.2
    off = without_ground([made, LOAD], {"U1.GND"})
    levels = bench.solve(Move(("U1.GND",), "lifted", joint=True), *off, start=working.state)
    assert levels.steadiness is Steadiness.STEADY
    assert abs(levels.at("OUT")) < 0.3


def test_only_ground_pins_turn_a_chip_off() -> None:
    """Other moved pins, and the grounds of parts that are no chips, change no rule."""
    made = chip("buffer", {"A": "V", "Y": "OUT", "VCC": "V"})
    assert without_ground([made, LOAD], {"U1.VCC", "RL.2"}) == ()
