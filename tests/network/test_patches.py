"""Patches: what each does, how they add up, and how they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from bench import network as build
from random_board import make

from seqsim.errors import UnknownPlaceError
from seqsim.network import (
    Bridge,
    Builder,
    Disable,
    Effect,
    Exchange,
    Knob,
    Move,
    Network,
    Owned,
    Patch,
    SetGate,
    SetSide,
    Source,
    Turn,
    Turned,
    vary,
)
from seqsim.parts.supply import Supply
from seqsim.solver import Levels, currents, solve

ON = {"VIN:applied": True}


@pytest.fixture
def divider() -> Network:
    """10 V over two resistors of 10 kΩ."""
    return build(
        [Supply(name="VIN", net="VIN", volts=10, ohms=0.01)],
        [
            make("resistor", "R1", {"1": "VIN", "2": "MID"}, ohms=10e3),
            make("resistor", "R2", {"1": "MID", "2": "GND"}, ohms=10e3),
        ],
    )


@pytest.fixture
def stage() -> Network:
    """An inverting NPN stage and a buffer behind it, on 5 V."""
    return build(
        [Supply(name="VIN", net="VIN", volts=5, ohms=0.01, amps=0.1)],
        [
            make("resistor", "R1", {"1": "VIN", "2": "BASE"}, ohms=10e3),
            make("npn", "Q1", {"B": "BASE", "C": "OUT", "E": "GND"}),
            make("resistor", "R2", {"1": "VIN", "2": "OUT"}, ohms=10e3),
            make("buffer", "U1", {"A": "OUT", "Y": "Y", "VCC": "VIN", "GND": "GND"}, family="hc"),
            make("resistor", "R3", {"1": "Y", "2": "GND"}, ohms=100e3),
        ],
    )


def levels(network: Network, *patches: Patch) -> Levels:
    """Levels with the supply applied."""
    return solve(network, patches, ON)


def test_bridge(divider: Network) -> None:
    """10 kΩ more to ground: a third of the supply, less its own ohms."""
    assert levels(divider, Bridge("MID", "GND", 1e-4)).at("MID") == pytest.approx(10 / 3, rel=1e-4)
    assert levels(divider, Bridge("MID", "MID", 1.0)).at("MID") == pytest.approx(5, rel=1e-4)


def test_an_array_is_as_many_boards(divider: Network) -> None:
    """Severities: each of them is the board with that number alone."""
    siemens = np.array([1e-5, 1e-4, 1e-3])
    variant = vary(divider, (Bridge("MID", "GND", siemens), Turn("R1", "ohms", np.array([1.0, 2.0, 3.0]))))
    assert variant.severities == 3
    for k in range(3):
        many = solve(
            divider, (Bridge("MID", "GND", siemens), Turn("R1", "ohms", np.array([1.0, 2, 3]))), ON, severity=k
        )
        alone = levels(divider, Bridge("MID", "GND", float(siemens[k])), Turn("R1", "ohms", k + 1.0))
        assert many.at("MID") == pytest.approx(alone.at("MID"), abs=1e-12)


def test_arrays_of_different_lengths_are_refused(divider: Network) -> None:
    """Two and three severities at once have no meaning."""
    with pytest.raises(ValueError, match="3 and 2 severities"):
        vary(divider, (Bridge("MID", "GND", np.ones(2)), Turn("R1", "ohms", np.ones(3))))


def test_open_joint_and_broken_copper(divider: Network) -> None:
    """An open joint leaves the pad on its net; broken copper takes it along."""
    joint = levels(divider, Move(("R2.1",), "R2.1 loose", joint=True))
    assert joint.at("MID") == pytest.approx(10, abs=1e-3)
    assert joint.at("R2.1") == pytest.approx(0, abs=1e-3)
    assert joint.at("R2.1/pad") == joint.at("MID")
    copper = levels(divider, Move(("R2.1",), "piece"))
    assert copper.at("R2.1/pad") == copper.at("R2.1") == copper.at("piece") == pytest.approx(0, abs=1e-3)


def test_pins_meet_on_a_piece(divider: Network) -> None:
    """Pins that leave together stay joined to each other."""
    both = levels(divider, Move(("R1.2", "R2.1"), "piece"))
    assert both.at("piece") == pytest.approx(5, abs=1e-3)
    assert both.at("MID") == 0


def test_patches_apply_in_their_order(divider: Network) -> None:
    """What is bridged to a pin after it moved is bridged to where it is now."""
    after = levels(divider, Move(("R2.1",), "loose", joint=True), Bridge("R2.1", "VIN", 1.0))
    assert after.at("R2.1") == pytest.approx(10, abs=1e-2)
    before = levels(divider, Bridge("R2.1", "VIN", 1.0), Move(("R2.1",), "loose", joint=True))
    assert before.at("R2.1") == pytest.approx(0, abs=1e-2)
    assert before.at("MID") == pytest.approx(10, abs=1e-2)


def test_move_turn_and_bridge_compose(divider: Network) -> None:
    """A lifted resistor of three times its value, brought to the supply by 1 kΩ: 10 V · 30k/31k."""
    patched = levels(divider, Move(("R2.1",), "loose"), Turn("R2", "ohms", 3.0), Bridge("R2.1", "VIN", 1e-3))
    assert patched.at("R2.1") == pytest.approx(10 * 30 / 31, rel=1e-4)


def test_a_move_back_changes_nothing(divider: Network) -> None:
    """A pin that leaves and comes back is where it was."""
    again = levels(divider, Move(("R2.1",), "loose"), Move(("R2.1",), "MID"))
    assert again.at("MID") == pytest.approx(5, rel=1e-5)


def test_source_keeps_to_its_limit(divider: Network) -> None:
    """1 mA at most into 5 kΩ lifts 5 V by 5 V; a source below the level takes what it can."""
    free = levels(divider, Source("MID", "GND", 20.0, 10.0))
    assert free.at("MID") == pytest.approx(20, abs=0.05)
    held = levels(divider, Source("MID", "GND", 20.0, 10.0, 1e-3))
    assert held.at("MID") == pytest.approx(10, abs=1e-2)
    within = levels(divider, Source("MID", "GND", 5.1, 100.0, 1e-3))
    assert within.at("MID") == pytest.approx((5 / 5e3 + 5.1 / 100) / (1 / 5e3 + 1 / 100), abs=1e-3)


def test_a_source_across_one_net_does_nothing(divider: Network) -> None:
    """Both leads of a meter on one net."""
    assert levels(divider, Source("R1.2", "MID", 3.0, 1.0)).at("MID") == pytest.approx(5, rel=1e-4)


def test_knob_turned_twice_is_turned_by_the_product(divider: Network) -> None:
    """Factors multiply: 2 and 1.5 are 3."""
    twice = levels(divider, Turn("R2", "ohms", 2.0), Turn("R2", "ohms", 1.5))
    assert twice.at("MID") == pytest.approx(7.5, rel=1e-4)


def test_a_limit_goes_with_what_it_limits(stage: Network) -> None:
    """A supply's output that is disabled takes its current limit along: the net is left to its leakage."""
    dead = levels(stage, Disable("VIN", ("source",)))
    assert dead.at("VIN") == pytest.approx(0, abs=1e-6)
    assert np.abs(currents(dead)).max() < 1e-6


def test_a_part_that_is_missing_carries_nothing(divider: Network) -> None:
    """Without R2 no current flows in R1."""
    assert levels(divider, Disable("R2")).at("MID") == pytest.approx(10, abs=1e-3)


def test_exchanged_pins(stage: Network) -> None:
    """Collector and emitter in each other's place: reverse gain does not saturate; probes go where pins are drawn."""
    turned = levels(stage, Exchange("Q1.C", "Q1.E"))
    assert turned.at("Q1.C") == turned.at("OUT")
    assert turned.at("Q1.E") == turned.at("GND") == 0
    assert turned.at("OUT") > levels(stage).at("OUT")


def test_exchanging_twice_changes_nothing(stage: Network) -> None:
    """Two mistakes that cancel."""
    twice = levels(stage, Exchange("Q1.B", "Q1.E"), Exchange("Q1.E", "Q1.B"))
    assert twice.volts == pytest.approx(levels(stage).volts, abs=1e-9)


def test_an_open_joint_at_an_exchanged_pin(divider: Network) -> None:
    """The joint is where it is drawn; the metal on it is the other pin's."""
    patched = levels(divider, Exchange("R2.1", "R2.2"), Move(("R2.1",), "loose", joint=True))
    assert patched.at("MID") == pytest.approx(10, abs=1e-3)
    assert patched.at("R2.1") == pytest.approx(0, abs=1e-3)


def test_gates_and_sides_can_be_forced(stage: Network) -> None:
    """A supply that is held absent; an input that is held high although its net is low."""
    assert levels(stage, SetGate("VIN:applied", False)).at("VIN") == pytest.approx(0, abs=1e-9)
    assert levels(stage).at("Y") == pytest.approx(0, abs=1e-2)
    row = next(
        name for name, owner in zip(stage.row_names, stage.row_owners, strict=True) if owner == "U1" and name == "A"
    )
    assert levels(stage, SetSide("U1", row, True)).at("Y") == pytest.approx(5, abs=0.05)


@pytest.mark.parametrize(
    ("patch", "words"),
    [
        (Bridge("MID", "MIDDLE", 1.0), "no net, pin or pad called 'MIDDLE'"),
        (Source("R9.1", "GND", 1.0, 1.0), "no net, pin or pad called 'R9.1'"),
        (Move(("R9.1",), "loose"), "no pin called 'R9.1'"),
        (Exchange("R1.1", "R1.3"), "no pin called 'R1.3'"),
        (Turn("R1", "gain", 2.0), "'R1' has nothing called 'gain'"),
        (Turn("R9", "ohms", 2.0), "'R9' has nothing called 'ohms'"),
        (SetGate("VOUT:applied", True), "no switch, supply or output called 'VOUT:applied'"),
        (SetSide("R1", "A", True), "'R1' has no input called 'A'"),
        (Disable("R9"), "no part or supply called 'R9'"),
        (Disable("R1", ("channel",)), "'R1' has nothing called 'channel'"),
    ],
)
def test_unknown_names_are_refused(divider: Network, patch: Patch, words: str) -> None:
    """One sentence that names what is missing."""
    with pytest.raises(UnknownPlaceError, match=words):
        vary(divider, (patch,))


def test_a_probe_on_an_unknown_place_is_refused(divider: Network) -> None:
    """Levels have no such place either."""
    with pytest.raises(UnknownPlaceError, match="'V5'"):
        levels(divider).at("V5")


def test_elements_touch_four_terminals_at_most() -> None:
    """A part that emits more is at fault, and is told so."""
    builder = Builder()
    for k in range(5):
        builder.pin(f"X1.{k}", f"N{k}")
    wide = {str(k): 1.0 for k in range(5)}
    Owned(builder, "X1").hinge("wide", wide, {"0": 1.0}, 1.0)
    with pytest.raises(ValueError, match="touches 5 terminals"):
        builder.freeze()


def test_gain_acts_where_a_hinge_injects() -> None:
    """A knob whose gain names another terminal is a mistake of the part."""
    builder = Builder()
    for pin in "ABC":
        builder.pin(f"X1.{pin}", pin)
    part = Owned(builder, "X1")
    part.hinge("path", {"A": 1, "B": -1}, {"A": 1, "B": -1}, 1.0)
    part.knob("gain", 1.0, 0.1, "invented", Turned("path", Effect.GAIN, inject={"X1.C": 1.0}))
    with pytest.raises(ValueError, match=r"gain at X1\.C"):
        vary(builder.freeze(), (Turn("X1", "gain", 2.0),))


def test_pins_are_listed_by_net(divider: Network) -> None:
    """Ground has its pins too; inner points of parts are on no net."""
    assert divider.pins_on["MID"] == ("R1.2", "R2.1")
    assert "R2.2" in divider.pins_on["GND"]
    assert isinstance(divider.knobs["R1", "ohms"], Knob)
