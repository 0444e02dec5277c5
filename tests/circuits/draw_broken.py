"""Print readings of a broken board, for a file of the library.

``python tests/circuits/draw_broken.py NAME FAULT READ...``

The board is drawn with parts within their tolerances and device laws a little off, the meter with an error of its
own; the same words give the same board. A READ is a reading in shorthand whose value does not count: ``EN 0``,
``'V5 0 @idle'``, ``'R3.1 to R3.2 1k ohm'``.
"""

from __future__ import annotations

import sys
import zlib
from pathlib import Path

import numpy as np

from seqsim.circuit import find_circuit, read_circuit
from seqsim.diagnosis.hypotheses import Hypothesis, Sort
from seqsim.faults import SubMode, find_fault, middle
from seqsim.readings import parse_reading

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))


def main(name: str, text: str, *reads: str) -> None:
    """Print what the meter shows."""
    from measured_boards import Boards

    circuit = read_circuit(find_circuit(name))
    fault, at = find_fault(circuit, text)
    mode = SubMode(fault.name, 1.0, fault.severity, fault.patches)
    broken = Hypothesis(fault.name, Sort.LISTED, fault.place, fault.places, fault.prior, (mode,), fault)
    probes = [parse_reading(circuit, read).probe() for read in reads]
    seed = np.random.default_rng(zlib.crc32(f"{name} {text}".encode()))
    shown = Boards(circuit, probes).draw(broken, middle(fault.severity) if at is None else at, seed)
    for read, reading in zip(reads, shown or (), strict=True):
        print(f"{read:40} {reading.value} @{reading.state}")


if __name__ == "__main__":
    main(*sys.argv[1:])
