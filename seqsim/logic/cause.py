"""One candidate for what decides a level, and what became of it when it was tried."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from seqsim.logic.branches import Branch
from seqsim.logic.criterion import Criterion
from seqsim.logic.situation import Situation
from seqsim.network import Patch


class What(Enum):
    """What about a branch decides the level."""

    FAR = "far end"
    """the level at its other end"""
    LIFT = "path"
    """that it is there at all: its other end is fixed"""
    ON = "on"
    OFF = "off"
    ROW = "input"
    """how a chip sees one of its inputs or its supply"""
    CLOSED = "closed"
    OPEN = "open"
    APPLIED = "applied"
    ABSENT = "absent"
    FAULT = "fault"


@dataclass(frozen=True)
class Cause:
    """One candidate: what it is, the patches that change it, and what they did.

    ``undo`` are patches added, ``drop`` patches of the situation left out. ``then`` is the outcome that follows,
    ``volts_then`` the volts. ``towards`` are points whose levels bring the cause about, with the criterion that
    counts there (None: the side of the point). ``via`` are the parts through which it acts where it is
    not at the node itself.
    """

    branch: Branch
    what: What
    undo: tuple[Patch, ...]
    drop: tuple[Patch, ...] = ()
    row: str | None = None
    above: bool | None = None
    towards: tuple[tuple[str, Criterion | None], ...] = ()
    then: str = ""
    volts_then: float | None = None
    jointly: bool = False
    via: tuple[str, ...] = ()
    behind: str = ""
    """the fault without which it would be what holds the level; it is told of the board without that fault"""
    pushes: int = 0
    """1 where undoing it can only move the level up, -1 only down, 0 where that is open"""

    def tried(self, situation: Situation) -> Situation | None:
        """Return the situation with the cause undone."""
        return situation.again(*self.undo, without=self.drop)
