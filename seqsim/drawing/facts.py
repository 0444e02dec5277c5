"""What a chain diagram tells about a board at one moment: levels, currents, faults, readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from seqsim.drawing.scene import HEAVY, PLAIN, THIN

CONDUCTS_AMPS = 10e-6
"""From this current on a part is drawn as conducting: our judgement, above leakage and below base currents."""


class Level(Enum):
    """What a net is, in one word."""

    HIGH = "high"
    LOW = "low"
    BETWEEN = "between"
    FLOATING = "floating"
    UNDEFINED = "undefined"


LEGEND = (
    (Level.HIGH, "high"),
    (Level.LOW, "low"),
    (Level.FLOATING, "floats"),
    (Level.UNDEFINED, "between, undecided"),
)
"""What the flags mean, for the foot of a picture."""


@dataclass(frozen=True, slots=True)
class Flag:
    """The level of a net with its text."""

    level: Level
    text: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A measured value beside the net: its text, and whether it agrees with the level (None: not comparable)."""

    text: str
    agrees: bool | None


@dataclass(frozen=True)
class Facts:
    """What is known of a board in one state.

    ``flags`` and ``marks`` go by net, or by the name of a pin that a fault cut off; ``amps`` by terminal, positive
    into the part; ``words`` tell for switching parts whether they are on; ``broken`` lists faults by part, net or
    supply.
    """

    state: str = ""
    faults: tuple[str, ...] = ()
    flags: Mapping[str, Flag] = field(default_factory=dict)
    marks: Mapping[str, tuple[Mark, ...]] = field(default_factory=dict)
    amps: Mapping[str, float] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    broken: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def conducts(self, terminal: str) -> bool:
        """Tell whether a terminal carries a current worth showing."""
        return abs(self.amps.get(terminal, 0.0)) >= CONDUCTS_AMPS

    def weight(self, *terminals: str) -> float:
        """Return the weight of a stroke that stands for terminals: heavy if one of them conducts."""
        if not self.amps:
            return PLAIN
        return HEAVY if any(self.conducts(terminal) for terminal in terminals) else THIN
