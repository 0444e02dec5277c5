"""What a solution is: volts, which hinges conduct, how the rules stand."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from seqsim.network.network import Bools, Floats
from seqsim.solver.system import System

FLOATING_OHMS = 10e6
"""A node behind more than this floats: a meter of 10 MΩ would halve what it shows."""


class Steadiness(Enum):
    """Whether a board settles."""

    STEADY = "steady"
    OSCILLATES = "oscillates"
    FAILED = "no steady level found"


class Way(Enum):
    """How the analog solution was reached, from the cheapest on."""

    NEWTON = "mode-Newton"
    ONE_AT_A_TIME = "one hinge at a time"
    LINE_SEARCH = "line search"
    SOURCE_STEPPING = "source stepping"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class State:
    """Where a solver stands: conducting hinges (h,), sides of rule rows (r,), input-current ratios (k,)."""

    conducting: Bools
    above: Bools
    ratios: Floats


@dataclass(frozen=True, slots=True)
class Levels:
    """Steady levels of one network in one power state.

    ``volts`` (n + 1,) are node voltages, ground last; ``gates`` (g,) say which gates are on. Where the board
    ``oscillates``, volts are the average over the cycle and ``loop`` names the rule owners that toggle; it ``pulses``
    where that is a supply that starts and collapses, and swings between ``swing`` (2, n + 1).
    """

    system: System
    volts: Floats
    state: State
    gates: Bools
    steadiness: Steadiness
    way: Way
    loop: tuple[str, ...] = ()
    pulses: bool = False
    swing: Floats | None = None

    def at(self, place: str) -> float:
        """Volts at a net, pin, pad or cut-off piece.

        Raises
        ------
        UnknownPlaceError
            If there is no such place.
        """
        return float(self.volts[self.system.variant.node(place)])

    def active(self) -> Floats:
        """Conductance (h,) with which each hinge takes part in this solution; zero where it carries nothing."""
        from seqsim.solver.plain import active_conductance

        return active_conductance(self.system, self.state, self.gates)
