"""When a level counts as changed: by its own two sides, or by what the device that reads it makes of it."""

from __future__ import annotations

from dataclasses import dataclass

from seqsim.logic.branches import capability
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation

FLOATS = "floating"


@dataclass(frozen=True)
class BySide:
    """High above the middle of the place's swing, low below; floating where nothing drives it."""

    label: str
    middle: float

    @classmethod
    def at(cls, reference: Reference, situation: Situation, label: str) -> BySide:
        """Return the criterion of a net or cut-off piece."""
        return cls(label, reference.swing(situation, label).middle)

    def outcome(self, situation: Situation) -> str:
        """Return ``high``, ``low`` or ``floating``."""
        if situation.floats(self.label):
            return FLOATS
        return "high" if situation.volts(self.label) > self.middle else "low"


@dataclass(frozen=True)
class ByTransistor:
    """On where a transistor could carry at least ``amps``, off otherwise."""

    owner: str
    amps: float

    def outcome(self, situation: Situation) -> str:
        """Return ``on`` or ``off``."""
        return "on" if capability(situation, self.owner) >= self.amps else "off"


@dataclass(frozen=True)
class ByRow:
    """Above or below, as a row of a rule stands."""

    owner: str
    row: str

    def outcome(self, situation: Situation) -> str:
        """Return ``above`` or ``below``."""
        network = situation.network
        for number in network.rows_of[self.owner]:
            if network.row_names[number] == self.row:
                return "above" if situation.levels.state.above[number] else "below"
        raise KeyError(self.row)


Criterion = BySide | ByTransistor | ByRow
