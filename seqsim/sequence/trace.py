"""Questions to one net's volts over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seqsim.network.network import Floats


@dataclass(frozen=True)
class Trace:
    """Volts of a net over time; both (k,), times never fall."""

    times: Floats
    volts: Floats

    def until(self, end: float) -> Trace:
        """Return the part up to a time, with a point there."""
        inside = self.times < end
        last = float(np.interp(end, self.times, self.volts))
        return Trace(np.append(self.times[inside], end), np.append(self.volts[inside], last))

    def since(self, start: float) -> Trace:
        """Return the part from a time on."""
        inside = self.times >= start
        return Trace(self.times[inside], self.volts[inside])

    def within(self, low: float, high: float) -> list[tuple[float, float]]:
        """Return the spans of time (s) in which the volts lie between two limits, their ends interpolated."""
        inside = (self.volts >= low) & (self.volts <= high)
        edges = np.flatnonzero(np.diff(inside.astype(np.int8)))
        cuts = [self._cut(int(k), low, high) for k in edges]
        bounds = [float(self.times[0]), *cuts, float(self.times[-1])]
        first = bool(inside[0])
        spans = [(bounds[k], bounds[k + 1]) for k in range(len(bounds) - 1)]
        return [span for k, span in enumerate(spans) if (k % 2 == 0) == first]

    def _cut(self, k: int, low: float, high: float) -> float:
        """Return when the volts pass a limit between points k and k + 1."""
        before, after = float(self.volts[k]), float(self.volts[k + 1])
        limit = low if (before < low) != (after < low) else high
        share = min(max((limit - before) / (after - before), 0.0), 1.0)
        return float(self.times[k] + share * (self.times[k + 1] - self.times[k]))

    def first_above(self, level: float) -> float | None:
        """Return when the volts are first at a level or above; None if never."""
        spans = self.within(level, np.inf)
        return spans[0][0] if spans else None

    def last_below(self, level: float) -> float | None:
        """Return from when on the volts stay below a level; None if they end above it."""
        spans = self.within(-np.inf, np.nextafter(level, -np.inf))
        return spans[-1][0] if spans and spans[-1][1] == self.times[-1] else None

    def mean(self, start: float) -> float:
        """Return the average from a time on, as a slow meter shows it."""
        tail = self.since(start)
        length = float(tail.times[-1] - tail.times[0]) if len(tail.times) else 0.0
        if length <= 0:
            return float(self.volts[-1])
        return float(np.trapezoid(tail.volts, tail.times) / length)

    @property
    def largest(self) -> float:
        """Largest volts."""
        return float(self.volts.max())
