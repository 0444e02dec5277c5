"""Measures the errors of the device laws against SPICE: ``python -m seqsim.spice.model_error`` writes them anew.

The differences d of a board's nodes are taken for d = J x + e: J holds what a shift of each law of each device does to
each node, x are the errors of the laws, alike in kind for all devices of a family, e is what each node has by itself.
The variances of x are those of greatest likelihood on the circuits for tuning, found by expectation and maximisation
(Dempster, Laird and Rubin, J. R. Stat. Soc. B 39, 1977, from memory). Those of e are taken on each of these circuits
with the laws of the others. The circuits for measuring tell how often it holds.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import Circuit, compile_network, find_circuit, read_circuit
from seqsim.circuit.library import library
from seqsim.circuit.model import OFF
from seqsim.errors import SpiceFailedError
from seqsim.faults import middle, single_faults
from seqsim.network import Bridge, Knob, Network, Patch
from seqsim.network.network import Floats, Ints
from seqsim.parts.model_error import LAWS, ModelError, laws_of
from seqsim.solver import Steadiness
from seqsim.solver.sensitivity import node_impedance, sensitivities
from seqsim.spice.causes import floating_inputs
from seqsim.spice.compare import SpiceState, compare, every_state
from seqsim.spice.engine import Engine, engine
from seqsim.spice.models import full_model
from seqsim.spice.truth import for_measuring

MOST_VOLTS = 0.3
"""Larger differences are no matter of degree: a level has flipped, or SPICE is in another stable state."""
FAULTS = 60
"""Faults of each circuit, drawn with its name as seed: large boards would drown the small ones."""
METER_OHMS = 10e6
DRIVEN_OHMS = 1e6
"""Every net has a meter on it, as it has when somebody reads it: currents far below 1 µA do not count. Behind more than
this a node is left out all the same."""
FELT = 0.05
"""A node feels a law that moves it by this share of the law's own shift."""
STEPS = 60


@dataclass(frozen=True)
class Differences:
    """The driven nodes of one board in one power state that feel a law.

    ``volts`` (n,) is SPICE less switch level, ``level`` (n,) the switch level's magnitude, ``felt`` (n, k) what each
    law of each device does to each node, ``law`` (k,) the number of its family.
    """

    volts: Floats
    level: Floats
    felt: Floats
    law: Ints


@dataclass(frozen=True)
class Stack:
    """Samples side by side: volts, level, whether the node is there (s, n), felt (s, n, k), law (s, k)."""

    volts: Floats
    level: Floats
    there: Floats
    felt: Floats
    law: Ints


@dataclass(frozen=True)
class Variances:
    """Variances of the laws (5,), and of the residual: volts squared, and share squared."""

    laws: Floats
    volts: float
    share: float

    def residual(self, level: Floats) -> Floats:
        """Variance of each node by itself."""
        return self.volts + self.share * level**2


START = Variances(np.full(len(LAWS), 0.02**2), 0.005**2, 0.001**2)


def differences(name: str, most: int = FAULTS, spice: Engine | None = None) -> Iterator[Differences]:
    """Yield the differences of a library circuit, healthy and with faults, where both worlds agree on all levels."""
    circuit = read_circuit(find_circuit(name))
    faults = list(single_faults(circuit))
    chosen = random.Random(zlib.crc32(name.encode())).sample(faults, min(most, len(faults)))  # noqa: S311 - a sample
    network = compile_network(circuit)
    laws = [(LAWS.index(law), replace(knob, spread=1.0)) for law, knob in laws_of(network)]
    nets = [net for net in network.node_names[: network.nets] if net not in circuit.grounds]
    meters = tuple(Bridge(net, circuit.grounds[0], 1 / METER_OHMS) for net in nets)
    for patches in ((), *(fault.patches(middle(fault.severity)) for fault in chosen)):
        yield from _of_board(spice or engine(), circuit, network, (*patches, *meters), laws)


def _of_board(
    spice: Engine, circuit: Circuit, network: Network, patches: tuple[Patch, ...], laws: Sequence[tuple[int, Knob]]
) -> Iterator[Differences]:
    law = np.array([number for number, _ in laws], dtype=np.int64)
    for state, levels in every_state(circuit, network, patches):
        if state == OFF or levels.steadiness is not Steadiness.STEADY or floating_inputs(levels, DRIVEN_OHMS):
            continue
        try:
            both = compare(spice, circuit, network, levels, state, patches, write_model=full_model)
        except SpiceFailedError:
            continue
        impedance = node_impedance(levels)
        driven = np.diag(impedance) < DRIVEN_OHMS
        error = np.where(driven, both.difference, 0.0)
        if both.state is not SpiceState.STABLE or np.nanmax(np.abs(error)) > MOST_VOLTS:
            continue
        felt = sensitivities(levels, impedance, tuple(knob for _, knob in laws))
        used = np.abs(felt).max(axis=0) > FELT
        kept = driven & np.isfinite(both.difference) & (np.abs(felt) > FELT).any(axis=1)
        if kept.any():
            yield Differences(
                both.difference[kept], np.abs(levels.volts[:-1][kept]), felt[np.ix_(kept, used)], law[used]
            )  # fmt: skip


def stacked(samples: Sequence[Differences]) -> Stack:
    """Return samples side by side, filled up with nodes that differ by nothing and laws that nobody feels."""
    nodes = max(len(each.volts) for each in samples)
    laws = max(len(each.law) for each in samples)
    volts, level, there = (np.zeros((len(samples), nodes)) for _ in range(3))
    felt, law = np.zeros((len(samples), nodes, laws)), np.full((len(samples), laws), len(LAWS))
    for k, each in enumerate(samples):
        n, m = each.felt.shape
        volts[k, :n], level[k, :n], there[k, :n] = each.volts, each.level, 1.0
        felt[k, :n, :m], law[k, :m] = each.felt, each.law
    return Stack(volts, level, there, felt, law)


def fit(stack: Stack, start: Variances = START, steps: int = STEPS, *, laws_too: bool = True) -> Variances:
    """Return the variances of greatest likelihood, or those of the residual alone, the laws being known."""
    found = start
    for _ in range(steps):
        better = _step(stack, found)
        found = better if laws_too else replace(better, laws=found.laws)
    return found


def residual_elsewhere(measured: Sequence[Sequence[Differences]]) -> tuple[float, float]:
    """Return the variances of what the laws of the other circuits leave on each circuit, the mean over nodes."""
    sums, nodes = np.zeros(2), 0
    for k, own in enumerate(measured):
        others = [each for other in (*measured[:k], *measured[k + 1 :]) for each in other]
        found = fit(stacked(own), fit(stacked(others)), laws_too=False)
        count = sum(len(each.volts) for each in own)
        sums, nodes = sums + count * np.array([found.volts, found.share]), nodes + count
    return float(sums[0] / nodes), float(sums[1] / nodes)


def _step(stack: Stack, now: Variances) -> Variances:
    """Take one step of expectation and maximisation."""
    inverse = np.linalg.inv(_covariance(stack, now))
    pull, known = (inverse @ stack.volts[..., None])[..., 0], np.einsum("snn->sn", inverse)
    prior = np.append(now.laws, 0.0)[stack.law]
    mean = prior * np.einsum("snk,sn->sk", stack.felt, pull)
    variance = prior - prior**2 * np.einsum("snk,snk->sk", stack.felt, inverse @ stack.felt)
    squares = np.bincount(stack.law.ravel(), (mean**2 + variance).ravel(), len(LAWS) + 1)[:-1]
    counts = np.bincount(stack.law.ravel(), minlength=len(LAWS) + 1)[:-1]
    volts = (now.volts * pull) ** 2 + now.volts - now.volts**2 * known
    share = (now.share * stack.level * pull) ** 2 + now.share - (now.share * stack.level) ** 2 * known
    there = stack.there.sum()
    return Variances(
        np.where(counts > 0, squares / np.maximum(counts, 1), now.laws),
        float((volts * stack.there).sum() / there),
        float((share * stack.there).sum() / there),
    )


def _covariance(stack: Stack, now: Variances) -> Floats:
    """Return the covariance of the nodes of each sample (s, n, n); those that only fill up have a variance of 1."""
    laws = (stack.felt * np.append(now.laws, 0.0)[stack.law][:, None, :]) @ stack.felt.transpose(0, 2, 1)
    own = np.where(stack.there > 0, now.residual(stack.level), 1.0)
    return np.asarray(laws + own[..., None] * np.eye(stack.volts.shape[1]))


def within_two(stack: Stack, known: Variances) -> float:
    """Return the share of nodes within two standard deviations; 0.954 would be Gauss's."""
    deviation = np.sqrt(np.einsum("snn->sn", _covariance(stack, known)))
    return float((np.abs(stack.volts) < 2 * deviation)[stack.there > 0].mean())


def main() -> str:
    """Measure the library, write the file that the package reads, and return what it holds."""
    measured = {name: list(differences(name)) for name in sorted(library())}
    tuning = [name for name in measured if not for_measuring(name)]
    samples = [each for name in tuning for each in measured[name]]
    laws = fit(stacked(samples)).laws
    left = Variances(laws, *residual_elsewhere([measured[name] for name in tuning if measured[name]]))
    other = [each for name in measured if for_measuring(name) for each in measured[name]]
    error = ModelError(
        circuits=tuple(tuning),
        states=len(samples),
        nodes=sum(len(each.volts) for each in samples),
        laws={law: round(float(np.sqrt(v)), 4) for law, v in zip(LAWS, laws, strict=True)},
        residual_volts=round(float(np.sqrt(left.volts)), 5),
        residual_share=round(float(np.sqrt(left.share)), 5),
        within_two=round(within_two(stacked(other), left), 3),
    )
    return f"{error}\nwritten to {error.save()}"


if __name__ == "__main__":
    import sys

    sys.stdout.write(main() + "\n")
