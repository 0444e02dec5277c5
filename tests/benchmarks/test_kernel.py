"""Microseconds a faulted state in the kernel, beside SPICE on the same faults, and how each state was reached.

Every single fault at its middle severity, in every power state but ``off``, from the healthy board of that state: with
pin opens, rule rounds, input-current ratios and fallbacks inside. Run with
``pytest -m benchmark tests/benchmarks/test_kernel.py -s``; SPICE takes part where its engine is installed.
"""

from __future__ import annotations

import time
from collections import Counter

import numpy as np
import pytest
from chain import chain
from shelf import FOLDER, NAMES, State, faulted, states

from seqsim.circuit import OFF, Circuit, compile_network, read_circuit, state_gates
from seqsim.errors import SpiceFailedError, SpiceMissingError
from seqsim.faults import middle, single_faults
from seqsim.network import Variant
from seqsim.network.network import Floats
from seqsim.solver import Steadiness, Way
from seqsim.spice.deck import write_deck
from seqsim.spice.engine import engine

pytestmark = pytest.mark.benchmark

REPEATS = 3
"""The least of so many times counts, as the processor spends it on this thread: other work only ever adds."""
FAULTS, SPICE_FAULTS = 400, 12
"""Faults, evenly over the list, that are timed one by one, and those that SPICE solves too."""
MEAN_TO_MEDIAN = 3
WAYS, STEADINESS = list(Way), list(Steadiness)


def small_chain() -> Circuit:
    """A generated board of about 30 nets."""
    return chain(7)


def large_chain() -> Circuit:
    """A generated board of about 110 nets."""
    return chain(28)


def from_library(name: str) -> Circuit:
    """A board of the library."""
    return read_circuit(FOLDER / f"{name}.yaml")


def spread_evenly(count: int, wanted: int) -> list[int]:
    """So many numbers below ``count``, evenly spread; all of them where there are no more."""
    return sorted(set(np.linspace(0, count - 1, wanted).astype(int).tolist()))


def microseconds(state: State, variants: list[Variant]) -> Floats:
    """Time of each variant (v,) in the kernel: what three copies take longer than one, by two."""
    times = np.zeros(len(variants))
    for k, variant in enumerate(variants):
        job = state.bench.job([variant] * 3)
        job.run()
        least = [np.inf, np.inf]
        for _ in range(REPEATS):
            for place, copies in enumerate((1, 3)):
                start = time.thread_time()
                job.run(0, copies)
                least[place] = min(least[place], time.thread_time() - start)
        times[k] = max(least[1] - least[0], 0.0) / 2 * 1e6
    return times


def spice_microseconds(circuit: Circuit, state: str) -> Floats:
    """Time of each fault (f,) in SPICE inside this process, the deck written beforehand; an even share of the list."""
    network = compile_network(circuit)
    faults = single_faults(circuit)
    times = []
    for k in spread_evenly(len(faults), SPICE_FAULTS):
        try:
            patches = faults[k].patches(middle(faults[k].severity))
            deck = write_deck(circuit, state_gates(circuit, state), patches, network=network).operating_point()
            start = time.thread_time()
            engine().run(deck)
        except SpiceFailedError:
            continue
        times.append((time.thread_time() - start) * 1e6)
    return np.array(times)


def told(times: Floats) -> str:
    """Median, mean and tail of times in microseconds."""
    half, tail, last = np.quantile(times, [0.5, 0.95, 0.99])
    return f"median {half:.0f} µs, mean {times.mean():.0f}, 95 % {tail:.0f}, 99 % {last:.0f}, most {times.max():.0f}"


@pytest.mark.parametrize(
    ("name", "most", "median_ratio", "mean_ratio"),
    [
        ("small_chain", 50, 20, 5),
        ("greenhouse_fan", 50, 20, 5),
        ("organ_blower", 50, 20, 5),
        ("large_chain", 100, 100, 30),
    ],
)
def test_a_faulted_state(name: str, most: float, median_ratio: float, mean_ratio: float) -> None:
    """Median, mean and tail in the kernel, and the same faults in SPICE."""
    made = {"small_chain": small_chain, "large_chain": large_chain}
    circuit = made[name]() if name in made else from_library(name)
    network = compile_network(circuit)
    _, every = faulted(circuit, network, ends=False)
    variants = [every[k] for k in spread_evenly(len(every), FAULTS)]
    powered = [state for state in states(circuit, network) if state.name != OFF]
    times = np.concatenate([microseconds(state, variants) for state in powered])
    print(
        f"\n{name}, {len(circuit.parts)} parts, {network.nets} nets, {len(times)} faulted states: {told(times)}; to "
        f"reach: median {most:g}, mean {MEAN_TO_MEDIAN * most:g}"
    )
    try:
        spice = np.concatenate([spice_microseconds(circuit, state.name) for state in powered])
    except SpiceMissingError as error:
        print(f"  SPICE takes no part: {error}")
        return
    print(
        f"  SPICE, {len(spice)} of them: {told(spice)}; medians {np.median(spice) / np.median(times):.0f} times (to "
        f"reach: {median_ratio:g}), means {spice.mean() / times.mean():.1f} times (to reach: {mean_ratio:g})"
    )


def test_ways() -> None:
    """How the states of the whole library were reached: every fault at its middle and both ends."""
    ways: Counter[str] = Counter()
    steadiness: Counter[str] = Counter()
    for name in NAMES:
        circuit = from_library(name)
        network = compile_network(circuit)
        _, variants = faulted(circuit, network, ends=True)
        for state in states(circuit, network):
            solved = state.bench.run(variants)
            ways.update(WAYS[k].value for k in solved.way.tolist())
            steadiness.update(STEADINESS[k].value for k in solved.steadiness.tolist())
    total = ways.total()
    print(f"\nthe library, {total} faulted states: each with the dearest way that any of its analog solutions took")
    for name, count in [*ways.most_common(), *steadiness.most_common()]:
        print(f"  {name}: {count} ({100 * count / total:.2f} %)")
