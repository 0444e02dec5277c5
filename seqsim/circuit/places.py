"""Places where a probe goes, from the words that a person types."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Self
from weakref import ref

from seqsim.circuit.model import Circuit, Copper
from seqsim.circuit.names import one_line, suggest
from seqsim.errors import UnknownPlaceError
from seqsim.network import GROUND
from seqsim.parts import Part
from seqsim.parts.supply import ENTRY

PAD = "/pad"


class PlaceKind(Enum):
    """What a place is."""

    NET = "net"
    PIN = "pin"
    PAD = "pad"
    COPPER = "copper"
    SUPPLY = "supply"


@dataclass(frozen=True, slots=True)
class Place:
    """A place to probe: its name as the circuit writes it, the net that it lies on when nothing is broken.

    ``points`` are what a network knows: one terminal, pad or net, or the two ends of copper.
    """

    name: str
    kind: PlaceKind
    net: str
    points: tuple[str, ...]

    def __str__(self) -> str:
        return self.name


_LAST: dict[str, tuple[ref[Circuit], Places]] = {}


class Places:
    """All places of a board, by name."""

    def __init__(
        self, pins: Mapping[str, str], parts: Mapping[str, Part], copper: Mapping[str, Copper],
        grounds: tuple[str, ...], aliases: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self._parts = parts
        self._places: dict[str, Place] = {}
        for name, piece in copper.items():
            self._places[name] = Place(name, PlaceKind.COPPER, piece.net, piece.touch)
        for pin, net in pins.items():
            if pin.endswith(ENTRY):
                name = pin.removesuffix(ENTRY)
                self._places[name] = Place(name, PlaceKind.SUPPLY, net, (pin,))
            else:
                self._places[pin] = Place(pin, PlaceKind.PIN, net, (pin,))
        for net in (*pins.values(), *grounds):
            self._places[net] = Place(net, PlaceKind.NET, net, (net,))
        for alias, net in (aliases or {}).items():
            self._places.setdefault(alias, self._places[net])
        self._lower: dict[str, list[str]] = {}
        for name in self._places:
            self._lower.setdefault(name.lower(), []).append(name)

    @classmethod
    def of(cls, circuit: Circuit) -> Places:
        """Return the places of a circuit; those of the last one are kept, for whoever asks for one after another."""
        last = _LAST.get("circuit")
        if last is None or last[0]() is not circuit:
            last = ref(circuit), cls(circuit.pins(), circuit.parts, circuit.copper, circuit.grounds, circuit.aliases)
            _LAST["circuit"] = last
        return last[1]

    @classmethod
    def of_pins(cls, pins: Mapping[str, str], parts: Mapping[str, Part]) -> Self:
        """Return the places of a board whose copper is not known yet."""
        return cls(pins, parts, {}, (GROUND,))

    def pin(self, text: str) -> str | None:
        """Return the terminal that a pin's name or number means, or None."""
        found = self._places.get(text)
        if found is not None:
            return found.points[0] if found.kind is PlaceKind.PIN else None
        name, dot, number = text.partition(".")
        part = self._parts.get(name)
        if not dot or part is None or not number.isdecimal():
            return None
        order = part.pin_order or tuple(part.pins)
        return part.pin(order[int(number) - 1]) if 1 <= int(number) <= len(order) else None

    def resolve(self, text: str) -> Place:
        """Return the place that a text means: exact, by pin number, or the only one that differs in case alone.

        Raises
        ------
        UnknownPlaceError
            If there is no such place, or several that differ in case only.
        """
        stripped = text.strip()
        if stripped.endswith(PAD):
            pin = self.resolve(stripped.removesuffix(PAD))
            if pin.kind is not PlaceKind.PIN:
                raise UnknownPlaceError(f"'{stripped}' is no pad, because {pin.name} is a {pin.kind.value}", place=text)
            return Place(pin.name + PAD, PlaceKind.PAD, pin.net, (pin.name + PAD,))
        stripped = stripped.removesuffix(ENTRY)
        numbered = self.pin(stripped)
        found = self._places.get(numbered or stripped)
        if found is not None:
            return found
        like = self._lower.get(stripped.lower(), [])
        if len(like) == 1:
            return self._places[like[0]]
        raise UnknownPlaceError(one_line(self._unknown(stripped, like)), place=text, got=text)

    def _unknown(self, text: str, like: list[str]) -> str:
        if like:
            return f"'{text}' may mean {' or '.join(like)}; write it exactly"
        name, dot, pin = text.partition(".")
        part = self._parts.get(name)
        if part is not None and dot:
            return f"{name} has no pin '{pin}'{suggest(pin, part.pins)}"
        if part is not None:
            return f"{name} is a part; name one of its pins: {', '.join(part.pin(at) for at in part.pins)}"
        if not text:
            return "a place is missing; name a net, pin, pad, copper or supply"
        hint = suggest(text, (*self._places, *self._parts))
        return f"there is no net, pin, copper or supply called '{text}'{hint}"


def resolve_place(circuit: Circuit, text: str) -> Place:
    """Return the place of a circuit that a text means; see `Places.resolve`."""
    return Places.of(circuit).resolve(text)
