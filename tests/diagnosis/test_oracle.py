"""The ranking's chances beside those of brute force; `tests/benchmarks/test_oracle.py` is the long form."""

from __future__ import annotations

import numpy as np
from measured_boards import Boards, chain_probes
from oracle import Oracle, compared, leader

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis.hypotheses import listed

DRAWS, BOARDS, READINGS = 256, 40, 4


def test_a_stage_is_ranked_as_by_its_draws() -> None:
    """Forty boards of one stage, four readings: nearly always the same group first, and no more lost on the truth.

    With 256 draws the oracle itself scatters: the limits leave room for that.
    """
    circuit = read_circuit(library()["inverting_npn"])
    boards = Boards(circuit, chain_probes(circuit))
    oracle, random = Oracle(boards, listed(circuit)), np.random.default_rng(7)
    ensemble = oracle.draw(DRAWS, random)
    columns = np.sort(random.choice(len(boards.probes), READINGS, replace=False))
    found = list(compared(oracle, ensemble, columns, BOARDS, random))
    same = [leader(each.ranked) == leader(each.drawn) for each in found]
    lost = [each.loss(each.ranked) - each.loss(each.drawn) for each in found]
    assert np.mean(same) >= 0.9
    assert np.mean(lost) <= 0.1
