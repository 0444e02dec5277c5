"""What every part family provides; a new family is one new file beside this one."""

from __future__ import annotations

import difflib
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cache
from itertools import pairwise
from typing import Any, ClassVar, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from seqsim.errors import QuantityError
from seqsim.network import Owned, Patch
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity, parse_quantity

UNKNOWN = "?"
UNKNOWN_SPREAD = 2.0
"""Standard deviation of the logarithm of a value written `?`: our judgement, a factor of about seven each way."""

UNKNOWN_SHARE = 0.5
"""Standard deviation of a shift in volts written `?`, as a share of the value that stands for it: our judgement."""

TOLERANCE_TO_DEVIATION = 1 / math.sqrt(3)
"""Standard deviation of a value that is uniform within its tolerance, as a share of the tolerance."""


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
        return self.at((np.arange(count) + 0.5) / count)

    def at(self, quantiles: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the severities below which these shares (q,) of the distribution lie."""
        return np.asarray(self.low * (self.high / self.low) ** quantiles)


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


class PartError(ValueError):
    """The description of a part has no meaning: ``key`` of the circuit file is at fault, the text says how."""

    def __init__(self, key: str | None, sentence: str) -> None:
        self.key = key
        super().__init__(sentence)


class Part(BaseModel, ABC):
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
    model_sources: ClassVar[Mapping[str, Source]] = {}
    """Where the values of each device type come from."""
    default_model: ClassVar[str | None] = None
    rate: ClassVar[Rate]
    symbol: ClassVar[str]
    """Name of the schematic symbol."""
    passive: ClassVar[bool] = False
    """True for parts without a supply, whose levels can pass in both directions."""
    without_knobs: ClassVar[str | None] = None
    """Why a family has nothing that spreads, drifts or fails by degrees, where that is so."""
    without_misfits: ClassVar[str | None] = None
    """Why a part of a family cannot be fitted wrongly in a way that its levels would show, where that is so."""

    kind: str
    name: str
    pins: Mapping[str, str]
    model: str | None = None
    package: str | None = None
    spread: Mapping[str, float] = {}
    pin_order: tuple[str, ...] = ()
    unknown: frozenset[str] = frozenset()

    @classmethod
    @cache
    def values(cls) -> Mapping[str, Value]:
        """Return what is known of each value of this family, by name."""
        return {
            name: field.json_schema_extra["value"]  # type: ignore[misc]
            for name, field in cls.model_fields.items()
            if isinstance(field.json_schema_extra, dict) and "value" in field.json_schema_extra
        }

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the pins of a part with these values, in the order of a list; values decide in some families."""
        del given
        return cls.pin_names

    @classmethod
    def optional_for(cls, given: Mapping[str, Any]) -> frozenset[str]:
        """Return which of the pins of a part with these values may be left out."""
        del given
        return cls.optional_pins

    @classmethod
    def base_values(cls, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values that stand where the file gives none, or a `?`: those of the device type."""
        return dict(cls.models.get(given.get("model") or cls.default_model or "", {}))

    @classmethod
    def guess(cls, name: str) -> float:
        """Return the middle of what an unknown value may be; families override it where they know better."""
        limits = cls.values()[name]
        return math.sqrt(max(limits.least, 1e-3) * min(limits.most, 1e6))

    @model_validator(mode="before")
    @classmethod
    def _fill(cls, data: Any) -> Any:
        """Put the device type's values under the given ones, and note which values are written `?`."""
        if not isinstance(data, dict):
            return data
        unknown = {name for name in cls.values() if data.get(name) == UNKNOWN}
        given = {name: raw for name, raw in data.items() if name not in unknown}
        base = cls.base_values(data)
        for name in unknown:
            if name not in base and cls.model_fields[name].is_required():
                base[name] = cls.guess(name)
        filled = base | given | {"unknown": frozenset(unknown) | frozenset(given.get("unknown", ()))}
        filled["pins"] = cls._pins(filled)
        if isinstance(given.get("spread"), Mapping):
            filled["spread"] = cls._spreads(given["spread"])
        return filled

    @classmethod
    def _pins(cls, filled: Mapping[str, Any]) -> Any:
        """Give a list of nets the names of the pins in their order, and check the names of a mapping."""
        pins, names = filled.get("pins"), cls.pins_for(filled)
        if isinstance(pins, (list, tuple)):
            if len(pins) > len(names) or len(pins) < len(names) - len(cls.optional_for(filled)):
                message = f"pins lists {len(pins)} nets, but this {cls.title} has the pins {' '.join(names)}"
                raise PartError("pins", message)
            return dict(zip(names, pins, strict=False))
        if isinstance(pins, Mapping):
            for pin in pins:
                if pin not in names:
                    message = f"this {cls.title} has no pin called '{pin}'{close(str(pin), names)}"
                    raise PartError("pins", f"{message}; its pins are {' '.join(names)}")
            missing = [pin for pin in names if pin not in pins and pin not in cls.optional_for(filled)]
            if missing:
                which = f"pin {missing[0]}" if len(missing) == 1 else f"pins {', '.join(missing)}"
                raise PartError("pins", f"{which} of this {cls.title} is on no net; name its net under pins")
        return pins

    @classmethod
    def _spreads(cls, raw: Mapping[str, Any]) -> dict[str, float]:
        """Read the file's spreads: shares, or quantities of the value's unit where its spread is absolute."""
        known, found = cls.values(), {}
        for name, text in raw.items():
            if name not in known:
                message = f"spread names '{name}', which this {cls.title} does not have{close(name, known)}"
                raise PartError("spread", message)
            unit = known[name].unit if known[name].absolute else Unit.SHARE
            try:
                number = parse_quantity(text, unit) if isinstance(text, str) else float(text)
            except QuantityError as error:
                raise PartError("spread", f"spread of {name}: {error.message}") from None
            if not 0 <= number < math.inf:
                raise PartError("spread", f"spread of {name} is {text}, but it must be zero or more")
            found[name] = number
        return found

    @field_validator("*", mode="before")
    @classmethod
    def _parse(cls, raw: Any, info: ValidationInfo) -> Any:
        known = cls.values().get(info.field_name or "")
        if known is None or raw is None or isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
            return raw
        number = parse_quantity(raw, known.unit) if isinstance(raw, str) else float(raw)
        if not known.least <= number <= known.most:
            least, most = (format_quantity(limit, known.unit, 6) for limit in (known.least, known.most))
            limits = f"at least {least}" if known.most == math.inf else f"between {least} and {most}"
            raise PartError(info.field_name, f"{info.field_name} is {raw}, but it must be {limits}")
        return number

    @model_validator(mode="after")
    def _check(self) -> Self:
        self.check_values()
        return self

    def check_values(self) -> None:
        """Raise `PartError`, with one sentence, if the values do not fit together."""

    def spread_of(self, name: str) -> float:
        """Standard deviation of a value: the file's `spread`, else the family's, wide if it is unknown."""
        known = self.values()[name]
        if name in self.unknown:
            if not known.absolute:
                return UNKNOWN_SPREAD
            return max(UNKNOWN_SHARE * abs(float(getattr(self, name) or 0.0)), known.spread)
        return self.spread.get(name, known.spread)

    def neighbours(self) -> tuple[tuple[str, str], ...]:
        """Return the pins that lie side by side and can be bridged: in the order of `pin_order`, else as listed."""
        return tuple(pairwise(self.pin_order or tuple(self.pins)))

    def pin(self, name: str) -> str:
        """Terminal of a pin: `Q1.B`."""
        return f"{self.name}.{name}"

    @abstractmethod
    def emit(self, net: Owned) -> None:
        """Add this part's hinges, rules and knobs to a network; its pins are declared already."""

    @abstractmethod
    def modes(self) -> tuple[Mode, ...]:
        """Return the ways in which this part fails; their shares add up to one."""

    def misfits(self) -> tuple[Mode, ...]:
        """Return the ways in which this part may have been fitted wrongly; shares are relative to each other."""
        return ()

    @abstractmethod
    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Return the SPICE lines of this part: ``tag`` names it, ``node`` gives the SPICE node of each pin.

        ``node`` also tells what a fault has changed (`Wiring`): knobs, sides and gates of the rule, roles that are off.
        """


def family_of(above: type[Part], kind: str, meaning: str, **settings: Any) -> type[Part]:
    """Return a family that differs from the one ``above`` by class variables and defaults alone.

    Whoever calls it keeps what it returns: families are found among the classes that exist.
    """
    fields = {name: above.model_fields[name].annotation for name in settings if name in above.model_fields}
    namespace: dict[str, Any] = {
        "__module__": above.__module__,
        "__doc__": meaning,
        "__annotations__": {"kind": Literal[kind], **fields},
        "kind": kind,
        **settings,
    }
    return type(kind.title().replace("_", ""), (above,), namespace)


def close(wrong: str, names: Iterable[str]) -> str:
    """Return "; did you mean 'ohms'?" without its end mark, or nothing if no name comes close."""
    found = difflib.get_close_matches(wrong, list(names), n=1, cutoff=0.6)
    return f"; did you mean '{found[0]}'" if found else ""
