"""What every part family provides; a new family is one new file beside this one."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from seqsim.network import Owned, Patch
from seqsim.quantity import Unit, parse_quantity

UNKNOWN = "?"
UNKNOWN_SPREAD = 2.0
"""Standard deviation of the logarithm of a value written `?`: our judgement, a factor of about seven each way."""


class Standing(Enum):
    """How far a figure can be trusted."""

    SEEN = "read in the source"
    MEMORY = "from memory, not checked against the text"
    CALCULATED = "recomputed"
    COMMON = "common practice"
    JUDGEMENT = "our judgement"


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure comes from."""

    text: str
    standing: Standing


JUDGED = Source("seqsim's judgement", Standing.JUDGEMENT)
COMMON = Source("common practice", Standing.COMMON)


@dataclass(frozen=True, slots=True)
class Value:
    """What is known of a value of a part family: its unit, healthy spread, meaning and source.

    ``spread`` is the standard deviation of a healthy part as a share of the value (of its logarithm), or in the
    value's unit when ``absolute``. ``least`` and ``most`` bound what can be meant.
    """

    unit: Unit
    meaning: str
    spread: float
    absolute: bool
    source: Source
    least: float
    most: float


def value(
    unit: Unit,
    meaning: str,
    default: Any = ...,
    *,
    spread: float = 0.0,
    absolute: bool = False,
    source: Source = COMMON,
    least: float = 0.0,
    most: float = math.inf,
) -> Any:
    """Declare a value of a part family as a pydantic field; without ``default`` the circuit file must give it."""
    info = Value(unit, meaning, spread, absolute, source, least, most)
    return Field(default, json_schema_extra={"value": info}, description=meaning)  # type: ignore[dict-item]


@dataclass(frozen=True, slots=True)
class Severity:
    """How bad a fault is: a quantity that is log-uniform between ``low`` and ``high``."""

    quantity: str
    unit: Unit
    low: float
    high: float

    def points(self, count: int) -> NDArray[np.float64]:
        """Return ``count`` midpoints of equal shares of the distribution, shape (count,)."""
        shares = (np.arange(count) + 0.5) / count
        return np.asarray(self.low * (self.high / self.low) ** shares)


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which a part fails.

    ``share`` is its share among the failures of the part. ``patches`` gives the patches at a severity (a number
    or an array of severities; without ``severity`` the argument is ignored). ``confirm`` says how to prove it
    with power off, ``repair`` what mends it.
    """

    name: str
    share: float
    source: Source
    patches: Callable[[float | NDArray[np.float64]], tuple[Patch, ...]]
    confirm: str
    repair: str
    severity: Severity | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """Failures of a family relative to a film resistor."""

    relative: float
    source: Source


class Part(BaseModel):
    """A part of the circuit: its kind, the nets of its pins and its values in SI units.

    Subclasses set the class variables, declare their values with `value`, and implement `emit`, `modes` and
    `cards`. ``unknown`` lists the values written `?`: they stand at their model's value with a wide spread.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: ClassVar[str]
    """The family in a few words, for lists."""
    pin_names: ClassVar[tuple[str, ...]]
    """Pins in the order in which a list in the circuit file gives them."""
    optional_pins: ClassVar[frozenset[str]] = frozenset()
    models: ClassVar[Mapping[str, Mapping[str, Any]]] = {}
    """Device types that can be named by `model:`, each a set of values."""
    default_model: ClassVar[str | None] = None
    rate: ClassVar[Rate]
    symbol: ClassVar[str]
    """Name of the schematic symbol."""
    passive: ClassVar[bool] = False
    """True for parts without a supply, whose levels can pass in both directions."""

    kind: str
    name: str
    pins: Mapping[str, str]
    model: str | None = None
    package: str | None = None
    spread: Mapping[str, float] = {}
    pin_order: tuple[str, ...] = ()
    unknown: frozenset[str] = frozenset()

    @classmethod
    def values(cls) -> dict[str, Value]:
        """Return what is known of each value of this family, by name."""
        return {
            name: field.json_schema_extra["value"]  # type: ignore[misc]
            for name, field in cls.model_fields.items()
            if isinstance(field.json_schema_extra, dict) and "value" in field.json_schema_extra
        }

    @model_validator(mode="before")
    @classmethod
    def _fill(cls, data: Any) -> Any:
        """Put the model's values under the given ones, and note which values are written `?`."""
        if not isinstance(data, dict):
            return data
        given = dict(data)
        base = dict(cls.models.get(given.get("model") or cls.default_model or "", {}))
        unknown = {name for name in cls.values() if given.get(name) == UNKNOWN}
        for name in unknown:
            del given[name]
            if name not in base and cls.model_fields[name].is_required():
                base[name] = cls.guess(name)
        return base | given | {"unknown": frozenset(unknown)}

    @classmethod
    def guess(cls, name: str) -> float:
        """Return the middle of what an unknown value may be; families override it where they know better."""
        limits = cls.values()[name]
        return math.sqrt(max(limits.least, 1e-3) * min(limits.most, 1e6))

    @field_validator("*", mode="before")
    @classmethod
    def _parse(cls, raw: Any, info: Any) -> Any:
        known = cls.values().get(info.field_name)
        if known is None or raw is None or not isinstance(raw, str):
            return raw
        number = parse_quantity(raw, known.unit)
        if not known.least <= number <= known.most:
            limits = f"at least {known.least:g}" if known.most == math.inf else f"{known.least:g} to {known.most:g}"
            message = f"{info.field_name} is {raw}, but it must be {limits} {known.unit.value}".rstrip()
            raise ValueError(message)
        return number

    @model_validator(mode="after")
    def _check(self) -> Self:
        self.check_values()
        return self

    def check_values(self) -> None:
        """Raise ValueError, with one sentence, if the values do not fit together."""

    def spread_of(self, name: str) -> float:
        """Standard deviation of a value: the file's `spread`, else the family's, wide if it is unknown."""
        if name in self.unknown:
            return UNKNOWN_SPREAD
        known = self.values()[name]
        return self.spread.get(name, known.spread)

    def pin(self, name: str) -> str:
        """Terminal of a pin: `Q1.B`."""
        return f"{self.name}.{name}"

    def emit(self, net: Owned) -> None:
        """Add this part's hinges, rules and knobs to a network; its pins are declared already."""
        raise NotImplementedError

    def modes(self) -> tuple[Mode, ...]:
        """Return the ways in which this part fails; their shares add up to one."""
        raise NotImplementedError

    def cards(self, tag: str, node: Mapping[str, str]) -> tuple[str, ...]:
        """Return the SPICE lines of this part: ``tag`` names it, ``node`` gives the SPICE node of each pin."""
        raise NotImplementedError
