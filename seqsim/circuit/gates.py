"""How far from its source the gate of a MOSFET can get, from what is wired to it."""

from __future__ import annotations

from seqsim.circuit.model import Circuit
from seqsim.circuit.paths import Paths
from seqsim.parts import Part

MARGIN = 1.02
"""Share of the rating from which an excess is told: supplies have their tolerance."""


def beyond_rating(part: Part, circuit: Circuit, paths: Paths) -> float | None:
    """Return the gate-source voltage (V) by which a MOSFET can exceed its rating; None if it cannot.

    The source must lie on a source of power. Resistors at the gate form a divider whose far ends stand at the
    highest, or lowest, that can feed them; whatever else drives the gate pulls it all the way. A Zener diode from
    gate to source that breaks down below the rating ends the matter.
    """
    limit = getattr(part, "gate_limit", None)
    if limit is None or "G" not in part.pins or part.pins["S"] not in paths.stiff:
        return None
    gate, source = part.pins["G"], part.pins["S"]
    if gate == source or _clamped(gate, source, limit, circuit):
        return None
    origin = paths.stiff[source]
    for volts in (_extreme(gate, paths, circuit, highest=True), _extreme(gate, paths, circuit, highest=False)):
        if volts is not None and abs(volts - origin) > MARGIN * limit:
            return volts - origin
    return None


def _clamped(gate: str, source: str, limit: float, circuit: Circuit) -> bool:
    for part in circuit.parts.values():
        if (
            part.kind == "diode"
            and getattr(part, "type", None) == "zener"
            and set(part.pins.values()) == {gate, source}
        ):
            volts = getattr(part, "volts", None)
            return volts is None or volts <= limit
    return False


def _extreme(gate: str, paths: Paths, circuit: Circuit, *, highest: bool) -> float | None:
    """Return the highest or lowest volts that what is wired to a gate can give it."""
    if gate in paths.stiff:
        return paths.stiff[gate]
    far = paths.highest if highest else paths.lowest
    fixed: list[tuple[float, float]] = []
    floating: list[tuple[float, float]] = []
    pulled: list[float] = []
    for flow in (paths.into if highest else paths.out_of).get(gate, ()):
        other = flow.source if highest else flow.sink
        owner = circuit.parts.get(flow.owner)
        if owner is not None and owner.kind == "resistor":
            volts = _far_end(other, gate, paths, highest=highest)
            if volts is not None:
                (fixed if other in paths.stiff else floating).append((volts, flow.siemens))
        else:
            volts = far(other)
            if volts is not None:
                pulled.append(volts)
    divided = _average(fixed, floating, highest=highest)
    candidates = pulled if divided is None else [*pulled, divided]
    if not candidates:
        return None
    return max(candidates) if highest else min(candidates)


def _far_end(node: str, gate: str, paths: Paths, *, highest: bool) -> float | None:
    """Return the extreme volts of a resistor's far end by what drives it apart from this gate."""
    if node in paths.stiff:
        return paths.stiff[node]
    volts = []
    for flow in (paths.into if highest else paths.out_of).get(node, ()):
        other = flow.source if highest else flow.sink
        if other == gate:
            continue
        at = paths.highest(other) if highest else paths.lowest(other)
        if at is not None:
            volts.append(at)
    if not volts:
        return None
    return max(volts) if highest else min(volts)


def _average(fixed: list[tuple[float, float]], floating: list[tuple[float, float]], *, highest: bool) -> float | None:
    """Return the extreme of a divider: ends that may float count only where they go further than the others."""
    ends = list(fixed)
    for volts, siemens in sorted(floating, reverse=highest):
        mean = _mean(ends)
        if mean is None or (volts > mean if highest else volts < mean):
            ends.append((volts, siemens))
    return _mean(ends)


def _mean(ends: list[tuple[float, float]]) -> float | None:
    total = sum(siemens for _, siemens in ends)
    return sum(volts * siemens for volts, siemens in ends) / total if total else None
