"""What a healthy board reads, and the readings that prove that a fault is gone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.alike import own_deviation
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import HEALTHY
from seqsim.diagnosis.offers import offers
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import followed, good_boards, model_latents
from seqsim.faults import SubMode
from seqsim.network.network import Bools, Floats
from seqsim.readings import METER, Meter, Probe, Reading, format_reading, measurement
from seqsim.readings.measurement import Measurement
from seqsim.wording import PERCENTILE_95

APART = 4.0
"""Standard deviations between a healthy board and a broken one from which a reading proves the repair."""
MOSTLY = 0.8
"""Share of a fault's severities that a proof has to tell from healthy."""
PROOFS = 3
POINTS = 8
ROUGH_SHARE = 0.02
"""Spread of what a broken board reads, as a share (our judgement)."""
GROUPS_OF_PLACES = ("volts", "ohms", "continuity")


@dataclass(frozen=True)
class Healthy:
    """What a healthy board reads: tip volts ``mean`` and ``deviation`` (r,), ohms seen, whether it oscillates (r,)."""

    measurements: tuple[Measurement, ...]
    mean: Floats
    deviation: Floats
    ohms: Floats
    restless: Bools

    def window(self, k: int) -> tuple[float | str, float | str]:
        """Return 5th and 95th percentile of what the display shows, or the word that it shows."""
        low, high = (self.mean[k] + sign * PERCENTILE_95 * self.deviation[k] for sign in (-1, 1))
        return shown(self.measurements[k], float(low)), shown(self.measurements[k], float(high))


def shown(each: Measurement, tip: float) -> float | str:
    """Return what the display shows for tip volts: a number, or a word."""
    value = each.number(tip)
    if value is None:
        return "OL"
    if each.kind.name == "continuity":
        return "beep" if value < each.meter.continuity.beeps_below else "OL"
    return value


def example(probe: Probe, each: Measurement, tip: float) -> str:
    """Return how a reading would be written down, as the meter shows it for tip volts."""
    value, digit = shown(each, tip), None
    function = each.kind.function(each.meter)
    if isinstance(value, float) and function is not None:
        digit = float(function.digit(value))
        value = float(f"{round(value / digit) * digit:.6g}")
    return format_reading(Reading(**dict(probe), value=value, resolution=digit))


def healthy(at: Desk, measurements: Sequence[Measurement]) -> Healthy:
    """Return what a healthy board reads, with the spread of its parts, of the model and of the meter."""
    known, latents, _ = model_latents(at.network)
    branch = Branch(0, 1.0, HEALTHY.modes[0], 1)
    every = conditions(measurements)
    predictor = Predictor(Desk(at.circuit, known, at.benches), every, len(measurements))
    seen = Predictor(at, every, len(measurements)).nominal([branch])
    moves = predictor.moves([branch], [0], latents)[0] - followed(measurements, latents.size)
    own = np.array([
        float(own_deviation(each, seen.tips[:1, k])[0]) for k, each in enumerate(measurements)
    ])  # fmt: skip
    deviation = np.sqrt((moves**2).sum(axis=1) + own**2 + np.diag(good_boards(measurements)))
    return Healthy(tuple(measurements), seen.tips[0], deviation, seen.ohms[0], seen.restless[0])


@dataclass(frozen=True)
class Proof:
    """A reading that a healthy board shows between ``low`` and ``high``, and the broken one elsewhere."""

    probe: Probe
    low: float | str
    high: float | str
    unit: str
    seconds: float


def proofs(
    at: Desk, faults: Sequence[tuple[SubMode, Iterable[str]]], meter: Meter = METER
) -> tuple[tuple[Proof, ...], ...]:  # fmt: skip
    """Return for each fault, given with its places, the readings that prove its repair; the target comes first."""
    circuit = at.circuit
    places = [place for _, near in faults for place in near]
    offered = [each for each in offers(circuit, near=places) if each.probe.kind in GROUPS_OF_PLACES]
    if not offered or not faults:
        return tuple(() for _ in faults)
    measurements = [measurement(circuit, each.probe, meter) for each in offered]
    whole = healthy(at, measurements)
    branches = [Branch(k, 1.0, mode, POINTS) for k, (mode, _) in enumerate(faults)]
    seen = Predictor(at, conditions(measurements), len(measurements)).nominal(branches)
    own = np.stack([own_deviation(each, seen.tips[:, k]) for k, each in enumerate(measurements)], axis=1)
    wide = np.sqrt(own**2 + (ROUGH_SHARE * seen.tips) ** 2 + whole.deviation**2)
    told = (np.abs(seen.tips - whole.mean) > APART * wide) & ~seen.restless & seen.good[:, None]
    seconds = np.array([each.seconds for each in offered])
    weight = np.array([_weight(circuit, each.probe) for each in offered])
    found = []
    for k in range(len(faults)):
        share = told[seen.branch == k].mean(axis=0)
        good = np.flatnonzero(share >= MOSTLY)
        order = sorted(good.tolist(), key=lambda m: (-weight[m], -round(share[m], 1), seconds[m]))
        chosen: dict[tuple[str, str], int] = {}
        for m in order:
            probe = offered[m].probe
            if probe.place not in {place for place, _ in chosen}:
                chosen[probe.place, probe.state] = m
        found.append(tuple(
            Proof(offered[m].probe, *whole.window(m), measurements[m].unit.value, offered[m].seconds)
            for m in list(chosen.values())[:PROOFS]
        ))  # fmt: skip
    return tuple(found)


def _weight(circuit: Circuit, probe: Probe) -> int:
    """Return how much a place counts in a proof: the target in the last state most, then rails, then all powered."""
    last = probe.kind == "volts" and probe.state == list(circuit.power_states)[-1]
    if last and probe.place == circuit.target:
        return 3
    if last and probe.place in circuit.rails:
        return 2
    return int(probe.state != OFF)
