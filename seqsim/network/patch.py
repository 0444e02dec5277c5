"""The one way to change a network.

A power state, a fault, a meter, an intervention and a calibration are all lists of patches. Numbers may be
arrays of one length ``m``: then the patched network is ``m`` networks that differ in these numbers alone (the
severities of a fault).

A *place* is a net (`V5`), a pin (`R5.1`), the copper under a pin (`R5.1/pad`), an inner point (`Q1:base`) or
the label of a cut-off piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from seqsim.network.network import Floats

    Number = float | Floats


@dataclass(frozen=True, slots=True)
class Bridge:
    """A conductance (siemens) between two places."""

    first: str
    second: str
    siemens: Number
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """A source of ``volts`` behind ``ohms`` from ``minus`` to ``plus``, with a current limit if ``amps`` is given."""

    plus: str
    minus: str
    volts: Number
    ohms: Number
    amps: Number | None = None
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Move:
    """Pins leave their node for the node ``to``: an existing place, or a new node of that name.

    ``joint`` tells an open joint (the pad stays where it was) from broken copper (the pad goes along).
    """

    pins: tuple[str, ...]
    to: str
    joint: bool = False


@dataclass(frozen=True, slots=True)
class Exchange:
    """Two pins of a part take each other's place."""

    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Turn:
    """A knob of a part stands at ``value`` (a factor, or a shift in volts; see `Knob`)."""

    owner: str
    knob: str
    value: Number


@dataclass(frozen=True, slots=True)
class Disable:
    """The owner's hinges carry nothing: all, or those of the given roles."""

    owner: str
    roles: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class SetGate:
    """A gate is on or off, whatever its rule says: a supply applied, a switch closed, an output stuck."""

    gate: str
    on: bool


@dataclass(frozen=True, slots=True)
class SetSide:
    """A row of the owner's rule stands above or below its threshold, whatever its terminals say."""

    owner: str
    row: str
    above: bool


Patch = Bridge | Source | Move | Exchange | Turn | Disable | SetGate | SetSide
