"""The ways in which a fault can look: what a board has latched goes on, and each end of a severity has its own past."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.diagnosis import diagnose
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.rank import Diagnosis, table_of
from seqsim.readings import Readings, measurement, parse_reading

BOARD = read_circuit(library()["greenhouse_fan"])
THRESHOLD, NOMINAL = 1.2, 0.2
"""Volts at which U2 is enabled, and within which V5 is what the drawing says."""


def diagnosed(circuit: Circuit, *texts: str) -> Diagnosis:
    """Return what readings in shorthand say of a circuit, look-alikes left out."""
    taken = tuple(parse_reading(circuit, text) for text in texts)
    apart = Alike.of({k: (fault.name,) for k, fault in enumerate(listed(circuit))})
    return diagnose(circuit, Readings(readings=taken), alike=apart)


def test_what_does_not_start_does_not_start_later_either() -> None:
    """An enable tied to its own output: V5 is up or down for good, and no branch has it down in one power state alone.

    Down means below the enable's threshold of 1.2 V: its divider feeds the dead rail a little.
    """
    at = desk(BOARD)
    states = ("battery", "flap_shut", "running")
    table = table_of(at, [measurement(BOARD, parse_reading(BOARD, f"V5 0 @{state}")) for state in states])
    fault = next(k for k, each in enumerate(table.hypotheses) if each.name == "EN_5V:short to V5")
    mine = [k for k, branch in enumerate(table.branches) if branch.hypothesis == fault]
    volts = table.coarse.tips[np.isin(table.coarse.branch, mine)]
    up, down = np.abs(volts - 5.0) < NOMINAL, volts < THRESHOLD
    assert (up | down).all()
    assert (up.all(axis=1) | down.all(axis=1)).all()
    assert up.any()
    assert down.any()


@pytest.mark.parametrize("base", [22.5, 21.5, 20.0])
def test_a_low_short_latches_what_a_high_one_does_not(base: float) -> None:
    """24 V on the base of Q1 lifts V5 through R1 before the regulators start: above 110 % its power-good stays low.

    V3V3 then never loads V5. Kirchhoff's law says what V5 reads: R1 from the base, R7 through the saturated Q1, R4
    through the open drain of the power-good, 10 kΩ each.
    """
    lifted = base / 3
    assert lifted > 1.1 * 5
    found = diagnosed(BOARD, f"Q1_BASE {base:.2f}", f"V5 {lifted:.2f}", "V3V3 0", "PG_5V 0.035")
    names = [hypothesis.name for hypothesis in found.hypotheses]
    best = found.posterior.best[names.index("Q1_BASE:short to V24")]
    assert best.fit.misfit < 5


def test_a_true_fault_far_behind_is_looked_at_again() -> None:
    """START is so high on this board that D2 is off where the drawing has it on; its fault had lost fifty nats.

    With K2 open the flap no longer holds ARMED, which stands at V3V3 as soon as START is high. The place D2, of which
    anything is allowed, led by so much that the fault itself was not looked at again.
    """
    found = diagnosed(
        BOARD,
        "START 3.358 @flap_shut", "START 3.354 @running", "V3V3 3.261 @flap_shut", "V3V3 3.265 @running",
        "FLAP 0.000 @flap_shut", "FLAP 3.247 @running", "ARMED 0.222 @battery", "ARMED 3.243 @flap_shut",
        "ARMED 3.240 @running", "RUN 3.259 @flap_shut", "RUN 3.252 @running",
    )  # fmt: skip
    chances = dict(zip([h.name for h in found.hypotheses], found.posterior.probability.tolist(), strict=True))
    assert chances["D2:A-K2 open"] + chances["D2.K2:joint open"] > 0.8
