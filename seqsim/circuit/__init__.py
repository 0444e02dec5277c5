"""The circuit file, its checks and its compilation into a network."""

from seqsim.circuit.check import Warning, check  # noqa: A004 - the word of the command line
from seqsim.circuit.compile import compile_network, copper_patches, state_gates
from seqsim.circuit.draft import CircuitErrors
from seqsim.circuit.library import find_circuit, library, library_of
from seqsim.circuit.model import (
    OFF,
    Before,
    Circuit,
    Copper,
    Monotonic,
    NeverAbove,
    Off,
    PowerState,
    ProbePoint,
    Rail,
    Rises,
    Rule,
)
from seqsim.circuit.places import Place, PlaceKind, Places, resolve_place
from seqsim.circuit.reader import parse_circuit, read_circuit
from seqsim.circuit.starter import starter_text, write_starter

__all__ = [
    "OFF",
    "Before",
    "Circuit",
    "CircuitErrors",
    "Copper",
    "Monotonic",
    "NeverAbove",
    "Off",
    "Place",
    "PlaceKind",
    "Places",
    "PowerState",
    "ProbePoint",
    "Rail",
    "Rises",
    "Rule",
    "Warning",
    "check",
    "compile_network",
    "copper_patches",
    "find_circuit",
    "library",
    "library_of",
    "parse_circuit",
    "read_circuit",
    "resolve_place",
    "starter_text",
    "state_gates",
    "write_starter",
]
