"""A technician's seconds until one group holds 95 %: `next`, walking back, halving, and the least that is possible.

Run with ``pytest -m benchmark tests/benchmarks/test_seconds.py -s``. Boards have one fault, drawn by its prior, that
makes the target fail; laws, tolerances and meter are those of test_calibration.py. *Walking back* reads the target,
then the chain behind it net by net to the first that is right, then pins and copper of the last that was wrong;
*halving* reads the middle of what is suspect. Where a policy comes to its end without 95 %, its seconds up to there
count: that favours it.

The least that is possible is worked out by dynamic programming on outcome tables of the twelve likeliest groups of
small circuits, beside taking what tells most a second there, which is how `next` chooses. Both once more for those who
know the ohms of supplies before power goes on and their volts first then, which `next` asks for whatever they tell.

``BOARDS`` says how many boards of each circuit are drawn (20); ``KEEP`` names the folder for rows and report.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from blind_boards import Workshop
from kept_rows import Row, report, rows
from measured_boards import desk_of, displayed, drawn_network, drawn_severity, handled, seen
from optimal_policy import outcome_table
from shares import bootstrap
from walks import Walker

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis.alike import look_alikes
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.hypotheses import Hypothesis, listed
from seqsim.network import vary
from seqsim.readings import Probe, Reading, measurement

pytestmark = pytest.mark.benchmark

CIRCUITS = (
    "diode_wired_and", "double_inversion", "isolated_enable", "level_shifter", "power_good_chain", "window_comparator",
)  # fmt: skip
SMALL = (
    "diode_wired_and", "double_inversion", "inverting_npn", "isolated_enable", "level_shifter", "n_channel_pass",
    "p_channel_high_side", "power_good_chain", "window_comparator",
)  # fmt: skip
SEED = 63
FAILS = 1 / 3
MOST_GROUPS = 12
MOST_SHARE, MOST_RATIO = 0.60, 1.2


def test_advice_takes_little_longer_than_the_quickest_policy(tmp_path: Path) -> None:
    """On outcome tables of at most twelve groups, what tells most a second takes at most 1.2 times the optimum."""
    lines = [
        "# The quickest policy\n",
        "| circuit | optimum (s) | most bits a second (s) | ratio | optimum, supplies first (s) | same (s) | ratio |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    ratios, owed = [], []
    for name in SMALL:
        circuit = read_circuit(library()[name])
        at, faults = desk(circuit), listed(circuit)
        table = outcome_table(circuit, at, look_alikes(at, faults), faults, MOST_GROUPS)
        best, taken = table.optimum(), table.by_rate()
        ratios.append(taken / best)
        least, careful = table.optimum(supplies=True), table.by_rate(supplies=True)
        owed.append((careful / least, careful / best))
        lines.append(
            f"| {name} | {best:.1f} | {taken:.1f} | {ratios[-1]:.3f} | {least:.1f} | {careful:.1f} "
            f"| {careful / least:.3f} |"
        )
    careful, whole = np.mean(owed, axis=0)
    lines.append(
        f"\nMean ratio {np.mean(ratios):.3f}, largest {max(ratios):.3f}; with supplies first, as `next` has it, "
        f"{careful:.3f}, largest {max(each for each, _ in owed):.3f}; aim {MOST_RATIO}. "
        f"What supplies cost: {whole:.3f} of the optimum that leaves them out."
    )
    report("seconds_optimum", "\n".join(lines), tmp_path)
    assert max(np.mean(ratios), careful) <= MOST_RATIO


def test_advice_is_quicker_than_walking_back(tmp_path: Path) -> None:
    """The mean of seconds as advised is at most 60 % of that of walking back."""
    found: list[Row] = []
    for circuit, name in enumerate(CIRCUITS):
        count = int(os.environ.get("BOARDS", "20"))
        found += [row | {"circuit": name} for row in rows(f"seconds_{name}", count, _maker(circuit, name), tmp_path)]
    report("seconds", _text(found), tmp_path)
    assert _ratio(_seconds(found, "back")) <= MOST_SHARE


def _maker(circuit: int, name: str) -> Callable[[int], list[Row]]:
    @cache
    def ready() -> tuple[Workshop, Walker]:
        workshop = Workshop(read_circuit(library()[name]))
        return workshop, Walker(workshop)

    def make(number: int) -> list[Row]:
        return [_board(*ready(), (SEED, circuit, number))]

    return make


def _board(workshop: Workshop, walker: Walker, seed: tuple[int, ...]) -> Row:
    random = np.random.default_rng(seed)
    faults = workshop.listed[1:]
    prior = np.array([fault.prior for fault in faults])
    while True:
        fault = faults[int(random.choice(len(faults), p=prior / prior.sum()))]
        board = Drawn(workshop, fault, drawn_severity(fault, random), random)
        if board.fails():
            break
    job = workshop.job(board.read)
    back, halving = walker.seconds(board.read, halving=False), walker.seconds(board.read, halving=True)
    return {
        "fault": fault.name, "next": [job.seconds, len(job.readings), job.stop in ("found", "look_alikes")],
        "back": list(back), "halving": list(halving), "promised": sum(job.promised), "delivered": sum(job.delivered),
    }  # fmt: skip


class Drawn:
    """A board with a fault, drawn once, and one meter."""

    def __init__(self, workshop: Workshop, fault: Hypothesis, severity: float, random: np.random.Generator) -> None:
        self.workshop, self.circuit, self.random = workshop, workshop.circuit, random
        self.at = desk_of(self.circuit, drawn_network(workshop.desk.network, random, shifted=True))
        self.patches = fault.modes[0].patches(severity)
        self.variant = vary(self.at.network, self.patches)
        self.gains: dict[str, float] = {}
        self.known: dict[Probe, Reading | None] = {}

    def fails(self) -> bool:
        """Tell whether the target is off by more than a third of its healthy swing in some power state."""
        target = self.circuit.target
        assert target is not None
        probes = [
            Probe(kind="volts", place=target, state=s) for s, power in self.circuit.power_states.items() if power.on
        ]
        each = [measurement(self.circuit, probe) for probe in probes]
        own = seen(self.at, [self.variant], each)
        healthy = seen(self.workshop.desk, [vary(self.workshop.desk.network)], each).tips[0]
        swing = np.ptp(np.append(healthy, 0.0))
        return bool(own.good[0] and (np.abs(own.tips[0] - healthy) > FAILS * swing).any())

    def read(self, probe: Probe) -> Reading | None:
        """Return what the meter shows, the same whoever asks; None where the board swings or has to be changed."""
        if probe not in self.known:
            self.known[probe] = self._read(probe)
        return self.known[probe]

    def _read(self, probe: Probe) -> Reading | None:
        each = measurement(self.circuit, probe)
        found = seen(self.at, [handled(self.at.network, self.patches, each)], [each])
        if not found.good[0]:
            return None
        return displayed([probe], [each], found.tips[0], self.random, self.gains)[0]


def _seconds(found: list[Row], other: str) -> np.ndarray:
    return np.array([[row["next"][0], row[other][0]] for row in found])


def _ratio(pairs: np.ndarray) -> float:
    return float(pairs[:, 0].mean() / pairs[:, 1].mean())


def _text(found: list[Row]) -> str:
    random = np.random.default_rng(SEED)
    lines = [
        f"# A technician's seconds\n\n{len(found)} boards of {len(CIRCUITS)} circuits.\n",
        "| policy | seconds | readings | boards on which a group holds 95 % | seconds of next beside it |",
        "| --- | --- | --- | --- | --- |",
    ]
    for policy in ("next", "back", "halving"):
        ratio = "1"
        if policy != "next":
            pairs = _seconds(found, policy)
            low, high = bootstrap(pairs, _ratio, random)
            ratio = f"{_ratio(pairs):.3f} ({low:.3f} to {high:.3f})"
        mean = [float(np.mean([row[policy][k] for row in found])) for k in range(3)]
        lines.append(f"| {policy} | {mean[0]:.0f} | {mean[1]:.1f} | {mean[2]:.2f} | {ratio} |")
    both = [row for row in found if row["next"][2] and row["back"][2]]
    if both:
        lines.append(
            f"\nWhere both reach 95 % ({len(both)} boards): {_ratio(_seconds(both, 'back')):.3f} of walking back."
        )
    promised, delivered = (np.mean([row[key] for row in found]) for key in ("promised", "delivered"))
    lines.append(
        f"\nPromised {promised:.2f} bits a board, delivered {delivered:.2f}. Aim: {MOST_SHARE} of walking back."
    )
    return "\n".join(lines)
