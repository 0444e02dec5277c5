"""Why SPICE and the switch level differ at a node, where the cause is known."""

from __future__ import annotations

import numpy as np

from seqsim.circuit import Circuit
from seqsim.network.network import Floats
from seqsim.parts import Part
from seqsim.parts.bipolar import Bipolar
from seqsim.parts.mosfet import Mosfet
from seqsim.solver import FLOATING_OHMS, Levels
from seqsim.solver.sensitivity import node_impedance

MARGIN_VOLTS = 0.15
"""A threshold that a node comes this close to is decided by details of the laws."""
SATURATED_VOLTS = 0.3
"""A bipolar transistor with less between collector and emitter is saturated."""
MOVED_VOLTS = 0.03


def cause(circuit: Circuit, levels: Levels, spice: Floats, node: int) -> str:
    """Return why the volts of a node differ, in a few words.

    ``spice`` (n,) are the volts of SPICE at the nodes of the switch level; those of inner points of parts are not
    known there and not looked at.
    """
    impedance = np.diag(node_impedance(levels))
    floating = node >= 0 and impedance[node] > FLOATING_OHMS
    undecided = _thresholds(levels, spice, impedance)
    if floating:
        return "nothing drives it: leakage decides"
    if undecided:
        return undecided
    for part in circuit.parts.values():
        if isinstance(part, Bipolar | Mosfet):
            found = _transistor(part, levels, spice)
            if found:
                return found
    return "device laws at currents outside their usual range"


def _thresholds(levels: Levels, spice: Floats, impedance: Floats) -> str:
    """Name the rule rows that stand on different sides in the two solutions, or close to their threshold."""
    variant = levels.system.variant
    network, rows = variant.network, variant.rows
    padded = np.append(spice, 0.0)
    for row, name in enumerate(network.row_names):
        if variant.side_force[row] >= 0:
            continue
        at, weight = rows.rise_at[row], rows.rise_weight[row]
        middle = (rows.rising[0, row] + rows.falling[0, row]) / 2
        sensed = [float((weight * volts[at]).sum()) for volts in (levels.volts, padded)]
        where = f"{network.row_owners[row]} {name}"
        floats = any(
            node >= 0 and share and impedance[node] > FLOATING_OHMS for node, share in zip(at, weight, strict=True)
        )
        if floats and abs(sensed[0] - sensed[1]) > MOVED_VOLTS:
            return f"an input that floats: {where}"
        if levels.state.above[row] != (sensed[1] > middle):
            return f"a threshold within its margin: {where}"
        if min(abs(volts - middle) for volts in sensed) < MARGIN_VOLTS and abs(sensed[0] - sensed[1]) > 1e-3:
            return f"a threshold within its margin: {where}"
    return ""


def _transistor(part: Part, levels: Levels, spice: Floats) -> str:
    """Name a transistor that is neither on nor off and whose terminals differ between the two solutions."""
    padded = np.append(spice, 0.0)

    def at(pin: str) -> tuple[float, float]:
        node = levels.system.variant.node(part.pin(pin))
        return float(levels.volts[node]), float(padded[node])

    bipolar = isinstance(part, Bipolar)
    output, control, common = (at(pin) for pin in (("C", "B", "E") if bipolar else ("D", "G", "S")))
    sign = getattr(type(part), "sign", 1)
    if abs(output[0] - output[1]) < MOVED_VOLTS and abs(common[0] - common[1]) < MOVED_VOLTS:
        return ""
    across = max(sign * (output[k] - common[k]) for k in (0, 1))
    driven = max(sign * (control[k] - common[k]) for k in (0, 1))
    if isinstance(part, Bipolar) and driven > 0.45:
        if across > SATURATED_VOLTS:
            return f"beta droop: {part.name} is neither cut off nor saturated"
        return f"saturation voltage of {part.name}"
    if isinstance(part, Mosfet) and driven > part.threshold - MARGIN_VOLTS and across > MOVED_VOLTS:
        return f"square law in pieces: {part.name} is neither off nor fully on"
    return ""
