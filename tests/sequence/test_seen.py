"""What was seen over time: its words, its chances under a course, and how it moves a ranking."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from rail_pair import CHAIN

from seqsim.board import Board
from seqsim.circuit import Circuit
from seqsim.errors import ReadingError, UnknownPlaceError
from seqsim.faults import find_fault
from seqsim.network import vary
from seqsim.sequence.seen import RIGHT, Seen, Witness, parse_seen
from seqsim.solver.course import Course

PULL_UP = "R1: {kind: resistor, ohms: 10k, pins: [V5, PG5]}"
SLOW = CHAIN.replace(PULL_UP, f"{PULL_UP}\n  C8: {{kind: capacitor, farads: 1u, pins: [PG5, GND]}}")


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("RESET rises then falls", Seen("RESET", "rises then falls")),
        ("V3 never high", Seen("V3", "never high")),
        ("V3 never rises", Seen("V3", "never high")),
        ("RESET stays high", Seen("RESET", "stays high")),
        ("PG5 is pulsing", Seen("PG5", "pulsing")),
        ("V5 3.2 at 80ms", Seen("V5", 3.2, 0.08)),
        ("U2.EN 602mV at 0.1s", Seen("U2.EN", 0.602, 0.1)),
        ("RESET low at 40 ms", Seen("RESET", "low", 0.04)),
    ],
)
def test_words(chain: Circuit, text: str, seen: Seen) -> None:
    """Each form is understood."""
    assert parse_seen(chain, text) == seen


@pytest.mark.parametrize("text", ["V5", "V5 wobbles", "V5 at 80ms", "V5 3.2 at noon", "V5 big at 80ms", "V5 3 at -1ms"])
def test_bad_words(chain: Circuit, text: str) -> None:
    """What is not understood is refused in one sentence with a correct form or the reason."""
    with pytest.raises(ReadingError, match="V5"):
        parse_seen(chain, text)


def test_unknown_place(chain: Circuit) -> None:
    """Places that the board does not have are refused."""
    with pytest.raises(UnknownPlaceError):
        parse_seen(chain, "V7 never high")


def course(circuit: Circuit, *volts: float) -> Course:
    """Return a course in which V5 passes through these volts, 10 ms apart, and all else is zero."""
    from seqsim.circuit import compile_network

    variant = vary(compile_network(circuit))
    table = np.zeros((len(volts), variant.size + 1))
    table[:, variant.node("V5")] = volts
    return Course(variant, np.arange(len(volts), dtype=np.float64) * 10e-3, table, (), ())


@pytest.mark.parametrize(
    ("volts", "what"),
    [
        ((0, 5, 0, 0), "rises then falls"),
        ((0, 1, 1, 0), "never high"),
        ((0, 5, 5, 5), "stays high"),
        ((0, 5, 0, 5, 0, 5, 0), "pulsing"),
    ],
)
def test_behaviours(chain: Circuit, volts: tuple[float, ...], what: str) -> None:
    """A behaviour is likely on a course that shows it, and unlikely on the others."""
    shown = course(chain, *volts)
    for behaviour in ("rises then falls", "never high", "stays high", "pulsing"):
        likely = Seen("V5", behaviour).chance(shown, float(shown.times[-1]), 5.0) == RIGHT
        falls_too = what == "pulsing" and behaviour == "rises then falls"
        assert likely == (behaviour == what or falls_too)


def test_volts_at_a_time(chain: Circuit) -> None:
    """Volts at a time are as likely as they lie near the course there, within what the time leaves open."""
    ramp = course(chain, 0, 2, 4, 5)
    near, far = (Seen("V5", volts, 15e-3).chance(ramp, 30e-3, 5.0) for volts in (3.0, 0.5))
    assert near == pytest.approx(RIGHT)
    assert far < 0.05
    assert Seen("V5", "high", 25e-3).chance(ramp, 30e-3, 5.0) == RIGHT
    assert Seen("V5", "low", 25e-3).chance(ramp, 30e-3, 5.0) < 0.05


def test_chances_tell_a_slow_enable(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that is still down 60 ms after the start speaks for its aged pull-up, not for its load or good health."""
    circuit = circuit_of(SLOW)
    witness = Witness.of(circuit, [parse_seen(circuit, "V3 low at 60ms"), parse_seen(circuit, "V3 stays high")])
    slow = witness.under(find_fault(circuit, "R1:high")[0].patches(20.0))
    other = witness.under(find_fault(circuit, "LD2:open")[0].patches(1.0))
    assert slow > 20 * other
    assert slow > 20 * witness.healthy


def test_witness_runs_long_enough(circuit_of: Callable[[str], Circuit]) -> None:
    """A time beyond the usual end makes the run longer."""
    witness = Witness.of(circuit_of(SLOW), [Seen("V3", "high", 2.0)])
    assert witness.table.until > 2.0
    assert witness.largest == pytest.approx([3.3], rel=0.01)


def test_moves_a_ranking(circuit_of: Callable[[str], Circuit]) -> None:
    """Levels at rest alone leave an aged pull-up far behind; what was seen over time brings it to the front."""
    board = Board("slow", circuit_of(SLOW))
    readings = ["V5 5.0", "PG5 5.0", "V3 3.3", "RESET 3.3"]
    alone = board.rank(readings)
    seen = board.rank(readings, seen=["V3 low at 60ms"])
    place = {name: each.probability for each in alone.hypotheses for name in each.faults}
    moved = {name: each.probability for each in seen.hypotheses for name in each.faults}
    assert place["R1:high"] < 0.05
    assert moved["R1:high"] > 10 * place["R1:high"]
    assert next(where.place for where in seen.where if where.place in board.circuit.parts) == "R1"
    total = sum(each.probability for each in seen.hypotheses) + seen.none_of_these
    assert total == pytest.approx(1)
