"""What the technician does to the board for a reading; a new intervention is one class in this file."""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict

from seqsim.circuit import Circuit
from seqsim.circuit.names import close, suggest
from seqsim.errors import QuantityError, ReadingError
from seqsim.network import GROUND, Bridge, Move, Patch, SetGate, SetSide, Source
from seqsim.parts.chip import without_ground
from seqsim.quantity import Unit, parse_quantity
from seqsim.readings.places import match, tip

WIRE_OHMS = 0.05
"""Resistance of a jumper wire with its clips (our judgement)."""
PRESSED_OHMS = 0.5
"""Resistance of an open joint that is pressed closed (our judgement)."""
LIMITER_OHMS = 1e-3
"""Resistance that a current limit adds to a supply while it is not reached (our judgement)."""

DEAD_WORK = "Do this with the power off and stored charge drained."


class Intervention(BaseModel, ABC):
    """One thing done to the board; ``patches`` says what it is to the network."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    verb: ClassVar[str]
    example: ClassVar[str]
    caution: ClassVar[str] = DEAD_WORK

    @classmethod
    @abstractmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Return the intervention from the words before and after its verb."""

    @property
    @abstractmethod
    def subject(self) -> str:
        """What it is done to; only one intervention of a reading may have it."""

    @abstractmethod
    def patches(self) -> tuple[Patch, ...]:
        """Return what it changes in the network."""

    def limits(self, supply: str) -> float | None:
        """Return the current limit (A) that this puts on a supply; None if it puts none."""
        del supply
        return None

    @abstractmethod
    def __str__(self) -> str:
        """Shorthand, without `with`."""


class Forced(Intervention):
    """A place is held at a voltage, or at another place, through a resistor."""

    verb: ClassVar = "forced"
    example: ClassVar = "EN forced 3.3V 1k"
    caution: ClassVar = (
        "Force a node only through a resistor that keeps the current to some milliamperes, never above the supply of "
        "the parts on it."
    )

    place: str
    volts: float | None = None
    source: str | None = None
    ohms: float

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `PLACE forced 3.3V 1k` or `PLACE forced V5 1k`."""
        words = rest.split()
        if len(words) != 2:
            message = f"'{subject} forced' needs a voltage or place and a resistor after it, not '{rest}'"
            raise ReadingError(message, expected=cls.example)
        try:
            ohms = parse_quantity(words[1], Unit.OHM)
        except QuantityError:
            raise ReadingError(f"'{words[1]}' is not the resistor to force through", expected=cls.example) from None
        if not 1 <= ohms <= 1e9:
            raise ReadingError(f"a force through {words[1]} is not possible (1 Ω to 1 GΩ)", expected=cls.example)
        place = tip(circuit, subject)
        if place in circuit.grounds:
            raise ReadingError(f"'{place}' is ground and cannot be forced", expected=cls.example)
        try:
            volts = parse_quantity(words[0], Unit.VOLT)
            source = words[0] if words[0] in circuit.nets() else None
        except QuantityError:
            source = tip(circuit, words[0])
        if source == place:
            raise ReadingError(f"both ends of the resistor are on '{place}'", expected=cls.example)
        if source is not None:
            return cls(place=place, source=source, ohms=ohms)
        if abs(volts) > 1000:
            raise ReadingError(f"a force to {words[0]} is not possible (at most 1000 V)", expected=cls.example)
        return cls(place=place, volts=volts, ohms=ohms)

    @property
    def subject(self) -> str:
        """Return its place."""
        return self.place

    def patches(self) -> tuple[Patch, ...]:
        """Return a source behind the resistor, or the resistor to the other place."""
        if self.source is not None:
            return (Bridge(self.place, self.source, 1 / self.ohms, "intervention"),)
        return (Source(self.place, GROUND, self.volts or 0.0, self.ohms, owner="intervention"),)

    def __str__(self) -> str:
        target = self.source if self.source is not None else f"{_plain(self.volts or 0.0)}V"
        return f"{self.place} forced {target} {_plain(self.ohms)}R"


class Jumpered(Intervention):
    """Two places are joined by a wire."""

    verb: ClassVar = "jumpered"
    example: ClassVar = "EN jumpered to GND"
    caution: ClassVar = DEAD_WORK + " A wire carries whatever the two places can give: join no two drivers or supplies."

    place: str
    to: str

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `PLACE jumpered to PLACE`."""
        words = rest.split()
        if len(words) != 2 or words[0].casefold() != "to":
            raise ReadingError(f"'{subject} jumpered' needs the other end of the wire", expected=cls.example)
        place, to = tip(circuit, subject), tip(circuit, words[1])
        if place == to:
            raise ReadingError(f"both ends of the wire are on '{place}'", expected=cls.example)
        return cls(place=place, to=to)

    @property
    def subject(self) -> str:
        """Return its place."""
        return self.place

    def patches(self) -> tuple[Patch, ...]:
        """Return a conductance."""
        return (Bridge(self.place, self.to, 1 / WIRE_OHMS, "intervention"),)

    def __str__(self) -> str:
        return f"{self.place} jumpered to {self.to}"


class Lifted(Intervention):
    """A pin is off its pad; a chip without its ground pin is off."""

    verb: ClassVar = "lifted"
    example: ClassVar = "R12 lifted or Q1.B lifted"

    pin: str
    off: tuple[str, ...] = ()

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `Q1.B lifted`, or `R12 lifted` for the first pin of a part with two."""
        _nothing_after(cls, subject, rest)
        name = match(subject, circuit.parts)
        if name is not None:
            part = circuit.parts[name]
            if len(part.pins) != 2:
                first = next(iter(part.pins))
                message = f"'{name}' has {len(part.pins)} pins: say which one is lifted"
                raise ReadingError(message, expected=f"{name}.{first} lifted")
            return cls(pin=part.pin(next(iter(part.pins))))
        place = tip(circuit, subject)
        if place not in circuit.pins() or ":" in place:
            raise ReadingError(f"'{subject}' is neither a pin nor a part with two pins", expected=cls.example)
        lost = without_ground(circuit.parts.values(), {place})
        return cls(pin=place, off=tuple(patch.owner for patch in lost))

    @property
    def subject(self) -> str:
        """Return its pin."""
        return self.pin

    def patches(self) -> tuple[Patch, ...]:
        """Move the pin to a node of its own; its pad stays."""
        lost = (SetSide(name, "supply", above=False) for name in self.off)
        return (Move((self.pin,), f"{self.pin}/lifted", joint=True), *lost)

    def __str__(self) -> str:
        return f"{self.pin} lifted"


class Pressed(Intervention):
    """A joint is pressed closed, with a tip of plastic or wood on the pin."""

    verb: ClassVar = "pressed"
    example: ClassVar = "U5.Y pressed"
    caution: ClassVar = "Press with plastic or wood, on the isolated side only, and let nothing slip onto the next pin."

    pin: str

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `PART.PIN pressed`."""
        _nothing_after(cls, subject, rest)
        place = tip(circuit, subject).removesuffix("/pad")
        if place not in circuit.pins() or ":" in place:
            raise ReadingError(f"'{subject}' is no pin with a joint to press", expected=cls.example)
        return cls(pin=place)

    @property
    def subject(self) -> str:
        """Return its pin."""
        return self.pin

    def patches(self) -> tuple[Patch, ...]:
        """Return a conductance between pin and pad, which are one already where the joint is good."""
        return (Bridge(self.pin, f"{self.pin}/pad", 1 / PRESSED_OHMS, "intervention"),)

    def __str__(self) -> str:
        return f"{self.pin} pressed"


class Removed(Intervention):
    """A part is off the board."""

    verb: ClassVar = "removed"
    example: ClassVar = "R12 removed"

    part: str
    pins: tuple[str, ...]

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `PART removed`."""
        _nothing_after(cls, subject, rest)
        name = match(subject, circuit.parts)
        if name is None:
            hint = suggest(subject, circuit.parts)
            raise ReadingError(f"there is no part called '{subject}'{hint}", place=subject, expected=cls.example)
        part = circuit.parts[name]
        return cls(part=name, pins=tuple(part.pin(pin) for pin in part.pins))

    @property
    def subject(self) -> str:
        """Return its part."""
        return self.part

    def patches(self) -> tuple[Patch, ...]:
        """Move every pin to a node of its own; the pads stay."""
        return tuple(Move((pin,), f"{pin}/lifted", joint=True) for pin in self.pins)

    def __str__(self) -> str:
        return f"{self.part} {self.verb}"


class Pulled(Removed):
    """A connector is pulled, or the lead of a supply."""

    verb: ClassVar = "pulled"
    example: ClassVar = "J3 pulled"

    supply: bool = False

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `PART pulled` or `SUPPLY pulled`."""
        _nothing_after(cls, subject, rest)
        part, supply = match(subject, circuit.parts), match(subject, circuit.supplies)
        if part is None and supply is not None:
            return cls(part=supply, pins=(), supply=True)
        if part is None:
            hint = suggest(subject, [*circuit.parts, *circuit.supplies])
            message = f"there is no connector or supply called '{subject}'{hint}"
            raise ReadingError(message, place=subject, expected=cls.example)
        return super().parse(circuit, part, rest)

    def patches(self) -> tuple[Patch, ...]:
        """Cut all pins off, or disconnect the supply."""
        if self.supply:
            return (SetGate(f"{self.part}:applied", False),)
        return super().patches()


class Limited(Intervention):
    """A bench supply is set to a current limit."""

    verb: ClassVar = "limited"
    example: ClassVar = "VBAT limited 0.5A"
    caution: ClassVar = "Set the limit before you connect the board, and raise it in steps."

    supply: str
    amps: float
    negative: bool = False

    @classmethod
    def parse(cls, circuit: Circuit, subject: str, rest: str) -> Self:
        """Read `SUPPLY limited 0.5A`."""
        name = match(subject, circuit.supplies)
        if name is None:
            hint = suggest(subject, circuit.supplies)
            raise ReadingError(f"there is no supply called '{subject}'{hint}", place=subject, expected=cls.example)
        words = rest.split()
        text = "".join(words[1:] if words and words[0].casefold() in ("to", "at") else words)
        try:
            amps = parse_quantity(text, Unit.AMPERE)
        except QuantityError:
            raise ReadingError(f"'{rest}' is not a current limit", expected=cls.example) from None
        if not 1e-6 <= amps <= 1e4:
            raise ReadingError(f"a limit of {text} is not possible (1 µA to 10 kA)", expected=cls.example)
        return cls(supply=name, amps=amps, negative=circuit.supplies[name].volts < 0)

    @property
    def behind(self) -> str:
        """Node between the supply and its limit."""
        return f"{self.supply}:limited"

    @property
    def subject(self) -> str:
        """Return its supply."""
        return self.supply

    def patches(self) -> tuple[Patch, ...]:
        """Put a source of 0 V with this limit between the supply and the board."""
        entry = f"{self.supply}:entry"
        ends = (self.behind, f"{entry}/pad") if self.negative else (f"{entry}/pad", self.behind)
        return (
            Move((entry,), self.behind, joint=True),
            Source(*ends, 0.0, LIMITER_OHMS, self.amps, owner="intervention"),
        )

    def limits(self, supply: str) -> float | None:
        """Return its limit if it is this supply's."""
        return self.amps if supply == self.supply else None

    def __str__(self) -> str:
        return f"{self.supply} limited {_plain(self.amps)}A"


def _plain(value: float) -> str:
    """Return a number without digits that say nothing; none is lost."""
    short = f"{value:g}"
    return short if float(short) == value else repr(value)


def _kinds(base: Any) -> dict[str, type[Intervention]]:
    found: dict[str, type[Intervention]] = {}
    for kind in base.__subclasses__():
        found[kind.verb] = kind
        found |= _kinds(kind)
    return found


VERBS: Mapping[str, type[Intervention]] = _kinds(Intervention)
"""Interventions by the word that names them."""


def parse_intervention(circuit: Circuit, text: str) -> Intervention:
    """Return the intervention that a phrase such as `R12 lifted` describes.

    Raises
    ------
    ReadingError
        If the phrase is not understood, with a correct form as ``expected``.
    UnknownPlaceError
        If it names what the circuit does not have.
    """
    words = text.split()
    for at, word in enumerate(words):
        kind = VERBS.get(word.casefold())
        if kind is None:
            continue
        if at != 1:
            raise ReadingError(f"'{word}' must follow one name, in '{text}'", expected=kind.example)
        return kind.parse(circuit, words[0], " ".join(words[at + 1 :]))
    known = ", ".join(VERBS)
    for word in words[1:2]:
        meant = [*close(word, VERBS), "forced"][0]
        message = f"'{word}' is nothing that can be done to the board{suggest(word, VERBS)}"
        raise ReadingError(message, expected=VERBS[meant].example)
    raise ReadingError(f"'{text}' does not say what was done ({known})", expected="R12 lifted")


def limit_of(circuit: Circuit, supply: str, interventions: tuple[Intervention, ...]) -> float | None:
    """Return the lowest current limit (A) that a supply has, by the file or by hand; None without any."""
    limits = [each.limits(supply) for each in interventions]
    known = [limit for limit in (circuit.supplies[supply].amps, *limits) if limit is not None]
    return min(known, default=None)


def split_interventions(phrase: str) -> list[str]:
    """Split `R12 lifted and EN forced 3.3V 1k` into its phrases."""
    return [part for part in re.split(r"(?:^|\s+)(?:and|with)\s+", phrase.strip(), flags=re.IGNORECASE) if part]


def _nothing_after(kind: type[Intervention], subject: str, rest: str) -> None:
    if rest:
        raise ReadingError(f"'{rest}' after '{subject} {kind.verb}' is not understood", expected=kind.example)
