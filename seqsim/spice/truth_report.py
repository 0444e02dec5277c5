"""The measured truth of the switch level as a short report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import numpy as np

from seqsim.network.network import Floats
from seqsim.spice.compare import Basin
from seqsim.spice.truth import Disagreement, Sample, for_measuring

TARGETS = ((95, 0.05), (99, 0.10))
"""What is to be reached: the percentile of the differences and the volts that it may reach."""
LOGIC_TARGET = 0.99
SHOWN_CAUSES = 12


def errors_of(samples: Sequence[Sample], *, moved: bool = False) -> Floats:
    """Return the magnitudes (V) of the differences of all nodes, or of those that the fault moved."""
    found = [np.abs(each.errors[each.moved] if moved else each.errors) for each in samples]
    return np.concatenate(found) if found else np.zeros(0)


def logic_share(samples: Sequence[Sample]) -> float:
    """Return the share of states in which all logic levels agree."""
    compared = [each for each in samples if len(each.errors)]
    return sum(each.logic_agrees for each in compared) / max(len(compared), 1)


def report(samples: Sequence[Sample]) -> str:
    """Return the report as text (Markdown)."""
    lines = [
        "# Switch level beside SPICE with full device models",
        "",
        "Millivolts; `moved` are the nodes that the fault took more than 0.1 V from their healthy level. Same basin: ",
        "both start from the states before. Cold: both start from nothing.",
        "",
        "| circuits | start | states | nodes | 50 % | 95 % | 99 % | moved | 50 % | 95 % | 99 % | logic agrees |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    groups: list[tuple[str, Callable[[Sample], bool]]] = [
        ("for measuring", lambda each: for_measuring(each.circuit)),
        ("for measuring, no input floats", lambda each: for_measuring(each.circuit) and not each.input_floats),
        ("for tuning", lambda each: not for_measuring(each.circuit)),
    ]
    for basin in Basin:
        lines += [_line(title, basin, [s for s in samples if s.basin is basin and test(s)]) for title, test in groups]
    for name in sorted({each.circuit for each in samples}):
        kept = [s for s in samples if s.circuit == name and s.basin is Basin.SEEDED]
        lines.append(_line(f"{name} ({'measuring' if for_measuring(name) else 'tuning'})", Basin.SEEDED, kept))
    outcomes = Counter((each.basin.value, each.outcome) for each in samples)
    told = ", ".join(f"{basin} {outcome} {count}" for (basin, outcome), count in sorted(outcomes.items()))
    lines += ["", f"States: {told}.", "", *_causes(samples)]
    return "\n".join(lines) + "\n"


def _line(title: str, basin: Basin, samples: Sequence[Sample]) -> str:
    every, moved = errors_of(samples), errors_of(samples, moved=True)
    start = "same basin" if basin is Basin.SEEDED else "cold"
    states = sum(len(each.errors) > 0 for each in samples)
    return (
        f"| {title} | {start} | {states} | {len(every)} | {_percentiles(every)} | {len(moved)} | {_percentiles(moved)} "
        f"| {100 * logic_share(samples):.2f} % |"
    )


def _percentiles(errors: Floats) -> str:
    if not len(errors):
        return "- | - | -"
    return " | ".join(f"{1000 * value:.1f}" for value in np.percentile(errors, (50, 95, 99)))


def _causes(samples: Sequence[Sample]) -> list[str]:
    """Return tables of the disagreements above 0.3 V: how many of each cause, then each state's worst."""
    seeded = [each for each in samples if each.basin is Basin.SEEDED]
    everything = [item for each in seeded for item in each.listed]
    counts = Counter(_family(item.cause) for item in everything)
    lines = ["## Disagreements above 0.3 V, same basin", "", "| cause | nodes |", "| --- | ---: |"]
    lines += [f"| {cause} | {count} |" for cause, count in counts.most_common()]
    lines += ["", "| circuit | fault | state | worst node | switch level | SPICE | cause |", "| --- |" + " --- |" * 6]
    worst: list[Disagreement] = [
        max(each.listed, key=lambda item: abs(item.spice - item.switch_level)) for each in seeded if each.listed
    ]
    lines += [
        f"| {w.circuit} | {w.fault} | {w.state} | {w.node} | {w.switch_level:.3f} | {w.spice:.3f} | {w.cause} |"
        for w in worst
    ]
    return lines


def _family(text: str) -> str:
    return text.partition(":")[0]


def reached(samples: Sequence[Sample]) -> list[tuple[str, float, float, bool]]:
    """Return each target on the circuits kept for measuring, same basin: name, figure, aim, whether it is met."""
    kept = [each for each in samples if for_measuring(each.circuit) and each.basin is Basin.SEEDED]
    found = []
    for moved in (False, True):
        errors = errors_of(kept, moved=moved)
        for percentile, aim in TARGETS:
            figure = float(np.percentile(errors, percentile)) if len(errors) else 0.0
            word = "moved nodes" if moved else "all nodes"
            found.append((f"{percentile} % of {word} (V)", figure, aim, figure <= aim))
    share = logic_share(kept)
    found.append(("states with equal logic levels", share, LOGIC_TARGET, share >= LOGIC_TARGET))
    return found
