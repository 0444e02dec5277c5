"""Splits the differences between SPICE and the switch level into what the nodes of a board share and what is theirs.

The script behind the figures of `seqsim.parts.model_error`: ``python -m seqsim.spice.model_error`` prints them anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.spice.compare import Basin
from seqsim.spice.truth import LISTED_VOLTS, Sample, for_measuring, measure

TOUCHED_VOLTS = 1e-3
"""Below this a node is set by supplies and resistors, and the device laws have no part in it."""


@dataclass(frozen=True, slots=True)
class ModelError:
    """Standard deviations (V) of the shared and of the residual part, their mean (V), and the share of nodes."""

    shared: float
    residual: float
    bias: float
    touched: float


def model_error(samples: Sequence[Sample]) -> ModelError:
    """Return the model error of samples: differences of driven nodes, where logic agrees and no input floats."""
    touched, total, means, spreads, every = 0, 0, [], [], []
    for each in samples:
        if each.input_floats or not each.logic_agrees:
            continue
        errors = each.errors[~each.floating]
        errors = errors[np.abs(errors) < LISTED_VOLTS]
        total += len(errors)
        errors = errors[np.abs(errors) > TOUCHED_VOLTS]
        touched += len(errors)
        every.append(errors)
        if len(errors) > 1:
            means.append(errors.mean())
            spreads.append(errors.var())
    return ModelError(
        shared=float(np.std(means)),
        residual=float(np.sqrt(np.mean(spreads))),
        bias=float(np.concatenate(every).mean()),
        touched=touched / max(total, 1),
    )


def main() -> str:
    """Measure the library and return the figures, those of the circuits kept for measuring first."""
    from seqsim.circuit.library import library

    samples = list(measure(sorted(library()), (Basin.SEEDED,)))
    lines = []
    for title, wanted in (("measuring", True), ("tuning", False)):
        kept = [each for each in samples if for_measuring(each.circuit) is wanted]
        lines.append(f"{title}: {model_error(kept)}")
    return "\n".join(lines)


if __name__ == "__main__":
    import sys

    sys.stdout.write(main() + "\n")
