"""What a circuit file describes, frozen; quantities in SI units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import BaseModel, ConfigDict, SerializeAsAny

from seqsim.circuit.doubts import Doubt
from seqsim.network import GROUND
from seqsim.parts.part import Part, Source, Standing
from seqsim.parts.supply import ENTRY, Supply

OFF = "off"
"""The state in which everything is disconnected; always the first."""

REACH_SECONDS = 10.0
"""Time to put a probe on a place that nobody described (our judgement)."""

UP_WITHIN = 0.05
UP_SOURCE = Source("regulation band of the ±5 % rails of computer supplies", Standing.COMMON)
"""A rail counts as up within this share of its volts, unless the file says otherwise."""


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PowerState(_Frozen):
    """Which supplies are applied and how switches stand.

    ``after`` (s) is the time since the state before, ``ramp`` (s) the rise time of what is newly applied; None
    where the file says nothing. ``closed`` tells for each switch that the file mentions whether it conducts.
    """

    name: str
    on: tuple[str, ...] = ()
    after: float | None = None
    ramp: float | None = None
    closed: Mapping[str, bool] = {}


class Copper(_Frozen):
    """A via, track or wire of a net: broken, it cuts ``cuts_off`` (pins, supply entries) off from the rest.

    ``touch`` are the two terminals between which it is measured, the first on the side that is cut off.
    """

    name: str
    net: str
    cuts_off: tuple[str, ...]
    touch: tuple[str, str]


class Rail(_Frozen):
    """A supply net that should come up: ``volts`` within the share ``within``; ``ohms`` to ground when unpowered."""

    net: str
    volts: float
    within: float = UP_WITHIN
    ohms: tuple[float, float] | None = None


class ProbePoint(_Frozen):
    """How hard a place is to reach: ``seconds``, or not at all when ``hidden``."""

    place: str
    seconds: float = REACH_SECONDS
    hidden: bool = False
    note: str = ""


class Expected(_Frozen):
    """What a net of a healthy board reads: between ``low`` and ``high`` volts, as ``text`` says, for a ``reason``.

    A reason that begins with ``=`` is the arithmetic behind the figure.
    """

    low: float
    high: float
    text: str
    reason: str = ""


class Before(_Frozen):
    """``first`` is up before ``second``, by at least ``least`` and at most ``most`` seconds."""

    kind: Literal["before"] = "before"
    first: str
    second: str
    least: float
    most: float


class NeverAbove(_Frozen):
    """``net`` is never more than ``by`` volts above ``other``."""

    kind: Literal["never_above"] = "never_above"
    net: str
    other: str
    by: float


class Rises(_Frozen):
    """``net`` rises in ``least`` to ``most`` seconds."""

    kind: Literal["rises"] = "rises"
    net: str
    least: float
    most: float


class Monotonic(_Frozen):
    """``net`` never falls while it rises."""

    kind: Literal["monotonic"] = "monotonic"
    net: str


class Off(_Frozen):
    """``net`` is down ``within`` seconds after power is taken away."""

    kind: Literal["off"] = "off"
    net: str
    within: float


Level = Literal["stage", "chain", "board"]
"""How much there is to understand: one stage, several in a row, a whole board."""

Rule = Before | NeverAbove | Rises | Monotonic | Off


class Circuit(_Frozen):
    """A circuit file, checked: every name is known, every pin lies on one net.

    ``lines`` maps ``parts/R1``, ``rails/V5``, ``target``, ``rules/0`` and so on to lines of the file. A circuit from
    notes also has ``doubts``, ``aliases`` (further names of nets and pins), the readings that were noted, and what was
    ``assumed``.
    """

    title: str = ""
    about: str = ""
    level: Level | None = None
    file: str | None = None
    grounds: tuple[str, ...] = (GROUND,)
    supplies: Mapping[str, Supply] = {}
    power_states: Mapping[str, PowerState] = {OFF: PowerState(name=OFF)}
    parts: Mapping[str, SerializeAsAny[Part]] = {}
    copper: Mapping[str, Copper] = {}
    rails: Mapping[str, Rail] = {}
    target: str | None = None
    probe_points: Mapping[str, ProbePoint] = {}
    rules: tuple[Rule, ...] = ()
    healthy: Mapping[str, Mapping[str, Expected]] = {}
    unused_models: tuple[str, ...] = ()
    lines: Mapping[str, int] = {}
    doubts: tuple[Doubt, ...] = ()
    aliases: Mapping[str, str] = {}
    noted: tuple[tuple[int, str], ...] = ()
    assumed: tuple[str, ...] = ()

    def line(self, *path: str) -> int | None:
        """Line of an item of the file: ``line("parts", "R1")``."""
        return self.lines.get("/".join(path))

    def pins(self) -> dict[str, str]:
        """Net of each pin and supply entry, in the order of the file."""
        found = {supply.name + ENTRY: supply.net for supply in self.supplies.values()}
        for part in self.parts.values():
            found |= {part.pin(pin): net for pin, net in part.pins.items()}
        return found

    def nets(self) -> dict[str, tuple[str, ...]]:
        """Pins and supply entries on each net in the order of appearance; grounds are listed even if bare."""
        found: dict[str, list[str]] = {ground: [] for ground in self.grounds}
        for pin, net in self.pins().items():
            found.setdefault(net, []).append(pin)
        return {net: tuple(pins) for net, pins in found.items()}
