"""The vocabulary between parts and solver: what a network is made of, and the one way to change it."""

from seqsim.network.builder import Builder, Owned
from seqsim.network.elements import (
    FARADS,
    GROUND,
    SECONDS,
    WIDTH,
    Effect,
    Hinge,
    Knob,
    Ratio,
    Row,
    RowClass,
    Rule,
    Storage,
    Turned,
)
from seqsim.network.network import Network, Ports, RowArrays
from seqsim.network.patch import (
    Bridge,
    Disable,
    Exchange,
    Move,
    Patch,
    SetGate,
    SetSide,
    Source,
    Turn,
)
from seqsim.network.patching import vary
from seqsim.network.variant import Variant

__all__ = [
    "FARADS",
    "GROUND",
    "SECONDS",
    "WIDTH",
    "Bridge",
    "Builder",
    "Disable",
    "Effect",
    "Exchange",
    "Hinge",
    "Knob",
    "Move",
    "Network",
    "Owned",
    "Patch",
    "Ports",
    "Ratio",
    "Row",
    "RowArrays",
    "RowClass",
    "Rule",
    "SetGate",
    "SetSide",
    "Source",
    "Storage",
    "Turn",
    "Turned",
    "Variant",
    "vary",
]
