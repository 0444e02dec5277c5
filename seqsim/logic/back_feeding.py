"""Back-feeding: what holds up a rail that is off, through the clamp of a chip's pin or the diode of a switch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.logic.branches import QUIET_AMPS, Branch, Way, branches
from seqsim.logic.chain import is_up
from seqsim.logic.sides import pulls
from seqsim.logic.situation import Situation
from seqsim.network import Disable

LEAST_VOLTS = 0.05
"""A rail that is off and stands at less is empty, whatever trickles into it (our judgement)."""
MOST_WITHOUT = 0.5
"""Back-fed is what loses more than this share of its volts with the diodes gone (our judgement)."""
DIODES = ("clamp", "body diode")
"""What the roles of such paths are called."""
CHORD = " 0123456789"
"""A diode is made of chords, whose roles end in a number."""
FED_PINS = frozenset({"VCC", "RAIL", "IN"})
"""Pins through which chips take their supply: the nets there are rails, whether the file says so or not."""
MOST_PARTS = 6
"""Parts through which the current is followed back."""


@dataclass(frozen=True)
class Feeder:
    """One path of current into a rail that is off.

    ``amps`` leave the node ``label`` at the terminal ``pin`` and go through the diode ``role`` of ``owner``. They come
    from ``source``, a node that is up, a supply, or a pin of a chip, through the parts ``through``, the next one first.
    """

    owner: str
    pin: str
    role: str
    amps: float
    label: str
    source: str
    through: tuple[str, ...]
    hinges: tuple[int, ...]


@dataclass(frozen=True)
class BackFeeding:
    """All that feeds a rail that is off; without it, by ``undo``, the rail would stand at ``volts_otherwise``."""

    feeders: tuple[Feeder, ...]
    undo: tuple[Disable, ...]
    volts_otherwise: float


def back_feeding(now: Situation, label: str) -> BackFeeding | None:
    """Return what feeds a rail from its wrong end; None where it is up, empty, no rail, or held otherwise."""
    if not _is_rail(now, label) or now.volts(label) < LEAST_VOLTS or is_up(now, label):
        return None
    feeders = tuple(sorted(_feeders(now, label), key=lambda feeder: -feeder.amps))
    if not feeders:
        return None
    roles: dict[str, list[str]] = {}
    for feeder in feeders:
        roles.setdefault(feeder.owner, []).extend(now.roles[hinge] for hinge in feeder.hinges)
    undo = tuple(Disable(owner, tuple(dict.fromkeys(its))) for owner, its in roles.items())
    without = now.again(*undo)
    if without is None or without.volts(label) > MOST_WITHOUT * now.volts(label):
        return None  # something else holds it up, and the diodes only help
    return BackFeeding(feeders, undo, without.volts(label))


def _is_rail(now: Situation, label: str) -> bool:
    circuit = now.circuit
    if label in circuit.rails or any(supply.net == label for supply in circuit.supplies.values()):
        return True
    return any(part.pins.get(pin) == label for part in circuit.parts.values() for pin in FED_PINS)


def _feeders(now: Situation, label: str) -> Iterator[Feeder]:
    for branch in branches(now, label):
        diodes = tuple(hinge for hinge in branch.hinges if _is_diode(now.roles[hinge]))
        if branch.amps < QUIET_AMPS or not diodes or branch.far is None or now.node(branch.far) in now.grounds:
            continue
        source, through = _source(now, branch, label)
        role = now.roles[diodes[0]].rstrip(CHORD)
        yield Feeder(branch.owner, branch.far, role, branch.amps, branch.far_label, source, through, diodes)


def _is_diode(role: str) -> bool:
    return any(word in role for word in DIODES)


def _source(now: Situation, first: Branch, label: str) -> tuple[str, tuple[str, ...]]:
    """Follow the strongest current back from the far end of a branch: where it comes from, and through which parts."""
    here, seen = first.far_label, {label}
    through: list[str] = []
    while len(through) < MOST_PARTS and not is_up(now, here):
        seen.add(here)
        feeding = [pull for pull in pulls(now, here) if pull.amps > QUIET_AMPS and pull.branch.far_label not in seen]
        if not feeding:
            break
        branch = feeding[0].branch
        if branch.way is Way.SUPPLY:
            return branch.owner, tuple(through)
        if branch.way is Way.CHIP or branch.far is None:
            return branch.pin, tuple(through)
        through.append(branch.owner or branch.fault)
        here = branch.far_label
    return here, tuple(through)
