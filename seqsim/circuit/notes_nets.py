"""Nets born from contacts: which ends are one, by which lines, and what each net is called."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from seqsim.circuit.notes_facts import Fact
from seqsim.network import GROUND


@dataclass
class Joined:
    """Ends and the lines that join them; names of nets that differ in case alone are one."""

    links: dict[str, dict[str, Fact]] = field(default_factory=dict)
    """for each end its neighbours, and the line that joins the two"""
    spelt: dict[str, str] = field(default_factory=dict)
    """first spelling of each name of a net, by its lower case"""

    def end(self, text: str) -> str:
        """Return an end as it is kept."""
        return text if "." in text else self.spelt.setdefault(text.casefold(), text)

    def add(self, end: str) -> str:
        """Note that an end exists."""
        kept = self.end(end)
        self.links.setdefault(kept, {})
        return kept

    def join(self, one: str, other: str, fact: Fact) -> None:
        """Note that a line makes two ends one."""
        first, second = self.add(one), self.add(other)
        if first != second:
            self.links[first].setdefault(second, fact)
            self.links[second].setdefault(first, fact)

    def path(self, one: str, other: str) -> tuple[Fact, ...]:
        """Return the lines by which two ends are one; none if they are not."""
        one, other = self.end(one), self.end(other)
        lines = self._reached(one)
        if other not in lines:
            return ()
        return tuple(dict.fromkeys(lines[other]))

    def nets(self) -> list[list[str]]:
        """Return the ends of each net, nets and ends in the order of the notes."""
        found: list[list[str]] = []
        seen: set[str] = set()
        for end in self.links:
            if end not in seen:
                mine = self._reached(end)
                seen |= mine.keys()
                found.append([other for other in self.links if other in mine])
        return found

    def _reached(self, start: str) -> dict[str, tuple[Fact, ...]]:
        """Return all ends that are one with this one, each with the lines of the shortest way there."""
        found: dict[str, tuple[Fact, ...]] = {start: ()}
        todo = deque([start])
        while todo:
            at = todo.popleft()
            for other, fact in self.links.get(at, {}).items():
                if other not in found:
                    found[other] = (*found[at], fact)
                    todo.append(other)
        return found


def names_of(
    joined: Joined, supplied: Mapping[str, Fact], shown: Mapping[str, str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Return the net of each end, and the further names of nets.

    A net is called GND, or after its supply, or by its first name, or else after its first pin; ``shown`` gives pins as
    they are written.
    """
    nets = joined.nets()
    taken = {end for net in nets for end in net if "." not in end}
    net_of: dict[str, str] = {}
    aliases: dict[str, str] = {}
    for ends in nets:
        names = [end for end in ends if "." not in end]
        best = next((name for name in names if name == GROUND), None)
        best = best or next((name for name in names if name in supplied), None) or next(iter(names), None)
        if best is None:
            free = (name for end in ends if (name := _flat(shown.get(end, end))) not in taken)
            best = next(free, _flat(ends[0]) + "_net")
            taken.add(best)
        net_of |= dict.fromkeys(ends, best)
        aliases |= {name: best for name in names if name != best}
    return net_of, aliases


def _flat(pin: str) -> str:
    """Return the name of a net that is called after a pin."""
    return pin.replace(".", "_").replace("@", "")
