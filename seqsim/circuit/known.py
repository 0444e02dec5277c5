"""What the sections of a circuit file may name, once its supplies and parts are read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from seqsim.circuit.draft import Draft
from seqsim.circuit.names import suggest
from seqsim.circuit.places import Places
from seqsim.circuit.source import Node
from seqsim.network import GROUND
from seqsim.parts import Part, Supply


@dataclass(frozen=True)
class Known:
    """What the other sections may name; parts and supplies with errors count as known."""

    supplies: Mapping[str, Supply]
    supply_names: frozenset[str]
    parts: Mapping[str, Part]
    faulty: frozenset[str]
    pins: Mapping[str, str]
    """net of each pin and supply entry"""

    @cached_property
    def nets(self) -> Mapping[str, tuple[str, ...]]:
        """Pins and supply entries on each net, nets in the order of appearance."""
        found: dict[str, list[str]] = {}
        for pin, net in self.pins.items():
            found.setdefault(net, []).append(pin)
        found.setdefault(GROUND, [])
        return {net: tuple(pins) for net, pins in found.items()}

    @cached_property
    def places(self) -> Places:
        """Places of the board, copper left out."""
        return Places.of_pins(self.pins, self.parts)

    def concerns_faulty(self, place: str) -> bool:
        """Tell whether a name is a pin of something that has an error itself."""
        return place.partition(".")[0].partition("/")[0] in self.faulty


def read_net(draft: Draft, node: Node, what: str, known: Known, *, ground: bool = True) -> str | None:
    """Return the name of a net of the board."""
    name = draft.text(node, what)
    if name is None:
        return None
    if name == GROUND and not ground:
        draft.error(f"{what} is {GROUND}, which is always 0 V; name another net", node.line, got=name)
        return None
    if name not in known.nets:
        on = known.pins.get(name)
        hint = f"; it is a pin of net {on}" if on else suggest(name, known.nets)
        draft.error(f"{what} is '{name}', which is no net of this board{hint}", node.line, place=name, got=name)
        return None
    return name
