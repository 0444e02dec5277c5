"""What `logic` returns: the node as a function of supplies, signals and switches, whole and stage by stage."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim.circuit import Circuit
from seqsim.logic.explanation import shown_label
from seqsim.logic.expression import Expression, minimal
from seqsim.logic.inputs import Input, chosen_inputs, inputs_of
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Named, Situation, point, situation
from seqsim.logic.stages import Stage, stages
from seqsim.logic.table import HIGH, LOW, TableRow, table
from seqsim.network import GROUND
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True)
class Function:
    """A truth table and what it comes to: the supplies that the node needs to be high at all, and the rest."""

    rows: tuple[TableRow, ...]
    needs: tuple[str, ...]
    expression: Expression

    @classmethod
    def of(cls, inputs: Sequence[Input], rows: tuple[TableRow, ...]) -> Function:
        """Return the function of a truth table.

        A supply without which the node is never high is needed, and the expression is for the board that has it.
        Rows that are neither high nor low leave the expression free.
        """
        needs = [
            k
            for k, each in enumerate(inputs)
            if each.kind == "supply" and not any(row.level == HIGH for row in rows if not row.on[k])
        ]
        if not any(row.level == HIGH for row in rows):
            needs = []
        kept = [k for k in range(len(inputs)) if k not in needs]
        powered = [row for row in rows if all(row.on[k] for k in needs)]
        cut = {row: tuple(row.on[k] for k in kept) for row in powered}
        true = [cut[row] for row in powered if row.level == HIGH]
        free = [cut[row] for row in powered if row.level not in (HIGH, LOW)]
        names = [inputs[k].name for k in kept]
        return cls(rows, tuple(inputs[k].name for k in needs), minimal(names, true, free))

    @property
    def text(self) -> str:
        """The whole expression, needed supplies in front."""
        if not self.needs or self.expression.text == "never":
            return self.expression.text
        if self.expression.text == "always":
            return " and ".join(self.needs)
        rest = self.expression.text
        return " and ".join([*self.needs, f"({rest})" if " or " in rest or " xor " in rest else rest])


@dataclass(frozen=True)
class LogicFunction(Result):
    """A node as a function; ``healthy`` is that of the board without its faults, None if there are none."""

    name: str
    place: str
    situation: Situation
    inputs: tuple[Input, ...]
    left_out: tuple[str, ...]
    function: Function
    stages: tuple[Stage, ...]
    healthy: Function | None = None

    @property
    def differs(self) -> tuple[int, ...]:
        """Numbers of the rows in which the faults change the level."""
        if self.healthy is None:
            return ()
        both = zip(self.function.rows, self.healthy.rows, strict=True)
        return tuple(k for k, (row, before) in enumerate(both) if row.level != before.level)

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``logic``."""
        return {
            "schema": SCHEMA,
            "circuit": self.name,
            "node": self.place,
            "state": self.situation.state,
            "faults": list(self.situation.faults),
            "inputs": [{"name": each.name, "kind": each.kind} for each in self.inputs],
            "left_out": list(self.left_out),
            **self._function(self.function),
            "rows": [self._row(row) for row in self.function.rows],
            "stages": [_stage(stage) for stage in self.stages],
            "healthy": None if self.healthy is None else self._function(self.healthy),
            "differs": list(self.differs),
            "healthy_rows": None if self.healthy is None else [self._row(row) for row in self.healthy.rows],
        }

    def _function(self, function: Function) -> dict[str, Any]:
        return {
            "expression": function.text,
            "needs": list(function.needs),
            "with_needs": function.expression.text,
            "depends_on": list(function.expression.used),
        }

    def _row(self, row: TableRow) -> dict[str, Any]:
        return {
            "inputs": {each.name: on for each, on in zip(self.inputs, row.on, strict=True)},
            "level": row.level,
            "volts": row.volts,
            "other_volts": row.other_volts,
        }

    def renderable(self) -> RenderableType:
        """Return the function in words and as a table."""
        from seqsim.wording.logic import logic_text

        return logic_text(self.to_dict())


def logic(
    name: str,
    circuit: Circuit,
    place: str | None = None,
    state: str | None = None,
    faults: Iterable[str | Named] = (),
    *,
    inputs: Sequence[str] | None = None,
) -> LogicFunction:
    """Return a node as a function of supplies, signals and switches.

    Parameters
    ----------
    place
        A net, pin, pad or copper; the target if not given.
    state
        Power state in which inputs that are left out stand; the last one if not given.
    inputs
        Names of the inputs; all that can matter if not given.

    Raises
    ------
    UnknownPlaceError
        If there is no such place, state, fault or input.
    SeqsimError
        If there are more than twelve inputs.
    NoSteadyLevelError
        If the board has no steady level in that state.
    """
    reference = Reference.of(circuit)
    where = point(circuit, place)
    broken = tuple(faults)
    healthy = situation(circuit, state, network=reference.network)
    chosen = chosen_inputs(healthy, _label(healthy, where), inputs)
    matter = inputs_of(healthy, _label(healthy, where))
    left_out = tuple(each.name for each in matter if each not in chosen)
    before = Function.of(chosen, table(healthy, _label(healthy, where), chosen))
    now, after = healthy, before
    if broken:
        now = situation(circuit, state, broken, network=reference.network)
        after = Function.of(chosen, table(now, _label(now, where), chosen))
    parts = stages(now, reference, _label(now, where))
    shown = place or circuit.target or where
    return LogicFunction(name, shown, now, chosen, left_out, after, parts, before if broken else None)


def _label(now: Situation, where: str) -> str:
    return now.label_of.get(now.node(where), GROUND)


def _stage(stage: Stage) -> dict[str, Any]:
    expression = stage.expression
    return {
        "node": shown_label(stage.label),
        "devices": list(stage.devices),
        "looks_at": [shown_label(name) for name in stage.looks_at],
        "expression": None if expression is None else expression.text,
        "inverting": stage.inverting,
        "needs": [shown_label(name) for name in stage.needs],
    }
