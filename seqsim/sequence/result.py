"""What a power-up tells: rails in their order, the first missing one, the target, events, rules, races."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

    from seqsim.solver.course import Course


@dataclass(frozen=True, slots=True)
class RailUp:
    """A rail: when it first came up, what it ended at (its average, where it moves), and a verdict.

    ``dips`` are spans (s) after that in which it was not up.
    """

    net: str
    nominal: float
    up_at: float | None
    final: float
    came_up: bool
    verdict: str
    dips: tuple[tuple[float, float], ...] = ()
    odds: float | None = None
    """share of boards with other tolerances on which it came up"""


@dataclass(frozen=True, slots=True)
class TargetUp:
    """The target: from when on it stays high, its last volts, and the spans (s) in which it was high."""

    net: str
    high_at: float | None
    final: float
    spans: tuple[tuple[float, float], ...]
    odds: float | None = None
    held_by: str = ""
    """what holds it low at the end, as far as the circuit tells"""


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened, in words."""

    seconds: float
    what: str


@dataclass(frozen=True, slots=True)
class RuleCheck:
    """A rule of the circuit file: whether it holds, else when it was broken and how.

    ``broken`` is the share of boards with other tolerances that break it.
    """

    rule: str
    holds: bool
    at: float | None
    why: str
    broken: float | None = None


@dataclass(frozen=True, slots=True)
class Race:
    """Two nets whose order depends on tolerances: the share of boards on which ``first`` came first."""

    first: str
    second: str
    odds: float


@dataclass(frozen=True, slots=True)
class Oscillation:
    """Something that keeps switching: its period (s), since when and until when, how often."""

    what: str
    period: float
    since: float
    until: float
    times: int


@dataclass(frozen=True)
class PowerUp(Result):
    """A power-up over time."""

    circuit: str
    faults: tuple[str, ...]
    rails: tuple[RailUp, ...]
    first_missing: str | None
    waits_for: str | None
    target: TargetUp | None
    events: tuple[Happening, ...]
    rules: tuple[RuleCheck, ...]
    states: tuple[tuple[str, float], ...]
    until: float
    oscillations: tuple[Oscillation, ...] = ()
    chatter: tuple[str, ...] = ()
    races: tuple[Race, ...] = ()
    draws: int = 0
    bound: str = ""
    skipped: tuple[str, ...] = ()
    course: Course | None = field(default=None, repr=False, compare=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``powerup``."""
        target = self.target
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "faults": list(self.faults),
            "until_s": self.until,
            "states": [{"state": name, "at_s": at} for name, at in self.states],
            "skipped_states": list(self.skipped),
            "rails": [
                {
                    "net": rail.net,
                    "nominal": rail.nominal,
                    "up_at_s": rail.up_at,
                    "final_volts": rail.final,
                    "came_up": rail.came_up,
                    "verdict": rail.verdict,
                    "dips": [list(span) for span in rail.dips],
                    "odds": rail.odds,
                }
                for rail in self.rails
            ],
            "first_missing": self.first_missing,
            "waits_for": self.waits_for,
            "target": None
            if target is None
            else {
                "net": target.net,
                "high_at_s": target.high_at,
                "final_volts": target.final,
                "high_spans": [list(span) for span in target.spans],
                "odds": target.odds,
                "held_by": target.held_by,
            },
            "events": [{"t_s": event.seconds, "what": event.what} for event in self.events],
            "rules": [
                {"rule": rule.rule, "holds": rule.holds, "at_s": rule.at, "why": rule.why, "broken_share": rule.broken}
                for rule in self.rules
            ],
            "oscillations": [
                {"what": o.what, "period_s": o.period, "since_s": o.since, "until_s": o.until, "times": o.times}
                for o in self.oscillations
            ],
            "chatter": list(self.chatter),
            "races": [{"first": race.first, "second": race.second, "odds": race.odds} for race in self.races],
            "draws": self.draws,
            "bound": self.bound,
        }

    def renderable(self) -> RenderableType:
        """Return the power-up for people."""
        from seqsim.wording.powerup import powerup_text

        return powerup_text(self.to_dict())
