"""What one line of notes says, as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from seqsim.circuit.notes_words import Guess


@dataclass(frozen=True, eq=False)
class Fact:
    """A fact and the line that states it."""

    line: int
    text: str


@dataclass(frozen=True, eq=False)
class PartNote(Fact):
    """A part: its kind (None if the line does not say), value, and the ends on which its pins lie.

    ``value`` is the value that stands by itself (`10k`, `?`), ``doubt`` whether a question mark follows it.
    """

    name: str
    guess: Guess | None = None
    package: str | None = None
    package_sure: bool = True
    value: str | None = None
    doubt: bool = False
    values: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Contact(Fact):
    """Ends that are one net: beeped, or only seen; ``far`` lies beyond the copper ``via``."""

    near: tuple[str, ...]
    far: tuple[str, ...]
    via: str | None = None
    beeped: bool = True


@dataclass(frozen=True, eq=False)
class Absent(Fact):
    """Two ends that were expected to be one net, and do not beep."""

    one: str
    other: str
    via: str | None = None


@dataclass(frozen=True, eq=False)
class Supplied(Fact):
    """A supply that was seen, on a net of its name unless ``values`` says otherwise."""

    name: str
    values: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Named(Fact):
    """An end is called so."""

    end: str
    name: str


@dataclass(frozen=True, eq=False)
class Target(Fact):
    """The enable or rail under investigation."""

    end: str


@dataclass(frozen=True, eq=False)
class Ground(Fact):
    """Another name of the net under the black lead."""

    name: str


@dataclass(frozen=True, eq=False)
class StateNote(Fact):
    """A power state: supplies that are applied, how switches stand, times."""

    name: str
    on: tuple[str, ...]
    switches: Mapping[str, str]
    times: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Extent(Fact):
    """A net goes on to what nobody has traced, or is known to be all there."""

    end: str
    goes_on: bool


@dataclass(frozen=True, eq=False)
class RailNote(Fact):
    """A net that should come up, and how far."""

    net: str
    volts: str
    within: str | None = None


@dataclass(frozen=True, eq=False)
class Read(Fact):
    """A reading in shorthand."""

    reading: str


@dataclass(frozen=True, eq=False)
class Words(Fact):
    """Title or description."""

    key: str
    words: str
