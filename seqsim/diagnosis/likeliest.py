"""The likeliest of the boards that a doubtful drawing may mean, where one board is asked for: what is taken is told."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

from seqsim.circuit import Circuit
from seqsim.diagnosis.alternatives import doubts_of, weighed
from seqsim.readings import Readings

Told = TypeVar("Told")


@dataclass(frozen=True, slots=True)
class Taken:
    """An answer that was taken for a doubt, and its probability."""

    name: str
    about: str
    answer: str
    probability: float

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {"name": self.name, "about": self.about, "answer": self.answer, "probability": self.probability}


@dataclass(frozen=True)
class Likeliest:
    """One board with its readings, what was taken for it, and the names that its pins have in the notes."""

    circuit: Circuit
    readings: Readings
    taken: tuple[Taken, ...]
    renamed: Mapping[str, str]

    def here(self, names: Iterable[str]) -> tuple[str, ...]:
        """Return texts with the names that pins have on this board."""
        return tuple(_exchanged(name, self.renamed) for name in names)

    def told(self, result: Told) -> Told:
        """Return a result with the names that pins have in the notes."""
        back = {new: old for old, new in self.renamed.items()}
        return _renamed(result, back) if back else result


def likeliest(circuit: Circuit, readings: Readings) -> Likeliest:
    """Return the likeliest of the boards that a circuit may mean, by the readings; itself if there is no doubt."""
    if not circuit.doubts:
        return Likeliest(circuit, readings, (), {})
    found = weighed(circuit, readings)
    best = found.found[0]
    taken = []
    for doubt in doubts_of(circuit):
        about = found.about(doubt)
        label = best.chosen[doubt.name].label
        share = sum(
            float(weight)
            for each, weight in zip(about.found, about.shares, strict=True)
            if each.chosen[doubt.name].label == label
        )
        taken.append(Taken(doubt.name, doubt.about.value, label, share))
    return Likeliest(best.circuit(circuit), best.readings(readings), tuple(taken), best.renamed)


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    """Return a result with other names in all its texts."""
    if isinstance(value, str):
        return _exchanged(value, names)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{each.name: _renamed(getattr(value, each.name), names) for each in fields(value)})
    return value


def _exchanged(text: str, names: Mapping[str, str]) -> str:
    """Return a text with other names of pins, all exchanged at once."""
    if not names:
        return text
    wanted = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True))
    return re.sub(rf"(?<![\w.])(?:{wanted})(?!\w)", lambda found: names[found[0]], text)
