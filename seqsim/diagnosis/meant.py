"""What a reading that fits nothing may have been meant as: the same digits with another prefix, or the next pin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seqsim.circuit import Circuit, PlaceKind, resolve_place
from seqsim.diagnosis.conditions import conditions
from seqsim.diagnosis.likelihood import conditional
from seqsim.diagnosis.predict import Predictor
from seqsim.quantity import format_quantity
from seqsim.readings import Reading, measurement

if TYPE_CHECKING:
    from seqsim.diagnosis.cells import Scored
    from seqsim.diagnosis.rank import Diagnosis

PREFIXES = (1e3, 1e-3, 1e6, 1e-6)
"""Factors between what was written and what was meant: millivolts for volts, kilohms for ohms."""
FITS = 3.0
"""Standard deviations within which the value that was meant must fit what the other readings say."""

NEAR_VOLTS, NEAR_SHARE = 0.02, 0.03
"""How near a reading must be to what is expected at a neighbouring pin (V, and a share of it; our judgement)."""


def meant(found: Diagnosis, k: int, reading: Reading) -> str:
    """Return which value or pin a reading may have been meant as, in a clause; nothing if none makes it fit.

    It must fit what the likeliest hypothesis expects there, given all other readings.
    """
    best = found.posterior.best.get(int(np.argmax(found.posterior.probability)))
    if best is None or not found.noise.number[k] or not isinstance(reading.value, float) or not reading.value:
        return ""
    each = found.measurements[k]
    others = np.array([n for n in np.flatnonzero(found.noise.number) if n != k], dtype=np.int64)
    mean, deviation = conditional(
        best.covariance, best.cell.mean, found.noise.observed[others], others, np.array([k])
    )  # fmt: skip
    for factor in () if reading.of_good else PREFIXES:
        value = reading.value * factor
        if each.kind.refuse(each.meter, value) is None:
            tip = float(each.invert(value))
            if abs(tip - float(mean[0])) <= FITS * float(deviation[0]):
                return f"you may have meant {format_quantity(value, each.unit)}"
    return _next_pin(found, best, k, reading)


def _next_pin(found: Diagnosis, best: Scored, k: int, reading: Reading) -> str:
    """Return which neighbouring pin a reading fits, in a clause; nothing if it fits none."""
    circuit = found.desk.circuit
    if reading.kind not in ("volts", "ohms") or reading.to is not None or reading.interventions:
        return ""
    pins = _neighbours(circuit, reading.place)
    if not pins:
        return ""
    each = found.measurements[k]
    probes = [measurement(circuit, reading.probe().model_copy(update={"place": pin}), each.meter) for pin in pins]
    branch = found.branches[best.cell.branch]
    tips = Predictor(found.desk, conditions(probes), len(probes)).nominal([branch]).tips
    expected = tips[min(best.cell.middle, len(tips) - 1)].copy()
    for at, probe in enumerate(probes):  # what was read there goes before what is predicted
        for n in np.flatnonzero(found.noise.number):
            other = found.measurements[n]
            alike = (other.kind, other.state, other.minus) == (each.kind, each.state, each.minus)
            if n != k and alike and other.part is None and _net(circuit, other.plus) == _net(circuit, probe.plus):
                expected[at] = found.noise.observed[n]
    read = float(each.invert(float(reading.value)))  # type: ignore[arg-type]
    apart = np.abs(expected - read) - (NEAR_VOLTS + NEAR_SHARE * abs(read))
    nearest = int(np.argmin(np.where(np.isfinite(apart), apart, np.inf)))
    return f"it reads like {pins[nearest]}: the tip may have been on the next pin" if apart[nearest] <= 0 else ""


def _net(circuit: Circuit, place: str) -> str:
    return resolve_place(circuit, place).net


def _neighbours(circuit: Circuit, place: str) -> list[str]:
    """Return the pins beside a pin, or beside the pins of a net, that lie on other nets than it does."""
    at = resolve_place(circuit, place)
    nets = circuit.pins()
    found = []
    for part in circuit.parts.values():
        for first, second in part.neighbours():
            for one, other in ((part.pin(first), part.pin(second)), (part.pin(second), part.pin(first))):
                mine = one == at.name if at.kind is not PlaceKind.NET else nets[one] == at.net
                if mine and nets[other] not in (at.net, *circuit.grounds):
                    found.append(other)
    return list(dict.fromkeys(found))
