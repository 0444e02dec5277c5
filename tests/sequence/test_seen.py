"""What was seen over time: its chances under a course, and how it moves a ranking."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from rail_pair import CHAIN

from seqsim.board import Board
from seqsim.circuit import Circuit
from seqsim.faults import find_fault
from seqsim.network import vary
from seqsim.readings import Seen
from seqsim.sequence.seen import RIGHT, Watched, Witness
from seqsim.solver.course import Course

PULL_UP = "R1: {kind: resistor, ohms: 10k, pins: [V5, PG5]}"
SLOW = CHAIN.replace(PULL_UP, f"{PULL_UP}\n  C8: {{kind: capacitor, farads: 1u, pins: [PG5, GND]}}")


def course(circuit: Circuit, *volts: float) -> Course:
    """Return a course in which V5 passes through these volts, 10 ms apart, and all else is zero."""
    from seqsim.circuit import compile_network

    variant = vary(compile_network(circuit))
    table = np.zeros((len(volts), variant.size + 1))
    table[:, variant.node("V5")] = volts
    return Course(variant, np.arange(len(volts), dtype=np.float64) * 10e-3, table, (), ())


def chance(seen: Seen, shown: Course, start: float = 0.0) -> float:
    """Return the chance of what was seen on a course of V5, whose healthy level is 5 V."""
    return Watched(seen, start, 5.0).chance(shown, float(shown.times[-1]))


@pytest.mark.parametrize(
    ("volts", "what"),
    [
        ((0, 5, 0, 0), "rises then falls"),
        ((0, 1, 1, 0), "never high"),
        ((0, 5, 5, 5), "stays high"),
        ((0, 5, 0, 5, 0, 5, 0), "pulses"),
    ],
)
def test_behaviours(chain: Circuit, volts: tuple[float, ...], what: str) -> None:
    """A behaviour is likely on a course that shows it, and unlikely on the others."""
    shown = course(chain, *volts)
    for behaviour in ("rises then falls", "never high", "stays high", "pulses"):
        likely = chance(Seen("V5", behaviour), shown) == RIGHT
        falls_too = what == "pulses" and behaviour == "rises then falls"
        assert likely == (behaviour == what or falls_too)


def test_volts_at_a_time(chain: Circuit) -> None:
    """Volts at a time are as likely as they lie near the course there, within what the time leaves open."""
    ramp = course(chain, 0, 2, 4, 5)
    near, far = (chance(Seen("V5", volts, 15e-3), ramp) for volts in (3.0, 0.5))
    assert near == pytest.approx(RIGHT)
    assert far < 0.05
    assert chance(Seen("V5", "high", 25e-3), ramp) == RIGHT
    assert chance(Seen("V5", "low", 25e-3), ramp) < 0.05
    assert chance(Seen("V5", "low", 1e-3), ramp) == RIGHT
    assert chance(Seen("V5", "low", 1e-3), ramp, start=20e-3) < 0.05


def test_chances_tell_a_slow_enable(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that is still down 60 ms after the start speaks for its aged pull-up, not for its load or good health."""
    circuit = circuit_of(SLOW)
    witness = Witness.of(circuit, [Seen("V3", "low", 60e-3), Seen("V3", "stays high")])
    slow = witness.under(find_fault(circuit, "R1:high")[0].patches(20.0)).prod()
    other = witness.under(find_fault(circuit, "LD2:open")[0].patches(1.0)).prod()
    assert slow > 20 * other
    assert slow > 20 * witness.on(witness.healthy).prod()


def test_witness_runs_long_enough(circuit_of: Callable[[str], Circuit]) -> None:
    """A time beyond the usual end makes the run longer."""
    witness = Witness.of(circuit_of(SLOW), [Seen("V3", "high", 2.0)])
    assert witness.table.until > 2.0
    assert witness.watched[0].largest == pytest.approx(3.3, rel=0.01)


def test_times_count_from_a_power_state(circuit_of: Callable[[str], Circuit]) -> None:
    """A time with a power state counts from its beginning: `going` begins 20 ms after `waiting`."""
    witness = Witness.of(circuit_of(SLOW), [Seen("V5", "low", 10e-3), Seen("V5", "high", 10e-3, "going")])
    assert witness.on(witness.healthy) == pytest.approx([RIGHT, RIGHT])


def test_moves_a_ranking(circuit_of: Callable[[str], Circuit]) -> None:
    """Levels at rest alone leave an aged pull-up far behind; what was seen over time brings it to the front."""
    board = Board("slow", circuit_of(SLOW))
    readings = ["V5 5.0", "PG5 5.0", "V3 3.3", "RESET 3.3"]
    alone = board.rank(readings)
    seen = board.rank(readings, ["V3 low at 60ms"])
    told = seen.readings[-1]
    assert (told.place, told.kind, told.state, told.value, told.verdict) == (
        "V3", "over time", "waiting", "low at 60 ms", "low",
    )  # fmt: skip
    speaks = {name: each.predictions[-1].speaks for each in seen.hypotheses for name in each.faults if each.predictions}
    assert speaks["R1:high"] == "for"
    assert speaks["LD2:open"] == "against"
    assert all(each.readings_total == 5 for each in seen.hypotheses)
    place = {name: each.probability for each in alone.hypotheses for name in each.faults}
    moved = {name: each.probability for each in seen.hypotheses for name in each.faults}
    assert place["R1:high"] < 0.05
    assert moved["R1:high"] > 10 * place["R1:high"]
    assert next(where.place for where in seen.where if where.place in board.circuit.parts) == "R1"
    total = sum(each.probability for each in seen.hypotheses) + seen.none_of_these
    assert total == pytest.approx(1)


def test_pulsing_into_a_short(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that its regulator starts again and again pulses, at rest and over time, however low its pulses are.

    The supply before it rests, so that the word tells its fault from all that leave the rail still.
    """
    hiccup = "volts: 5, amps: 2, overload: hiccup, hiccup_pause: 10ms, start_delay"
    board = Board("hiccup", circuit_of(CHAIN.replace("volts: 5, start_delay", hiccup)))
    (short,) = find_fault(board.circuit, "V5:short to GND")[:1]
    witness = Witness.of(board.circuit, [Seen("V5", "pulses"), Seen("V3", "pulses"), Seen("VIN", "pulses")])
    assert witness.under(short.patches(0.5)) == pytest.approx([RIGHT, 1 - RIGHT, 1 - RIGHT])
    assert witness.on(witness.healthy) == pytest.approx([1 - RIGHT] * 3)
    found = board.rank(["VIN 12.0", "V5 0.09", "V5 pulsing"])
    assert all({"V5", "C1", "LD1"} & {each.place, *each.faults[0].split(":")} for each in found.hypotheses[:3])
    assert sum(each.probability for each in found.hypotheses[:3]) > 0.4
    assert found.hypotheses[0].probability > 5 * next(h.probability for h in found.hypotheses if not h.faults)
