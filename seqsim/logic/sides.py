"""Who pulls which way at a node: the two sides of a divider, found by taking the other side off."""

from __future__ import annotations

from dataclasses import dataclass

from seqsim.logic.branches import QUIET_AMPS, Branch, Way, branches
from seqsim.logic.candidates import lifted
from seqsim.logic.situation import Situation

CONTENDED_OHMS = 1e3
CONTENDED_AMPS = 1e-3
"""Two sides, each below so many ohms, that carry so much between them work against each other."""
MAIN_SHARE = 0.1
"""Members of a side that carry less than this share of its current are not named in the short text."""


@dataclass(frozen=True)
class Pull:
    """What one pin of a part does at a node: ``amps`` flow into the node."""

    owner: str
    pin: str
    branch: Branch
    amps: float


@dataclass(frozen=True)
class Side:
    """All that pulls a node one way: alone it would stand at ``volts``, and it has ``ohms`` towards the node.

    ``ohms`` is what the present current makes of the difference, so that level and both sides are one divider. Both
    are None where the side alone drives nothing, or not in its direction: a junction that takes what it is given.
    """

    volts: float | None
    ohms: float | None
    amps: float
    pulls: tuple[Pull, ...]

    @property
    def main(self) -> tuple[Pull, ...]:
        """The members that carry a share worth naming, strongest first."""
        return tuple(pull for pull in self.pulls if abs(pull.amps) >= MAIN_SHARE * self.amps)

    @property
    def drives(self) -> bool:
        """Tell whether a transistor, an output, a supply or a fault is behind it, and no mere resistor or load."""
        return any(pull.branch.way not in (Way.PASSES, Way.BASE) for pull in self.main)


@dataclass(frozen=True)
class Sides:
    """Both sides of a node; one that carries nothing is None."""

    up: Side | None
    down: Side | None

    @property
    def contended(self) -> bool:
        """Tell whether two drivers work against each other."""
        if self.up is None or self.down is None or self.up.ohms is None or self.down.ohms is None:
            return False
        stiff = max(self.up.ohms, self.down.ohms) < CONTENDED_OHMS
        return stiff and self.up.amps > CONTENDED_AMPS and self.up.drives and self.down.drives

    @property
    def winner(self) -> str | None:
        """``up`` or ``down``, by the smaller resistance; None where no two sides pull."""
        if self.up is None or self.down is None or (self.up.ohms is None and self.down.ohms is None):
            return None
        if self.up.ohms is None or self.down.ohms is None:
            return "up" if self.down.ohms is None else "down"
        return "up" if self.up.ohms < self.down.ohms else "down"


def pulls(situation: Situation, label: str) -> tuple[Pull, ...]:
    """Return what each pin does at a node, strongest first."""
    found: dict[tuple[str, str, str], list[Branch]] = {}
    for branch in branches(situation, label):
        added = branch.fault if branch.way is Way.ADDED else ""
        found.setdefault((branch.owner, branch.pin, added), []).append(branch)
    listed = []
    for (owner, pin, _), its in found.items():
        main = max(its, key=lambda branch: abs(branch.amps))
        listed.append(Pull(owner, pin, main, sum(branch.amps for branch in its)))
    return tuple(sorted(listed, key=lambda pull: -abs(pull.amps)))


def sides(situation: Situation, label: str) -> Sides:
    """Return what pulls a node up and down; nothing does where no branch carries a current worth the name."""
    all_pulls = pulls(situation, label)
    up = tuple(pull for pull in all_pulls if pull.amps > QUIET_AMPS)
    down = tuple(pull for pull in all_pulls if pull.amps < -QUIET_AMPS)
    return Sides(_side(situation, label, up, down), _side(situation, label, down, up))


def _side(situation: Situation, label: str, own: tuple[Pull, ...], others: tuple[Pull, ...]) -> Side | None:
    """Return one side: the node is solved again with the pins of the other side lifted."""
    if not own:
        return None
    amps = sum(abs(pull.amps) for pull in own)
    faults = {pull.branch.fault for pull in others if pull.branch.way is Way.ADDED}
    drop = [p for p, fault in zip(situation.patches, situation.origins, strict=True) if fault and fault in faults]
    taken = tuple(lifted(pull.pin) for pull in others if pull.branch.way is not Way.ADDED)
    alone = situation.again(*taken, without=drop)
    if alone is None or alone.floats(label):
        return Side(None, None, amps, own)
    volts = alone.volts(label)
    if (volts - situation.volts(label)) * own[0].amps < 0:
        # taken apart, the sides no longer pull against each other: what one does hangs on the other
        return Side(None, None, amps, own)
    return Side(volts, abs(volts - situation.volts(label)) / amps, amps, own)
