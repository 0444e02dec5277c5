"""Makes the golden boards of test_blind.py again; it needs the SPICE engine. Run from the repository's root.

PYTHONPATH=tests/support python tests/diagnosis/golden/remake.py

Each board of `blind.json` has a fault that makes the target fail, parts within their tolerances and device laws of its
own, and the volts between the tips of the meter at every place on offer, one SPICE deck each.
"""

from __future__ import annotations

import json
from contextlib import suppress

import numpy as np
from golden_boards import CIRCUIT, GOLDEN, key_of
from spice_boards import Maker

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.offers import offers
from seqsim.errors import SpiceFailedError
from seqsim.readings import measurement
from seqsim.spice.engine import engine

BOARDS, SEED = 6, 7


def main() -> None:
    """Write the golden boards."""
    circuit = read_circuit(library()[CIRCUIT])
    maker, faults = Maker(circuit, engine()), listed(circuit)[1:]
    random = np.random.default_rng(SEED)
    near = sorted(set().union(*(fault.places for fault in faults)))
    probes = [each.probe for each in offers(circuit, near=near)]
    boards: list[dict[str, object]] = []
    while len(boards) < BOARDS:
        fault, severity, board = maker.failing(faults, random)
        with suppress(SpiceFailedError):
            tips = {key_of(probe): round(board.tip(measurement(circuit, probe)), 7) for probe in probes}
            boards.append({"fault": fault.name, "severity": severity, "tips": tips})
    lines = ",\n".join(json.dumps(board, ensure_ascii=False) for board in boards)
    GOLDEN.write_text(f"[\n{lines}\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
