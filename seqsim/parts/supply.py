"""Supplies: what comes to a board from outside, with its limit and with what it can sink.

The source is a port that its gate alone switches, so a supply that is not applied is an open circuit, not zero
volts. The limit has exactly the source's slope: a slope that is off by a ten-thousandth moves the limit of a stiff
supply by hundreds of milliamperes.
"""

from __future__ import annotations

from typing import Any, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator, model_validator

from seqsim.errors import QuantityError
from seqsim.network import Disable, Effect, Owned, Turn, Turned
from seqsim.parts.part import (
    COMMON,
    JUDGED,
    UNKNOWN,
    UNKNOWN_SPREAD,
    Mode,
    PartError,
    Rate,
    Severity,
    Source,
    Standing,
    Value,
    value,
)
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity, parse_quantity

ENTRY = ":entry"
LEAST_OHMS = 1e-3
"""Resistance (Ω) that stands for zero: our judgement, a short lead."""


class Supply(BaseModel):
    """A bench supply, a battery, or a signal of another board.

    Its terminal `NAME:entry` lies on ``net``; gate `NAME:applied` connects it, gate `NAME:idle low` ties it to 0 V
    through its ohms (for a supply with ``idle: low`` that the power state does not apply).
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: ClassVar[str] = "supply or outside signal"
    symbol: ClassVar[str] = "SourceV"
    rate: ClassVar[Rate] = Rate(
        10.0, Source("what comes from outside fails more often than a part", Standing.JUDGEMENT)
    )

    name: str
    net: str
    volts: float = value(Unit.VOLT, "voltage without load", spread=0.02, least=-1e4, most=1e4)
    spread: float = value(Unit.SHARE, "standard deviation of the voltage, as a share", 0.02, source=JUDGED, most=1)
    ohms: float = value(Unit.OHM, "source resistance, leads included", 0.05, spread=0.3, source=JUDGED, most=1e9)
    amps: float | None = value(Unit.AMPERE, "current limit; none without it", None, most=1e4)
    sink: float | None = value(Unit.AMPERE, "current that it can take in; unlimited without it", None, most=1e4)
    idle: Literal["open", "low"] = "open"
    unknown: frozenset[str] = frozenset()

    @classmethod
    def values(cls) -> dict[str, Value]:
        """Return what is known of each value, by name."""
        return {
            name: field.json_schema_extra["value"]  # type: ignore[misc]
            for name, field in cls.model_fields.items()
            if isinstance(field.json_schema_extra, dict) and "value" in field.json_schema_extra
        }

    @model_validator(mode="before")
    @classmethod
    def _fill(cls, data: Any) -> Any:
        """Put the net's default in place, and note which values are written `?`."""
        if not isinstance(data, dict):
            return data
        unknown = {name for name in cls.values() if data.get(name) == UNKNOWN}
        given = {name: raw for name, raw in data.items() if name not in unknown}
        if "volts" in unknown:
            given["volts"] = 5.0
        if "net" not in given and "name" in given:
            given["net"] = given["name"]
        return given | {"unknown": frozenset(unknown)}

    @field_validator("*", mode="before")
    @classmethod
    def _parse(cls, raw: Any, info: ValidationInfo) -> Any:
        known = cls.values().get(info.field_name or "")
        if known is None or raw is None or isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
            return raw
        try:
            number = parse_quantity(raw, known.unit) if isinstance(raw, str) else float(raw)
        except QuantityError as error:
            raise PartError(info.field_name, f"{info.field_name}: {error.message}") from None
        if not known.least <= number <= known.most:
            least, most = (format_quantity(limit, known.unit) for limit in (known.least, known.most))
            limits = f"between {least} and {most}"
            raise PartError(info.field_name, f"{info.field_name} is {raw}, but it must be {limits}")
        return number

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.amps == 0:
            message = f"{self.name} has a current limit of 0 A, so it could never give anything; leave it out instead"
            raise PartError("amps", message)
        return self

    @property
    def applied(self) -> str:
        """Name of the gate that connects this supply."""
        return f"{self.name}:applied"

    @property
    def idle_low(self) -> str:
        """Name of the gate that ties this supply to 0 V through its ohms."""
        return f"{self.name}:idle low"

    def emit(self, net: Owned) -> None:
        """Add the source with its limits, and the path to ground of an idle signal.

        The terminal `NAME:entry` is declared already.
        """
        applied = net.gate("applied", on=False)
        idle = net.gate("idle low", on=False)
        sign = -1.0 if self.volts < 0 else 1.0
        volts, ohms = abs(self.volts), max(self.ohms, LEAST_OHMS)
        siemens = 1 / ohms
        net.hinge("source", {ENTRY: 1}, {ENTRY: 1}, siemens, self.volts, gate=applied, clamped=False)
        turned_volts = [Turned("source", Effect.SHIFT, self.volts)]
        turned_ohms = [Turned("source", Effect.SCALE, -1.0)]
        for role, amps, side in (("limit", self.amps, -sign), ("sink limit", self.sink, sign)):
            if amps is None:
                continue
            other = "sink limit" if role == "limit" and self.sink is not None else None
            if role == "sink limit" and self.amps is not None:
                other = "limit"
            open_volts = self.volts * side
            net.hinge(
                role, {ENTRY: side}, {ENTRY: -side}, siemens, open_volts + amps * ohms,
                gate=applied, after="source", instead_of=other,
            )  # fmt: skip
            turned_volts.append(Turned(role, Effect.SHIFT, open_volts))
            turned_ohms += [Turned(role, Effect.SCALE, -1.0), Turned(role, Effect.SHIFT, amps * ohms)]
        net.hinge("idle path", {ENTRY: 1}, {ENTRY: 1}, siemens, gate=idle, clamped=False)
        turned_ohms.append(Turned("idle path", Effect.SCALE, -1.0))
        if volts:
            spread = UNKNOWN_SPREAD if "volts" in self.unknown else self.spread
            net.knob("volts", 1.0, spread, "spread of the supply in the circuit file", *turned_volts)
        spread = UNKNOWN_SPREAD if "ohms" in self.unknown else self.values()["ohms"].spread
        net.knob("ohms", 1.0, spread, "leads and contacts: seqsim's judgement", *turned_ohms)

    def modes(self) -> tuple[Mode, ...]:
        """Absent, stuck low, low, too high, or behind a high resistance."""
        name = self.name
        look = f"disconnect {name} from the board and measure it by itself"
        mend = f"restore {name} at its source or along its lead"
        modes = [Mode("absent", 0.50, JUDGED, lambda _: (Disable(name),), look, mend)]
        if self.volts:
            modes += [
                Mode("stuck low", 0.15, JUDGED, lambda _: (Turn(name, "volts", 0.0),), look, mend),
                Mode(
                    "low", 0.12, JUDGED, lambda factor: (Turn(name, "volts", 1 / factor),), look, mend,
                    Severity("÷", Unit.NUMBER, 1.1, 10.0),
                ),
                Mode(
                    "too high", 0.08, JUDGED, lambda factor: (Turn(name, "volts", factor),), look, mend,
                    Severity("x", Unit.NUMBER, 1.1, 2.5),
                ),
            ]  # fmt: skip
        left = 1 - sum(mode.share for mode in modes)
        lead = f"measure {name} at its source and at the board while it delivers current"
        modes.append(
            Mode(
                "weak", left, COMMON, lambda factor: (Turn(name, "ohms", factor),), lead,
                f"clean or replace the lead and contacts of {name}", Severity("ohms x", Unit.NUMBER, 10.0, 1e4),
            )
        )  # fmt: skip
        return tuple(modes)

    def cards(self, tag: str, node: Wiring, *, applied: bool, idle_low: bool = False) -> tuple[str, ...]:
        """SPICE lines: ``node['entry']`` is the SPICE node; none for an open circuit."""
        entry, ohms = node["entry"], max(self.ohms, LEAST_OHMS) * node.knob("ohms")
        volts = self.volts * node.knob("volts")
        if not applied:
            return (f"R{tag} {entry} 0 {ohms!r}",) if idle_low else ()
        if self.amps is None and self.sink is None:
            return (f"V{tag} {tag}e 0 DC {volts!r}", f"R{tag} {tag}e {entry} {ohms!r}")
        current = f"({volts!r}-V({entry}))/{ohms!r}"
        give, take = (self.amps, self.sink) if self.volts >= 0 else (self.sink, self.amps)
        if give is not None:
            current = f"min({current},{give!r})"
        if take is not None:
            current = f"max({current},{-take!r})"
        return (f"B{tag} 0 {entry} I={current}",)
