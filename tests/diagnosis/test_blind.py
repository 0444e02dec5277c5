"""Blind boards in small: volts that SPICE found, readings as advised, and only then what was broken."""

from __future__ import annotations

import numpy as np
from blind_boards import Workshop, outcome
from golden_boards import CIRCUIT, GoldenBoard, golden

from seqsim.circuit import library, read_circuit

BOARDS, LEAST_FIRST = 6, 5
"""Boards, and how many of them must have the true group first: at 95 % each, fewer are found once in thirty times."""


def test_blind_boards_of_golden_volts_are_found() -> None:
    """The true group stands first on five of six boards and among three on all; no job takes more than 20 readings."""
    workshop, random = Workshop(read_circuit(library()[CIRCUIT])), np.random.default_rng(1)
    faults = {fault.name: fault for fault in workshop.listed}
    found = []
    for kept in golden():
        board = GoldenBoard(workshop.circuit, kept, random)
        job = workshop.job(board.read)
        assert job.found is not None
        assert len(job.readings) <= 20
        assert job.seconds > 0
        found.append(outcome(job.found, faults[board.fault]))
    assert len(found) == BOARDS
    assert sum(bool(each["first"]) for each in found) >= LEAST_FIRST
    assert sum(bool(each["three"]) for each in found) == BOARDS
