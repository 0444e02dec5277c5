"""What a node can depend on: supplies, signals of other boards and switches, found from the structure."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from seqsim.circuit import Circuit
from seqsim.circuit.names import suggest
from seqsim.errors import SeqsimError, UnknownPlaceError
from seqsim.logic.branches import SWITCHED, Branch, Way, branches
from seqsim.logic.candidates import sensed
from seqsim.logic.chain import LEAD_SIEMENS, SIGNAL_OHMS
from seqsim.logic.situation import Situation

MOST_INPUTS = 12
"""Inputs of a truth table: 4096 rows are more than anyone reads."""


@dataclass(frozen=True)
class Input:
    """Something outside that is one way or the other: ``kind`` is ``supply``, ``signal`` or ``switch``."""

    name: str
    kind: str

    def gates(self, circuit: Circuit, *, on: bool) -> dict[str, bool]:
        """Return the gates of this input when it is applied, or closed."""
        if self.kind == "switch":
            return {f"{self.name}:closed": on}
        supply = circuit.supplies[self.name]
        return {supply.applied: on, supply.idle_low: not on and supply.idle == "low"}


def all_inputs(circuit: Circuit) -> tuple[Input, ...]:
    """Return every supply, signal and switch of a board."""
    supplies = [
        Input(name, "signal" if supply.ohms >= SIGNAL_OHMS else "supply") for name, supply in circuit.supplies.items()
    ]
    switches = [Input(name, "switch") for name, part in circuit.parts.items() if "closed" in type(part).model_fields]
    return (*supplies, *switches)


def inputs_of(situation: Situation, label: str) -> tuple[Input, ...]:
    """Return the inputs that can matter at a net or cut-off piece, the nearest first."""
    known = {each.name: each for each in all_inputs(situation.circuit)}
    found: dict[str, Input] = {}
    waiting, seen = deque([label]), {label}
    while waiting:
        for kind, name in _behind(situation, waiting.popleft()):
            if kind == "input":
                found.setdefault(name, known[name])
            elif name not in seen and situation.node(name) not in situation.grounds:
                seen.add(name)
                waiting.append(name)
    return tuple(found.values())


def chosen_inputs(situation: Situation, label: str, names: Sequence[str] | None) -> tuple[Input, ...]:
    """Return the inputs of a truth table: those that are named, else all that can matter.

    Raises
    ------
    UnknownPlaceError
        If a name is no supply, signal or switch.
    SeqsimError
        If there are too many.
    """
    known = {each.name: each for each in all_inputs(situation.circuit)}
    structural = inputs_of(situation, label)
    if names:
        for name in names:
            if name not in known:
                message = f"there is no supply, signal or switch called '{name}'{suggest(name, known)}"
                raise UnknownPlaceError(message, place=name, got=name)
        found = tuple(known[name] for name in dict.fromkeys(names))
    else:
        found = structural
    if len(found) > MOST_INPUTS:
        nearest = ",".join(each.name for each in structural[:MOST_INPUTS])
        raise SeqsimError(
            f"{len(found)} inputs would make a truth table of {2 ** len(found)} rows, and {MOST_INPUTS} are the most; "
            f"choose some, such as those that stand nearest by the structure: --inputs {nearest}",
            expected=f"at most {MOST_INPUTS} inputs", got=str(len(found)),
        )  # fmt: skip
    return found


def is_rail(situation: Situation, label: str, passed: frozenset[str] = frozenset()) -> bool:
    """Tell whether a node carries power: a rail of the file, the net of a supply, or what a fuse or ferrite feeds."""
    circuit = situation.circuit
    if label in circuit.rails or any(s.net == label and s.ohms < SIGNAL_OHMS for s in circuit.supplies.values()):
        return True
    return any(
        leads(situation, branch)
        and branch.far_label not in {label, *passed}
        and is_rail(situation, branch.far_label, passed | {label})
        for branch in branches(situation, label)
    )


def leads(situation: Situation, branch: Branch) -> bool:
    """Tell whether a branch is a fuse, ferrite, winding or the like, which carries a rail on."""
    part = situation.circuit.parts.get(branch.owner)
    if branch.way is not Way.PASSES or part is None or not part.passive:
        return False
    return max((float(situation.levels.system.conductance[h]) for h in branch.hinges), default=0.0) >= LEAD_SIEMENS


def takes(situation: Situation, branch: Branch) -> bool:
    """Tell whether a branch is a chip's supply pin, which takes from the node and drives nothing."""
    part = situation.circuit.parts.get(branch.owner)
    if branch.way is not Way.CHIP or part is None:
        return False
    return branch.pin in {f"{part.name}.{pin}" for pin in ("VCC", "IN", "GND")}


def decides(situation: Situation, branch: Branch) -> Iterator[str]:
    """Yield the terminals that decide what a branch does: a base, a gate, the inputs and the supply of a chip."""
    part = situation.circuit.parts.get(branch.owner)
    if part is None:
        return
    if branch.way in SWITCHED:
        names = {Way.BIPOLAR: "B", Way.FIELD: "G", Way.LIGHT: "AK"}[branch.way]
        yield from (part.pin(name) for name in names)
    if branch.way is Way.CHIP:
        for number in situation.network.rows_of.get(branch.owner, ()):
            yield from sensed(situation, number)


def _behind(situation: Situation, label: str) -> Iterator[tuple[str, str]]:
    """Yield inputs at a node, and the nodes from which it has its level."""
    here = branches(situation, label)
    rail = is_rail(situation, label)
    stiff = False
    for branch in here:
        if branch.way is Way.SUPPLY:
            yield "input", branch.owner
            stiff = stiff or rail or situation.circuit.supplies[branch.owner].idle == "low"
    for branch in here:
        if branch.way in (Way.SUPPLY, Way.BASE) or takes(situation, branch):
            continue
        if branch.way is Way.CONTACT:
            yield "input", branch.owner
        for pin in decides(situation, branch):
            yield "node", situation.label_of.get(situation.node(pin), label)
        lead = leads(situation, branch)
        if branch.far is not None and (lead or branch.way is not Way.PASSES or not (rail or stiff)):
            yield "node", branch.far_label
