"""Connectors: numbered contacts between a board and a wire or another board.

Pin `3` is the contact's half on the board, `3w` its half on the wire; a contact joins them. A contact that only
shares the housing, with nothing of the circuit on its wire, has its board half alone: it can still be bridged to its
neighbours.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from seqsim.network import Disable, Effect, Owned, Patch, Turn, Turned
from seqsim.parts.chip import whole
from seqsim.parts.failing import between, turned_round
from seqsim.parts.part import Mode, Part, PartError, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

FAILURES = Source(
    "MIL-HDBK-338B, failure-mode distributions, connector (open 0.61, poor contact 0.23, short 0.16); the split over "
    "contacts is our judgement",
    Standing.MEMORY,
)
CORRODED = Severity("ohms", Unit.OHM, 1.0, 1e5)
"""A contact with a film on it: from what drops a supply to what only a meter gets through; our judgement."""
BRIDGED = Severity("ohms", Unit.OHM, 0.1, 1e4)
"""Two contacts joined by a bent pin, a strand of wire, or dirt that conducts: our judgement."""
WIRE = "w"
Patches = Callable[[float | NDArray[np.float64]], tuple[Patch, ...]]
_PIN = re.compile(rf"([1-9]\d*)({WIRE}?)")


class Connector(Part):
    """A connector with numbered contacts."""

    title: ClassVar = "connector"
    pin_names: ClassVar = ("1", "1w", "2", "2w")
    passive: ClassVar = True
    rate: ClassVar = Rate(
        6.0, Source("MIL-HDBK-217F parts count, connectors (4 to 8), against a film resistor", Standing.SEEN)
    )
    symbol: ClassVar = "Ic"

    kind: Literal["connector"] = "connector"
    ohms: float = value(
        Unit.OHM, "resistance of a good contact", 0.02, spread=0.5, least=1e-4, most=100,
        source=Source("new contacts of board connectors: 10 to 30 mΩ", Standing.COMMON),
    )  # fmt: skip

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the pins that the file names; a list numbers the board's halves."""
        pins = given.get("pins")
        if not pins or isinstance(pins, str):
            return cls.pin_names
        return tuple(map(str, pins)) if isinstance(pins, Mapping) else tuple(str(k + 1) for k in range(len(pins)))

    def check_values(self) -> None:
        """Refuse pins that are no numbers, and a wire half without its board half."""
        for pin in self.pins:
            match = _PIN.fullmatch(pin)
            if match is None:
                message = f"a connector has the pins 1, 2 and so on, and {WIRE} behind them on the wire, not '{pin}'"
                raise PartError("pins", message)
            if match[2] and match[1] not in self.pins:
                message = f"contact {match[1]} has its wire half alone; name the net of its board half, pin {match[1]}"
                raise PartError("pins", message)
        if not self.contacts and not self.bridgeable():
            message = "a connector needs a contact with both halves (1 and 1w), or two neighbours on different nets"
            raise PartError("pins", message)

    @property
    def contacts(self) -> tuple[tuple[str, str], ...]:
        """Board half and wire half of each contact that joins two nets."""
        return tuple((pin, pin + WIRE) for pin in self.pins if pin + WIRE in self.pins)

    @property
    def boards(self) -> tuple[str, ...]:
        """The halves on the board."""
        return tuple(pin for pin in self.pins if not pin.endswith(WIRE))

    def neighbours(self) -> tuple[tuple[str, str], ...]:
        """Return nothing: which contacts can be bridged, and by what, is among the modes."""
        return ()

    def bridgeable(self) -> tuple[tuple[str, str], ...]:
        """Return the board halves that lie side by side: in the order of `pin_order`, else of their numbers."""
        halves = [pin for pin in self.pin_order if pin in self.boards] or sorted(self.boards, key=int)
        return tuple(
            (first, second)
            for first, second in itertools.pairwise(halves)
            if self.pins[first] != self.pins[second] and (self.pin_order or int(second) - int(first) == 1)
        )

    def emit(self, net: Owned) -> None:
        """Add a conductance for each contact."""
        for pin, wire in self.contacts:
            net.conductance(f"contact {pin}", wire, pin, 1 / self.ohms)
            net.knob(
                f"contact {pin}", 1.0, self.spread_of("ohms"), "resistance of new contacts: common practice",
                Turned(f"contact {pin}", Effect.SCALE, -1.0),
            )  # fmt: skip

    def modes(self) -> tuple[Mode, ...]:
        """Each contact open or corroded, each pair of neighbours bridged."""
        found = []
        for pin, wire in self.contacts:
            check = f"measure {self.pin(wire)} to {self.pin(pin)} with power off while the plug is moved a little"
            mend = f"clean, re-seat or replace contact {pin} of {self.name}"
            found += [
                Mode(
                    f"{pin} open", 0.61 / len(self.contacts), FAILURES, self.parted(pin), f"{check}: it is open", mend
                ),
                Mode(
                    f"{pin} corroded", 0.23 / len(self.contacts), FAILURES, self.filmed(pin),
                    f"{check}: it reads an ohm or more", mend, CORRODED,
                ),
            ]  # fmt: skip
        pairs = self.bridgeable()
        for pair in pairs:
            bridged = between(self, f"{'-'.join(pair)} bridged", 0.16 / len(pairs), FAILURES, pair, BRIDGED)
            mend = f"straighten, clean and dry {self.name} between contacts {' and '.join(pair)}"
            found.append(replace(bridged, repair=mend))
        return whole(*found)

    def misfits(self) -> tuple[Mode, ...]:
        """Return the plug turned round, where each contact has its partner on the wire."""
        halves = sorted(self.boards, key=int)
        pairs = [(low, high) for low, high in zip(halves, reversed(halves), strict=True) if int(low) < int(high)]
        if any(pin + WIRE not in self.pins for pair in pairs for pin in pair):
            return ()
        return (turned_round(self, [(first + WIRE, second + WIRE) for first, second in pairs]),)

    def parted(self, pin: str) -> Patches:
        """Return the patches of a contact that does not touch."""
        return lambda _: (Disable(self.name, (f"contact {pin}",)),)

    def filmed(self, pin: str) -> Patches:
        """Return the patches of a contact with a film of some ohms on it."""
        return lambda ohms: (Turn(self.name, f"contact {pin}", ohms / self.ohms),)

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R card for each contact that conducts."""
        return tuple(
            f"R{tag}c{pin} {node[wire]} {node[pin]} {self.ohms * node.knob(f'contact {pin}')!r}"
            for pin, wire in self.contacts
            if node.works(f"contact {pin}")
        )
