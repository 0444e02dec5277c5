"""The text of a circuit file: nets by the names that a person types, values and names put in their places."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from seqsim.circuit.model import Circuit
from seqsim.circuit.names import suggest
from seqsim.circuit.places import PlaceKind, resolve_place
from seqsim.circuit.source import Node
from seqsim.circuit.source_edit import Spot, added, flow_text, replaced, scalar_text, spots
from seqsim.errors import CircuitError, UnknownPlaceError
from seqsim.parts.supply import ENTRY


class FileText:
    """A text and the circuit that it describes, while one fact is put in; ``told`` says what was changed."""

    def __init__(self, text: str, circuit: Circuit) -> None:
        self.text = text
        self.circuit = circuit
        self.told: list[str] = []

    # ---- what a name means

    def net(self, end: str) -> str:
        """Return the net of an end."""
        found = self.known_net(end)
        if found is None:
            raise CircuitError(f"there is no net {end} in the file{suggest(end, self.circuit.nets())}", place=end)
        return found

    def known_net(self, end: str) -> str | None:
        """Return the net of an end; None for a name that no net has."""
        try:
            place = resolve_place(self.circuit, end)
        except UnknownPlaceError as error:
            if "." in end:
                raise CircuitError(f"{error.message}; add the part first", place=end) from None
            return None
        if place.kind is PlaceKind.COPPER:
            raise CircuitError(f"{place.name} is copper; name one of its ends, like {place.points[0]}", place=end)
        return place.net

    def fed(self, net: str) -> bool:
        """Tell whether a net keeps its name: ground, or that of a supply."""
        return net in self.circuit.grounds or any(
            net == supply.net == name for name, supply in self.circuit.supplies.items()
        )

    def pins(self, net: str) -> list[str]:
        """Return what lies on a net, as a person would write it."""
        return [pin.removesuffix(ENTRY) for pin in self.circuit.nets()[net]]

    # ---- changes of the text

    def put(self, path: Sequence[str], key: str, value: str | Node) -> None:
        """Write a value under a key, in place of the one that stands there."""
        new = scalar_text(value) if isinstance(value, str) else flow_text(value)
        above: Spot | None = spots(self.text)
        for name in path:
            above = None if above is None else above.get(name)
        if above is not None and not above.mapping and above.text is None:
            raise CircuitError(
                f"{path[-1]} is written by reference on line {above.line}; edit the file", place=path[-1]
            )
        before = None if above is None else above.get(key)
        if before is None:
            self.text = added(self.text, tuple(path), scalar_text(key), new)
            self.told.append(f"line {self.line(*path, key)}: {' '.join((*path[1:], key))} {self.short(new)}")
            return
        was = self.text[before.start : before.end]
        if was == new or before.text == value:
            return
        self.text = replaced(self.text, before, new)
        self.told.append(f"line {before.line}: {' '.join((*path[1:], key))} {self.short(was)} → {self.short(new)}")

    def line(self, *path: str) -> int:
        """Return the line on which something stands."""
        spot: Spot | None = spots(self.text)
        for name in path:
            spot = None if spot is None else spot.get(name)
        return 0 if spot is None else spot.line

    @staticmethod
    def short(text: str) -> str:
        """Return what was written on one line of bearable length."""
        line = " ".join(text.split())
        return line if len(line) <= 60 else f"{line[:57]}..."

    def move(self, terminal: str, net: str) -> None:
        """Put a pin on a net."""
        before = self.circuit.pins()[terminal]
        if before == net:
            return
        name = terminal.rpartition(".")[0]
        part = self.circuit.parts[name]
        pin = next(each for each in part.pins if part.pin(each) == terminal)
        parts = spots(self.text).get("parts")
        entry = None if parts is None else parts.get(name)
        pins = None if entry is None else entry.get("pins")
        spot = None if pins is None else _pin_spot(pins, list(part.pins), pin, part.pin_order or tuple(part.pins))
        if spot is None or spot.text != before:
            raise CircuitError(f"{terminal} stands on {before} in a way that only an editor can change", place=terminal)
        self.text = replaced(self.text, spot, scalar_text(net))
        self.told.append(f"line {spot.line}: {terminal} {before} → {net}")

    def rename(self, old: str, new: str) -> None:
        """Give a net another name wherever the file names it."""
        found = list(_names_of_net(spots(self.text), old))
        for spot in sorted(found, key=lambda each: -each.start):
            self.text = replaced(self.text, spot, scalar_text(new))
        lines = ", ".join(str(line) for line in dict.fromkeys(spot.line for spot in found))
        self.told.append(f"line {lines}: net {old} → {new}")


def _pin_spot(pins: Spot, names: Sequence[str], pin: str, order: Sequence[str]) -> Spot | None:
    """Return where the net of a pin is written."""
    if pins.mapping:
        numbers = {str(k): each for k, each in enumerate(order, start=1)}
        return next((value for key, value in pins.entries if pin in (key.text, numbers.get(key.text or ""))), None)
    at = list(names).index(pin)
    return pins.items[at] if at < len(pins.items) else None


def _names_of_net(root: Spot, net: str) -> Iterator[Spot]:
    """Yield each place of a file that names a net."""

    def under(section: str) -> list[tuple[Spot, Spot]]:
        found = root.get(section)
        return [] if found is None else found.entries

    def named() -> Iterator[Spot]:
        for _, part in under("parts"):
            pins = part.get("pins")
            if pins is not None and pins.mapping:
                yield from (value for _, value in pins.entries)
            elif pins is not None:
                yield from pins.scalars()
        for section in ("supplies", "copper"):
            yield from (spot for _, value in under(section) if (spot := value.get("net")) is not None)
        for section in ("rails", "probe_points"):
            yield from (key for key, _ in under(section))
        for _, state in under("healthy"):
            yield from (key for key, _ in state.entries)
        for section in ("target", "rules", "grounds"):
            found = root.get(section)
            if found is not None:
                yield from found.scalars()

    yield from (spot for spot in named() if spot.text == net)
