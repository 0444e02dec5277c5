"""Several faults at once: their severities as one number, and which of them can meet."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.circuit import compile_network, library, read_circuit
from seqsim.faults import Fault, find_fault
from seqsim.faults.together import SECOND, Grid, can_meet, prior_of, together
from seqsim.network import Bridge, Move, vary
from seqsim.parts.part import Severity
from seqsim.quantity import Unit

ONE = Severity("ohms", Unit.OHM, 1.0, 100.0)
TWO = Severity("ohms", Unit.OHM, 10.0, 1e5)
BOARD = read_circuit(library()["greenhouse_fan"])


def faults(*names: str) -> list[Fault]:
    """Return faults of the greenhouse fan by name."""
    return [find_fault(BOARD, name)[0] for name in names]


@pytest.mark.parametrize(("count", "each"), [(9, 3), (36, 6), (2, 3)])
def test_a_grid_goes_through_every_combination(count: int, each: int) -> None:
    """Two severities: each point of one meets each point of the other once, and both are the midpoints of shares."""
    grid = Grid("severities", Unit.NUMBER, 0.0, 1.0, (ONE, TWO))
    one, two = grid.apart(grid.points(count))
    assert len(set(zip(one, two, strict=True))) == each**2
    assert np.unique(one) == pytest.approx(ONE.points(each))
    assert np.unique(two) == pytest.approx(TWO.points(each))


def test_one_point_of_a_grid_is_what_it_was() -> None:
    """A severity taken out of the grid by itself is that of both faults."""
    grid = Grid("severities", Unit.NUMBER, 0.0, 1.0, (ONE, TWO))
    points = grid.points(9)
    one, two = grid.apart(points)
    for k, point in enumerate(points):
        assert [float(at) for at in grid.apart(float(point))] == pytest.approx([one[k], two[k]])


def test_three_severities() -> None:
    """Three faults with severities have points in three directions."""
    grid = Grid("severities", Unit.NUMBER, 0.0, 1.0, (ONE, TWO, ONE))
    assert len(grid.points(27)) == 27
    assert all(len(np.unique(each)) == 3 for each in grid.apart(grid.points(27)))


def test_a_part_fails_in_one_way_at_a_time() -> None:
    """A resistor is not open and short at once; an open joint of it can be there beside either."""
    assert not can_meet(faults("R1:open", "R1:short"))
    assert can_meet(faults("R1:open", "R1.1:joint open"))
    assert can_meet(faults("R1:open", "R7:open"))


def test_a_contact_stays_with_the_pin_that_is_off_its_pad() -> None:
    """Whatever the order of names, pins move before contacts are made between them."""
    for names in (("Q1:B-E short", "Q1.B:joint open"), ("Q1.B:joint open", "Q1:B-E short")):
        patches = together(faults(*names)).patches(10.0)
        kinds = [type(patch) for patch in patches]
        assert kinds.index(Move) < kinds.index(Bridge)
        vary(compile_network(BOARD), patches)


def test_the_prior_of_a_pair() -> None:
    """Independent faults meet as the product of their shares, a tenth as often as a board has one fault."""
    one, two = faults("R1:open", "R7:open")
    assert prior_of([one, two]) == pytest.approx(SECOND * one.prior * two.prior)
    assert prior_of([one]) == pytest.approx(one.prior)
