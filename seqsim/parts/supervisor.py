"""Supervisors: they hold an output asserted while the voltage that they watch is too low."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import ClassVar, Literal

from seqsim.network import SECONDS, Effect, Owned, Row, RowClass, Turned
from seqsim.parts.chip import Chip, Driver, step, whole
from seqsim.parts.part import JUDGED, Mode, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

FAILURES = Source(
    "TPS35 and TPS36 (SFFS607) and TPS3808E-Q1 (SFFS768) failure modes; shares judged", Standing.JUDGEMENT
)
FAMILY = Source(
    "MAX803/809/810 data sheet (19-0344): ±1.2 % at 25 °C, valid output from 1 V, at least 140 ms", Standing.SEEN
)
DRIVER = Driver(high_ohms=400.0, low_ohms=80.0, amps=20e-3)
"""Output stage (Ω, A) of the MAX809 class: typical, from memory."""
MR_PULL_UP_OHMS = 20e3
"""Pull-up inside an MR pin (Ω) of the MAX811 class, from memory."""
MR_SHARE = 0.5
"""MR switches about half-way up the supply: our judgement between its guaranteed levels."""


class Supervisor(Chip):
    """A supply supervisor: OUT is asserted (low or high by `active`) below its threshold or while MR is low."""

    title: ClassVar = "supply supervisor"
    pin_names: ClassVar = ("SENSE", "OUT", "MR", "VCC", "GND")
    optional_pins: ClassVar = frozenset({"SENSE", "MR"})
    rate: ClassVar = Rate(
        7.0, Source("217F parts count: linear circuit up to 100 transistors against a film resistor", Standing.SEEN)
    )
    symbol: ClassVar = "Ic"

    kind: Literal["supervisor"] = "supervisor"
    threshold: float = value(
        Unit.VOLT, "SENSE voltage (VCC without that pin) below which it asserts", spread=0.004, source=FAMILY,
        least=0.2, most=100,
    )  # fmt: skip
    hysteresis: float | None = value(Unit.VOLT, "it lets go higher by this; else 0.5 % of the threshold", None, most=10)
    delay: float = value(Unit.SECOND, "from above the threshold to release", 0.24, spread=0.2, source=FAMILY)
    output: Literal["push-pull", "open-drain"] = "push-pull"
    active: Literal["low", "high"] = "low"
    minimum_supply: float = value(Unit.VOLT, "VCC from which OUT is valid", 1.0, source=FAMILY, least=0.3, most=10)

    @property
    def watched(self) -> str:
        """The pin whose voltage is watched."""
        return "SENSE" if "SENSE" in self.pins else "VCC"

    @property
    def releases_at(self) -> float:
        """Voltage (V) above which it lets go."""
        return self.threshold + (0.005 * self.threshold if self.hysteresis is None else self.hysteresis)

    def asserted(self, sides: Mapping[str, bool]) -> bool:
        """Return whether OUT is asserted for these sides."""
        return not (sides["threshold"] and sides.get("MR", True))

    def emit(self, net: Owned) -> None:
        """Add the rows of supply, threshold and MR, and the output stage."""
        across = {self.watched: 1.0, "GND": -1.0}
        rows: list[Row] = [
            self.supply_row(net, self.minimum_supply),
            net.row(
                "threshold", across, self.releases_at, self.threshold, RowClass.SUPERVISOR,
                high_impedance=self.watched == "SENSE",
            ),
        ]  # fmt: skip
        if "MR" in self.pins:
            sense = {"MR": 1.0, "VCC": -MR_SHARE, "GND": MR_SHARE - 1}
            rows.append(net.row("MR", sense, 0.0, 0.0))
            net.hinge("MR pull-up", {"VCC": 1, "MR": -1}, {"VCC": 1, "MR": -1}, 1 / MR_PULL_UP_OHMS)
        outputs: dict[str, Callable[[Mapping[str, bool]], bool]] = {
            "OUT high": lambda sides: sides["supply"] and self.asserted(sides) == (self.active == "high"),
            "OUT low": lambda sides: sides["supply"] and self.asserted(sides) == (self.active == "low"),
        }
        high, low = self._gates()
        if high is None:
            del outputs["OUT high"]
        late = {"OUT low": (0.0, self.delay), "OUT high": (self.delay, 0.0)}
        if self.active == "high":
            late = {label: (off, on) for label, (on, off) in late.items()}
        net.rule(tuple(rows), outputs, delays={label: late[label] for label in outputs})
        net.knob(SECONDS, 1.0, self.spread_of("delay"), FAMILY.text)
        net.knob(
            "threshold", 0.0, self.spread_of("threshold") * self.threshold, FAMILY.text, Turned("threshold", Effect.ROW)
        )
        self.emit_output(net, "OUT", DRIVER, high=high, low=low, clamped=high is not None)
        self.emit_draw(net)

    def _gates(self) -> tuple[str | None, str]:
        return (f"{self.name}:OUT high" if self.output == "push-pull" else None), f"{self.name}:OUT low"

    def modes(self) -> tuple[Mode, ...]:
        """Asserted for good, never asserted, a wrong threshold, output open, stuck or weak, dead."""
        high, low = self._gates()
        watch = f"whether {self.pin('OUT')} follows {self.pin(self.watched)}"
        modes = [
            self.mode("stays asserted", 0.25, FAILURES, self.held("threshold", "low"), watch),
            self.mode("never asserts", 0.15, FAILURES, self.held("threshold", "high"), watch),
        ]
        modes += [
            self.shifted(
                f"threshold {word}", 0.12, FAILURES,
                f"measure {self.pin(self.watched)} and compare it with {self.threshold:g} V",
                "threshold", sign * self.threshold, Severity("by share", Unit.NUMBER, 0.02, 0.5),
            )
            for word, sign in (("high", 1.0), ("low", -1.0))
        ]  # fmt: skip
        if "MR" in self.pins:
            modes.append(self.mode("MR stuck low", 0.03, FAILURES, self.held("MR", "low"), f"{self.pin('MR')}, too"))
        return whole(*modes, *self.output_modes("OUT", high=high, low=low, source=JUDGED), self.dead(0.06, FAILURES))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Behavioural sources for the output; the threshold is the middle of its hysteresis."""
        ground, supply = node["GND"], node["VCC"]
        powered = self.supply_card(node, self.minimum_supply)
        middle = (self.threshold + self.releases_at) / 2 + node.knob("threshold", 0.0)
        released = node.side("threshold", step(f"V({node[self.watched]},{ground})", middle, 2000.0))
        lines: list[str] = []
        if "MR" in self.pins:
            reset = step(f"V({node['MR']},{ground})-{MR_SHARE!r}*V({supply},{ground})", 0.0)
            released += "*" + node.side("MR", reset)
            lines.append(f"B{tag}m {supply} {node['MR']} I=max(0,V({supply},{node['MR']}))/{MR_PULL_UP_OHMS!r}")
        up, down = f"{powered}*{released}", f"{powered}*(1-{released})"
        if self.active == "high":
            up, down = down, up
        high = up if self.output == "push-pull" else None
        output = self.output_cards(tag, node, "OUT", DRIVER, high=high, low=down, clamped=high is not None)
        return (*lines, *output, *self.draw_cards(tag, node))
