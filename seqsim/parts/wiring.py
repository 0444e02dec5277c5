"""What the SPICE cards of a part need to know: nodes, what a fault has changed, how models are written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping

ModelWriter = Callable[[str, str, Mapping[str, float]], str]
"""Turns the name of a SPICE model, its kind (``NPN``, ``D``) and its parameters into a ``.model`` line."""


def model_line(name: str, kind: str, parameters: Mapping[str, float]) -> str:
    """Return a ``.model`` line with exactly these parameters; those of a level-less kind stand in their order."""
    return f".model {name} {kind}({' '.join(f'{key}={number!r}' for key, number in parameters.items())})"


class Wiring(Mapping[str, str]):
    """The SPICE node of each pin, and how a fault left the part.

    ``turned`` holds where knobs stand, ``sides`` and ``gates`` what a fault forces (gates by their label, without the
    part's name), ``off`` the roles that carry nothing. What the cards never ask for they cannot have drawn:
    ``ignored`` tells it, so that no fault is silently left out of a deck.
    """

    def __init__(
        self,
        nodes: Mapping[str, str],
        *,
        turned: Mapping[str, float] | None = None,
        sides: Mapping[str, bool] | None = None,
        gates: Mapping[str, bool] | None = None,
        off: Collection[str] = (),
        write_model: ModelWriter = model_line,
    ) -> None:
        self._nodes = dict(nodes)
        self._turned = dict(turned or {})
        self._sides = dict(sides or {})
        self._gates = dict(gates or {})
        self._off = frozenset(off)
        self._write_model = write_model
        self._asked: set[str] = set()

    def __getitem__(self, pin: str) -> str:
        return self._nodes[pin]

    def __iter__(self) -> Iterator[str]:
        return iter(self._nodes)

    def __len__(self) -> int:
        return len(self._nodes)

    def knob(self, name: str, neutral: float = 1.0) -> float:
        """Return where a knob stands: a factor, or a shift in volts whose ``neutral`` is 0."""
        self._asked.add(name)
        return self._turned.get(name, neutral)

    def side(self, row: str, expression: str) -> str:
        """Return the expression (0 to 1) that tells whether a row is above its threshold, or what a fault forces."""
        self._asked.add(row)
        return expression if row not in self._sides else "1" if self._sides[row] else "0"

    def gate(self, label: str, expression: str) -> str:
        """Return the expression (0 to 1) that turns a gate on, or what a fault forces."""
        self._asked.add(label)
        return expression if label not in self._gates else "1" if self._gates[label] else "0"

    def works(self, *roles: str) -> bool:
        """Tell whether none of these roles is off."""
        self._asked.update(roles)
        return self._off.isdisjoint(roles)

    def model(self, name: str, kind: str, **parameters: float) -> str:
        """Return the line of a SPICE model."""
        return self._write_model(name, kind, parameters)

    @property
    def ignored(self) -> frozenset[str]:
        """What a fault has changed and no card has asked for."""
        return frozenset({*self._turned, *self._sides, *self._gates, *self._off} - self._asked)
