"""What a check of a circuit file found."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim import circuit as circuits
from seqsim.circuit import Circuit, CircuitErrors
from seqsim.errors import CircuitError
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

    from seqsim.solver import Levels


@dataclass(frozen=True, slots=True)
class Checked(Result):
    """Errors of a circuit file, or else its warnings; ``content`` is None if there are errors."""

    circuit: str
    errors: tuple[CircuitError, ...]
    warnings: tuple[circuits.Warning, ...]
    content: Circuit | None

    def to_dict(self) -> dict[str, Any]:
        """Return errors and warnings with file and line, and what was counted."""
        content = self.content
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "errors": [{"file": e.file, "line": e.line, "place": e.place, "message": e.message} for e in self.errors],
            "warnings": [
                {"file": w.file, "line": w.line, "place": w.place, "message": w.message} for w in self.warnings
            ],
            "parts": None if content is None else len(content.parts),
            "nets": None if content is None else len(content.nets()),
            "power_states": None if content is None else len(content.power_states),
        }

    def renderable(self) -> RenderableType:
        """Return the warnings and the counts for people."""
        from seqsim.wording.check import check_text

        return check_text(self.to_dict())


def check_file(name: str) -> Checked:
    """Return every error of a circuit file, or else every warning.

    Raises
    ------
    CircuitError
        If there is no such file.
    """
    path = circuits.find_circuit(name)
    try:
        circuit = circuits.read_circuit(path)
    except CircuitErrors as found:
        return Checked(name, found.errors, (), None)
    except CircuitError as error:
        return Checked(name, (error,), (), None)
    return check_board(name, circuit)


def check_board(name: str, circuit: Circuit) -> Checked:
    """Return what is legal in a circuit but suspicious; healthy levels that the file states are solved for."""
    return Checked(name, (), (*circuits.check(circuit), *_other_than_stated(circuit)), circuit)


def _other_than_stated(circuit: Circuit) -> Iterator[circuits.Warning]:
    """Yield the nets whose healthy levels are not those that the file states."""
    if not circuit.healthy:
        return
    for state, levels in healthy_levels(circuit).items():
        for net, expected in circuit.healthy.get(state, {}).items():
            volts = levels.at(net)
            if not expected.low <= volts <= expected.high:
                message = (
                    f"in {state} a healthy {net} is said to be {expected.text}, but the model gives {volts:.4g} V; "
                    f"correct the drawing or the figure"
                )
                yield circuits.Warning(message, circuit.file, circuit.line("healthy", state, net), net)


def healthy_levels(circuit: Circuit) -> dict[str, Levels]:
    """Return the levels of each power state of a healthy board, each begun from the one before."""
    from seqsim.solver import solve

    network = circuits.compile_network(circuit)
    found: dict[str, Levels] = {}
    start = None
    for state in circuit.power_states:
        found[state] = solve(network, gates=circuits.state_gates(circuit, state), start=start)
        start = found[state].state
    return found
