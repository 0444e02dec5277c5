"""The switch level against golden SPICE results with full device models; needs no engine.

The decks lie beside them, and `golden/remake.py` makes both again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from seqsim.circuit import compile_network, find_circuit, read_circuit
from seqsim.faults import find_fault, middle
from seqsim.network import Patch
from seqsim.spice.compare import switch_levels

GOLDEN = Path(__file__).parent / "golden"
CASES = json.loads((GOLDEN / "results.json").read_text(encoding="utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["deck"].removesuffix(".cir"))
def test_levels_are_those_of_spice(case: dict[str, Any]) -> None:
    """Every net lies within 50 mV of SPICE: 95 % of nodes are held to that, and these boards to it wholly."""
    assert (GOLDEN / case["deck"]).read_text(encoding="utf-8").rstrip().endswith(".end")
    circuit = read_circuit(find_circuit(case["circuit"]))
    patches: list[Patch] = []
    for text in case["faults"]:
        fault, severity = find_fault(circuit, text)
        patches += fault.patches(middle(fault.severity) if severity is None else severity)
    levels = switch_levels(circuit, compile_network(circuit), case["state"], tuple(patches))
    assert case["spice_state"] == "stable"
    for net, volts in case["volts"].items():
        node = levels.system.variant.network.node_index.get(net)
        if node is not None:
            assert float(levels.volts[node]) == pytest.approx(volts, abs=0.05), net
