"""The elements of a network, as parts hand them over.

A part describes itself in terms of its *terminals* (its pins, `Q1.B`, and inner points, `Q1:base`) and never
in terms of nets: which net a pin lies on is looked up late, so that an open joint or a broken track is a pin
that moved, whatever the part is.

Sign convention: a hinge draws the current ``y`` out of the network through its ``inject`` weights,
``G v + B y = s`` (all in SI units: volts, amperes, siemens).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum, IntEnum

GROUND = "GND"
WIDTH = 4
"""Most terminals that one hinge or rule row may sense or inject at."""


SECONDS = "seconds"
"""Name of the knob, where a part has one, that scales all seconds of its rule."""
FARADS = "farads"
"""Name of the knob that scales the capacitance of a part."""


class RowClass(IntEnum):
    """What a rule row decides; in a cycle only the fastest class of rows is updated."""

    LOGIC = 0
    UNDERVOLTAGE = 1
    ENABLE = 2
    COMPARATOR = 3
    POWER_GOOD = 4
    SUPERVISOR = 5


@dataclass(frozen=True, slots=True)
class Hinge:
    """The current ``conductance * max(sense·v - threshold, 0)``, drawn out by ``inject`` while its gate is on.

    ``sense`` and ``inject`` map terminals to weights. An unclamped hinge is linear; with neither clamp nor
    gate it is a plain linear stamp (a resistor, a Norton source with empty ``sense``, one entry of G).
    ``after`` names the role of the owner's hinge through which this one is reached (a limit conducts only
    once the path that it limits conducts), which is what keeps Newton steps on mode sets short.
    ``instead_of`` names a hinge of the owner that must be off before this one turns on.
    """

    owner: str
    role: str
    sense: Mapping[str, float]
    inject: Mapping[str, float]
    conductance: float
    threshold: float = 0.0
    gate: str | None = None
    clamped: bool = True
    after: str | None = None
    instead_of: str | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison of a rule, with memory: above once ``rise·v > rising``, below once ``fall·v < falling``.

    Shares of a supply are written into the weights: an input against half its supply is
    ``{"U1.A": 1, "U1.VCC": -0.5, "U1.GND": -0.5}`` with thresholds around zero volts.
    """

    name: str
    rise: Mapping[str, float]
    rising: float
    falling: float
    kind: RowClass
    fall: Mapping[str, float] | None = None
    high_impedance: bool = False
    """True for an input that draws no current: when nothing drives it, either side is possible."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A logic device: rows, and for each gate that it drives a truth function of the rows' sides."""

    owner: str
    rows: tuple[Row, ...]
    outputs: Mapping[str, Callable[[Mapping[str, bool]], bool]]
    delays: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """seconds by which a gate turns on and off late; gates that are not listed follow at once"""
    ramps: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    """knob of the owner that rises from zero to where it stands once a gate is on, and in how many seconds"""
    pauses: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    """row whose fall keeps a gate off for so many seconds"""


class Effect(Enum):
    """How a knob changes an element."""

    SCALE = "scale"
    """conductance times value to the power of the coefficient"""
    SHIFT = "shift"
    """threshold plus coefficient times (value - neutral)"""
    GAIN = "gain"
    """inject weights plus (value - neutral) times ``inject``"""
    ROW = "row"
    """both thresholds of a rule row plus coefficient times (value - neutral)"""


@dataclass(frozen=True, slots=True)
class Turned:
    """One element that a knob turns: a role of the owner's hinges, or a row of its rule."""

    role: str
    effect: Effect
    coefficient: float = 1.0
    inject: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Knob:
    """A property of a part that spreads, drifts or fails: ohms, gain, junction volts, threshold.

    ``neutral`` is 1 for a factor and 0 for a shift in volts. ``spread`` is the standard deviation of a healthy
    part: of the logarithm for a factor, in volts for a shift.
    """

    owner: str
    name: str
    neutral: float
    spread: float
    source: str
    turned: tuple[Turned, ...]


@dataclass(frozen=True, slots=True)
class Ratio:
    """The input current of a step-down regulator as a share of its output current.

    ``conductance`` of the owner's hinge ``role`` becomes ``min(out·v / (efficiency * max(in·v, floor)), 1)``.
    """

    owner: str
    role: str
    output: Mapping[str, float]
    input: Mapping[str, float]
    efficiency: float
    floor: float = 0.3


@dataclass(frozen=True, slots=True)
class Storage:
    """A capacitance between two terminals (farads), scaled by the owner's knob of that name.

    Steady levels ignore it, power-up in time needs it.
    """

    owner: str
    plus: str
    minus: str
    farads: float
