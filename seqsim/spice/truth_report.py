"""The measured truth of the switch level as a short report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from seqsim.network.network import Floats
from seqsim.spice.compare import Basin
from seqsim.spice.truth import (
    FIRST_MEASURED,
    HEALTHY,
    LISTED_VOLTS,
    MOST_FAULTS,
    Disagreement,
    Sample,
    for_measuring,
    untouched,
)

TARGETS = ((95, 0.05), (99, 0.10))
"""What is to be reached: the percentile of the differences and the volts that it may reach."""
LOGIC_TARGET = 0.99
GROUPS: tuple[tuple[str, Callable[[str], bool]], ...] = (
    ("for measuring, untouched", untouched),
    ("for measuring, looked at earlier", lambda name: name in FIRST_MEASURED),
    ("for tuning", lambda name: not for_measuring(name)),
)


def errors_of(samples: Sequence[Sample], *, moved: bool = False) -> Floats:
    """Return the magnitudes (V) of the differences of all nodes, or of those that the fault moved."""
    found = [np.abs(each.errors[each.moved] if moved else each.errors) for each in samples]
    return np.concatenate(found) if found else np.zeros(0)


def logic_share(samples: Sequence[Sample]) -> float:
    """Return the share of states in which all logic levels agree."""
    compared = [each for each in samples if len(each.errors)]
    return sum(each.logic_agrees for each in compared) / max(len(compared), 1)


HEADINGS = (
    "| circuits | start | faults | states | nodes | 50 % | 95 % | 99 % | moved | 50 % | 95 % | 99 % | logic agrees |",
    "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
)


def report(samples: Sequence[Sample]) -> str:
    """Return the report as text (Markdown)."""
    most = {basin: MOST_FAULTS[basin] for basin in Basin}
    lines = [
        "# Switch level beside SPICE with full device models",
        "",
        "Millivolts: half, 95 % and 99 % of the differences of node voltages lie below. `moved` are the nodes that the",
        "fault took more than 0.1 V from their healthy level. Same basin: SPICE starts at the switch level's answer,",
        "which starts from the power state before. Cold: the switch level starts with everything off, SPICE from 0 V",
        "everywhere, with equal capacitances. Every single fault at the middle of its severity, in every power state",
        f"but `off`; boards above {most[Basin.SEEDED]} faults (cold: {most[Basin.COLD]}) by a seeded sample of",
        "so many. `driven`: without nodes that nothing drives and without boards on which an input floats; there the",
        "switch level says itself that it does not know.",
        "",
        *HEADINGS,
    ]
    for basin in (Basin.SEEDED, Basin.COLD):
        started = [each for each in samples if each.basin is basin]
        for title, test in GROUPS:
            kept = [each for each in started if test(each.circuit)]
            lines += [line(title, basin, kept), line(f"{title}, driven", basin, driven(kept))]
    for title, test in GROUPS:
        lines += ["", f"## Circuits {title}", "", *HEADINGS]
        for name in sorted({each.circuit for each in samples if test(each.circuit)}):
            for basin in (Basin.SEEDED, Basin.COLD):
                lines.append(line(name, basin, [s for s in samples if s.circuit == name and s.basin is basin]))
    outcomes = Counter((each.basin.value, each.outcome) for each in samples)
    told = ", ".join(f"{basin} {outcome} {count}" for (basin, outcome), count in sorted(outcomes.items()))
    lines += ["", f"States: {told}."]
    for basin in (Basin.SEEDED, Basin.COLD):
        lines += ["", *_causes([each for each in samples if each.basin is basin], basin)]
    return "\n".join(lines) + "\n"


def driven(samples: Sequence[Sample]) -> list[Sample]:
    """Return the samples on which no input floats, without the nodes that nothing drives."""
    return [
        replace(each, errors=each.errors[~each.floating], moved=each.moved[~each.floating])
        for each in samples
        if not each.input_floats
    ]


def line(title: str, basin: Basin, samples: Sequence[Sample]) -> str:
    """Return a row of the table."""
    every, moved = errors_of(samples), errors_of(samples, moved=True)
    start = "same basin" if basin is Basin.SEEDED else "cold"
    faults = len({(each.circuit, each.fault) for each in samples if each.fault != HEALTHY})
    states = sum(len(each.errors) > 0 for each in samples)
    cells = [title, start, str(faults), str(states), str(len(every)), _percentiles(every)]
    cells += [str(len(moved)), _percentiles(moved), f"{100 * logic_share(samples):.2f} %"]
    return f"| {' | '.join(cells)} |"


def _percentiles(errors: Floats) -> str:
    if not len(errors):
        return "- | - | -"
    return " | ".join(f"{1000 * value:.1f}" for value in np.percentile(errors, (50, 95, 99)))


def _causes(samples: Sequence[Sample], basin: Basin) -> list[str]:
    """Return tables of the large disagreements: how many of each cause, then each state's worst."""
    everything = [item for each in samples for item in each.listed]
    states: dict[str, set[tuple[str, str, str]]] = {}
    for item in everything:
        states.setdefault(_family(item.cause), set()).add((item.circuit, item.fault, item.state))
    counts = Counter(_family(item.cause) for item in everything)
    start = "same basin" if basin is Basin.SEEDED else "cold"
    lines = [
        f"## Disagreements above {LISTED_VOLTS:g} V, {start}",
        "",
        "| cause | nodes | states |",
        "| --- | ---: | ---: |",
    ]
    lines += [f"| {cause} | {count} | {len(states[cause])} |" for cause, count in counts.most_common()]
    lines += ["", "| circuit | fault | state | worst node | switch level | SPICE | cause |", "| --- |" + " --- |" * 6]
    worst: list[Disagreement] = [
        max(each.listed, key=lambda item: abs(item.spice - item.switch_level)) for each in samples if each.listed
    ]
    lines += [
        f"| {w.circuit} | {w.fault} | {w.state} | {w.node} | {w.switch_level:.3f} | {w.spice:.3f} | {w.cause} |"
        for w in worst
    ]
    return lines


def _family(text: str) -> str:
    return text.partition(":")[0]


def reached(samples: Sequence[Sample]) -> list[tuple[str, float, float, bool]]:
    """Return each target on the untouched circuits, same basin: name, figure, aim, whether it is met."""
    kept = [each for each in samples if untouched(each.circuit) and each.basin is Basin.SEEDED]
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
