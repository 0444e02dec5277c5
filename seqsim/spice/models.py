"""Full device models: what real parts do beyond the simple laws, written independently of the switch-level model.

The shapes are those of published models; the size comes from the part's own values, so that a deck of full models
differs from the plain one as one maker's part differs from the textbook.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from seqsim.parts.wiring import model_line

EARLY_VOLTS = 74.0
"""VAF of the 2N3904 model that makers publish (from memory, not checked against the text)."""
LEAK_EMISSION = 1.26
"""NE of the same model (from memory)."""
KNEE_SHARE = 1 / 3
"""IKF, 67 mA, as a share of the rated 200 mA (from memory)."""
GAIN_SHARE = 1 / 20
"""The gain of a data sheet holds at 10 mA of a part that is rated for 200 mA."""
IDEAL_GAIN = 2.4
"""BF, 416, as a multiple of the gain at 10 mA (from memory)."""
COLLECTOR_DROP = 0.2
"""RC of 1 Ω at 200 mA (from memory), in volts."""
CHANNEL_MODULATION = 0.02
"""LAMBDA (1/V) of a small switching MOSFET: common practice."""
DRAIN_SHARE = 0.1
"""Share of the on-resistance at 3 V of overdrive that lies outside the channel: our judgement."""
REVERSE_VOLTS = 100.0
"""Breakdown of a diode that is no Zener: the 1N4148's rating."""
RATED_AMPS = 0.2
"""Rated current where a part has told none."""


def full_model(name: str, kind: str, parameters: Mapping[str, float]) -> str:
    """Return the ``.model`` line of a part with all the effects that makers' models have."""
    given = dict(parameters)
    if kind in ("NPN", "PNP"):
        given |= _bipolar(given)
    elif kind in ("NMOS", "PMOS"):
        given |= {"LAMBDA": CHANNEL_MODULATION, "RD": DRAIN_SHARE / (given["KP"] * 3.0)}
    elif kind == "D" and "BV" not in given:
        given |= {"BV": REVERSE_VOLTS, "IBV": 1e-4}
    return model_line(name, kind, given)


def _bipolar(given: Mapping[str, float]) -> dict[str, float]:
    amps = given.get("IKF", RATED_AMPS)
    knee, at = amps * KNEE_SHARE, amps * GAIN_SHARE
    ideal = IDEAL_GAIN * given["BF"]
    # base charge at the collector current where the gain is told: qb = (1 + sqrt(1 + 4 i/IKF))/2, i = ic qb
    charge = 1 + at / knee
    exponent = math.log(at * charge / given["IS"])
    base = at / given["BF"] - at * charge / ideal
    return {
        "BF": ideal,
        "IKF": knee,
        "VAF": EARLY_VOLTS,
        "NE": LEAK_EMISSION,
        "ISE": base / math.exp(exponent / LEAK_EMISSION),
        "RC": COLLECTOR_DROP / amps,
    }


def gain_at(parameters: Mapping[str, float], amps: float) -> float:
    """Return the current gain that a bipolar model has at a collector current (A), far from saturation."""
    charge = 1 + amps / parameters["IKF"]
    exponent = math.log(amps * charge / parameters["IS"])
    leak = parameters["ISE"] * math.exp(exponent / parameters["NE"])
    return amps / (amps * charge / parameters["BF"] + leak)
