"""Makes the golden SPICE results again: decks beside the volts that the engine found. Run from the repository's root.

python tests/spice/golden/remake.py
"""

from __future__ import annotations

import json
from pathlib import Path

from seqsim.circuit import find_circuit, read_circuit
from seqsim.spice import spice_deck, spice_pass
from seqsim.spice.engine import engine

HERE = Path(__file__).parent
CASES = (
    ("inverting_npn", "open", ()),
    ("inverting_npn", "open", ("R3:open",)),
    ("double_inversion", "awake", ()),
    ("double_inversion", "asleep", ("Q1:C-E short",)),
    ("diode_wired_and", "ready", ()),
    ("p_channel_high_side", "charging", ()),
    ("n_channel_pass", "feeding", ()),
    ("power_good_chain", None, ()),
    ("greenhouse_fan", "running", ()),
    ("greenhouse_fan", "running", ("VIA3:broken",)),
)


def main() -> None:
    """Write one deck a case, and all results into one file."""
    found = []
    for k, (name, state, faults) in enumerate(CASES, start=1):
        circuit = read_circuit(find_circuit(name))
        deck = f"{k:02d}_{name}.cir"
        (HERE / deck).write_text(str(spice_deck(circuit, state, faults, full=True)), encoding="utf-8")
        result = spice_pass(name, circuit, state, faults, full=True)
        volts = {net: node.spice for net, node in result.nodes.items()}
        case = {"circuit": name, "state": result.state, "faults": list(faults), "deck": deck, "volts": volts}
        found.append(case | {"spice_state": result.spice_state})
    told = {"engine": f"ngspice {engine().version}", "cases": found}
    (HERE / "results.json").write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
