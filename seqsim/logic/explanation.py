"""What `why` returns: a chain with its numbers, the changes that would flip the node, and how readings agree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from seqsim.circuit import Circuit
from seqsim.logic.back_feeding import back_feeding
from seqsim.logic.branches import Branch, Way, branches, capability
from seqsim.logic.cause import Cause, What
from seqsim.logic.chain import Chain, Step, chain, is_up
from seqsim.logic.criterion import BySide
from seqsim.logic.flips import Change, Flip, flips, threshold_at
from seqsim.logic.reference import Reference
from seqsim.logic.sides import Pull, Side, pulls
from seqsim.logic.situation import Named, Situation, point, situation
from seqsim.network import GROUND
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.console import RenderableType

    from seqsim.logic.measured import Comparison

DIFFERENT_VOLTS = 0.1
"""A fault moves a level if it does so by more than this."""


@dataclass(frozen=True)
class Explanation(Result):
    """Why a node is at its level.

    ``healthy_volts`` is the level without the faults, None if there are none; ``measured`` compares the readings with
    what follows from the drawing.
    """

    name: str
    place: str
    situation: Situation
    reference: Reference
    chain: Chain
    flips: tuple[Flip, ...]
    deep: bool
    healthy_volts: float | None = None
    measured: Comparison | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``why``."""
        first = self.chain.steps[0]
        return {
            "schema": SCHEMA,
            "circuit": self.name,
            "state": self.situation.state,
            "faults": list(self.situation.faults),
            "node": self.place,
            "volts": first.volts,
            "level": _level(first),
            "applied": applied(self.situation),
            "oscillates": list(self.situation.levels.loop),
            "healthy_volts": self.healthy_volts,
            "deep": self.deep,
            "steps": [self._step(step) for step in self.chain.steps],
            "left_out": self.chain.cut,
            "flips": [_flip(self.situation, flip) for flip in self.flips],
            "measured": None if self.measured is None else self.measured.to_dict(),
        }

    def _step(self, step: Step) -> dict[str, Any]:
        held = (branch.fault for branch in branches(self.situation, step.label))
        read = self.measured is not None and any(held)
        return _step(self.situation, step, deep=self.deep) | {"read_here": read}

    def renderable(self) -> RenderableType:
        """Return the chain in words."""
        from seqsim.wording.why import why_text

        return why_text(self.to_dict())


def explain(
    name: str,
    circuit: Circuit,
    place: str | None = None,
    state: str | None = None,
    faults: Iterable[str | Named] = (),
    *,
    deep: bool = False,
    reference: Reference | None = None,
) -> Explanation:
    """Return why a node of a board is at its level.

    Parameters
    ----------
    place
        A net, pin, pad or copper; the target if not given.
    state
        Name of a power state; the last one if not given.
    deep
        Go on through rails that are up, to the supplies.
    reference
        The healthy board, where the caller has it already.

    Raises
    ------
    UnknownPlaceError
        If there is no such place, state or fault.
    NoSteadyLevelError
        If no steady level is found.
    """
    reference = Reference.of(circuit) if reference is None else reference
    point_ = point(circuit, place)
    now = situation(circuit, state, faults, network=reference.network)
    node = now.node(point_)
    label = now.label_of.get(node, GROUND)
    links = chain(now, reference, label, deep=deep)
    if not applied(now):
        # that each supply is absent is no chain of causes, and every one of them would have to be named
        links = Chain((replace(links.steps[0], causes=()),), cut=False)
    healthy = None
    if now.faults:
        healthy = reference.states[now.state].at(point_.removesuffix("/pad"))
    changes = flips(now, reference, links)
    if not deep:
        changes = tuple(flip for flip in changes if not any(_at_rail(now, change) for change in flip.changes))
    shown = place or circuit.target or point_
    return Explanation(name, shown, now, reference, links, changes, deep, healthy)


def applied(now: Situation) -> bool:
    """Tell whether anything is connected in this state."""
    gates = now.network.gate_index
    return any(bool(now.static[gates[supply.applied]]) for supply in now.circuit.supplies.values())


def _at_rail(now: Situation, change: Change) -> bool:
    return change.what == "force" and is_up(now, change.place)


def _level(step: Step) -> str:
    if step.floating:
        return "floating"
    if step.sides.contended:
        return "contended"
    return "high" if step.high else "low"


def shown_label(label: str) -> str:
    """Return what people call a node: a cut-off piece is named after its pin."""
    return label.rpartition("/")[0] or label


def _step(now: Situation, step: Step, *, deep: bool) -> dict[str, Any]:
    return {
        "node": shown_label(step.label),
        "cut_off": "/" in step.label,
        "depth": step.depth,
        "volts": step.volts,
        "level": _level(step),
        "ohms": step.ohms,
        "up": _side(now, step.sides.up),
        "down": _side(now, step.sides.down),
        "winner": step.sides.winner,
        "held_by": [_pull(now, pull) for pull in _holders(now, step)],
        "back_fed": _back_fed(now, step.label),
        "causes": [_cause(now, step, cause, deep=deep) for cause in step.causes],
    }


def _back_fed(now: Situation, label: str) -> dict[str, Any] | None:
    """Return what feeds a rail that is off, with its currents."""
    found = back_feeding(now, label)
    if found is None:
        return None
    return {
        "volts_otherwise": found.volts_otherwise,
        "by": [
            {
                "part": feeder.owner,
                "pin": shown_label(feeder.pin),
                "diode": feeder.role,
                "amps": feeder.amps,
                "from": shown_label(feeder.label),
                "from_volts": now.volts(feeder.label),
                "source": shown_label(feeder.source),
                "through": list(feeder.through),
            }
            for feeder in found.feeders
        ],
    }


def _holders(now: Situation, step: Step) -> list[Pull]:
    """What holds a node where next to nothing flows: pins behind which something conducts, the stiffest first."""
    if step.sides.up is not None or step.sides.down is not None or step.floating or now.node(step.label) < 0:
        return []
    active = now.levels.active()

    def siemens(pull: Pull) -> float:
        return sum(float(active[h]) for b in branches(now, step.label) if b.pin == pull.pin for h in b.hinges)

    conducting = [pull for pull in pulls(now, step.label) if siemens(pull) > 0 and pull.branch.way is not Way.BASE]
    return sorted(conducting, key=lambda pull: -siemens(pull))


def _side(now: Situation, side: Side | None) -> dict[str, Any] | None:
    if side is None:
        return None
    return {
        "volts": side.volts,
        "ohms": side.ohms,
        "amps": side.amps,
        "by": [_pull(now, pull) for pull in side.main],
    }


def _pull(now: Situation, pull: Pull) -> dict[str, Any]:
    branch = pull.branch
    return {
        "part": pull.owner or branch.fault,
        "pin": shown_label(pull.pin),
        "amps": pull.amps,
        "way": branch.way.value,
        "from": None if branch.far is None else shown_label(branch.far_label),
        "from_volts": None if branch.far is None else now.volts(branch.far),
        "ohms": _ohms(now, branch),
        "fault": branch.fault or None,
    }


def _ohms(now: Situation, branch: Branch) -> float | None:
    """Resistance of a part that is no more than one."""
    part = now.circuit.parts.get(branch.owner)
    if branch.way is Way.SUPPLY:
        return now.circuit.supplies[branch.owner].ohms
    if part is None or branch.way is not Way.PASSES or len(branch.hinges) != 1 or not part.passive:
        return None
    siemens = float(now.levels.system.conductance[branch.hinges[0]])
    return 1 / siemens if siemens else None


def _cause(now: Situation, step: Step, cause: Cause, *, deep: bool) -> dict[str, Any]:
    branch = cause.branch
    leads = [now.label_of[now.node(pin)] for pin, _ in cause.towards if now.node(pin) in now.label_of]
    return {
        "part": branch.owner,
        "pin": shown_label(branch.pin),
        "way": branch.way.value,
        "what": cause.what.value,
        "would": _would(cause, step),
        "from": None if branch.far is None else shown_label(branch.far_label),
        "from_volts": None if branch.far is None else now.volts(branch.far),
        "amps": branch.amps,
        "through": list(cause.via),
        "fault": branch.fault or None,
        "together": cause.jointly,
        "behind": cause.behind or None,
        "volts_otherwise": cause.volts_then,
        "given": not deep and bool(leads) and all(is_up(now, label) for label in leads),
        "because": [shown_label(label) for label in leads if now.node(label) not in now.grounds],
        "drive": None if cause.behind else _drive(now, cause),
    }


def _would(cause: Cause, step: Step) -> str | None:
    """Where the level would go with the cause undone: ``up``, ``down``, or ``float``."""
    if cause.then == "floating":
        return "float"
    if cause.volts_then is None:
        return None
    return "up" if cause.volts_then > step.volts else "down"


def _drive(now: Situation, cause: Cause) -> dict[str, Any] | None:
    """What holds a device on or off, in numbers."""
    branch = cause.branch
    part = now.circuit.parts.get(branch.owner)
    if cause.what is What.ROW and cause.row is not None:
        seen = [_input(now, branch.owner, cause.row, pin) for pin, _ in cause.towards]
        return {"input": cause.row, "above": bool(cause.above), "sees": seen}
    if part is None or cause.what not in (What.ON, What.OFF):
        return None
    if branch.way is Way.BIPOLAR:
        base = [b for b in branches(now, now.label_of[now.node(part.pin("B"))]) if b.pin == part.pin("B")]
        amps = -sum(b.amps for b in base if b.way is Way.BASE)
        across = now.volts(part.pin("B")) - now.volts(part.pin("E"))
        return {"base_amps": amps, "base_emitter_volts": across, "can_carry_amps": capability(now, branch.owner)}
    if branch.way is Way.FIELD:
        sign = float(getattr(part, "sign", 1))
        across = now.volts(part.pin("G")) - now.volts(part.pin("S"))
        return {
            "gate_source_volts": across,
            "threshold_volts": sign * float(getattr(part, "threshold", 0.0)),
            "can_carry_amps": capability(now, branch.owner),
        }
    return {"led_volts": now.volts(part.pin("A")) - now.volts(part.pin("K"))}


def _input(now: Situation, owner: str, row: str, pin: str) -> dict[str, Any]:
    found = threshold_at(now, owner, row, pin)
    return {"pin": pin, "volts": now.volts(pin), "threshold_volts": None if found is None else found[0]}


def _flip(now: Situation, flip: Flip) -> dict[str, Any]:
    return {
        "changes": [
            {
                "what": change.what,
                "part": change.part,
                "place": shown_label(change.place).removesuffix(":entry"),
                "volts": change.volts,
                "to_volts": change.to_volts,
            }
            for change in flip.changes
        ],
        "volts": flip.volts,
        "level": flip.outcome,
        "at_rail": any(_at_rail(now, change) for change in flip.changes),
    }


def side_of(now: Situation, reference: Reference, label: str) -> str:
    """Return ``high``, ``low`` or ``floating`` for a net or cut-off piece."""
    return BySide.at(reference, now, label).outcome(now)
