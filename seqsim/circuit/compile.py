"""From a circuit to the arrays of a network, and the patches that the circuit itself defines."""

from __future__ import annotations

from seqsim.circuit.model import OFF, Circuit
from seqsim.circuit.names import suggest
from seqsim.errors import UnknownPlaceError
from seqsim.network import Builder, Move, Network, Owned
from seqsim.parts.supply import ENTRY

ISLAND_SIEMENS = 1.0
"""Conductance (S) that ties a further ground to the first: an isolated side must have some level, and a tie
without any other path carries nothing."""
CUT = "/cut"
"""Ends the name of the node of a cut-off piece, after its first pin."""


def compile_network(circuit: Circuit) -> Network:
    """Return the network of a circuit: nets in the order of appearance, nothing applied, switches as they rest."""
    builder = Builder()
    for terminal, net in circuit.pins().items():
        builder.pin(terminal, net)
    for ground in circuit.grounds[1:]:
        builder.pin(f"{ground}:tie", ground)
        Owned(builder, ground).hinge("tie", {":tie": 1}, {":tie": 1}, ISLAND_SIEMENS, clamped=False)
    for supply in circuit.supplies.values():
        supply.emit(Owned(builder, supply.name))
    for part in circuit.parts.values():
        part.emit(Owned(builder, part.name))
    return builder.freeze()


def state_gates(circuit: Circuit, state: str) -> dict[str, bool]:
    """Return how the gates of supplies and switches stand in a power state.

    Raises
    ------
    UnknownPlaceError
        If the circuit has no such state.
    """
    if state not in circuit.power_states:
        hint = suggest(state, circuit.power_states)
        raise UnknownPlaceError(f"there is no power state called '{state}'{hint}", place=state, got=state)
    power = circuit.power_states[state]
    gates = {}
    for supply in circuit.supplies.values():
        gates[supply.applied] = supply.name in power.on
        gates[supply.idle_low] = supply.idle == "low" and state != OFF and supply.name not in power.on
    for part in circuit.parts.values():
        if "closed" in type(part).model_fields:
            gates[f"{part.name}:closed"] = power.closed.get(part.name, bool(getattr(part, "closed", False)))
    return gates


def copper_patches(circuit: Circuit, name: str) -> tuple[Move, ...]:
    """Return the patches of broken copper.

    The piece that holds a supply's entry keeps the net; if neither or both do, the piece with the pins that
    ``cuts_off`` does not list. Ground always keeps the latter.

    Raises
    ------
    UnknownPlaceError
        If the circuit has no such copper.
    """
    if name not in circuit.copper:
        raise UnknownPlaceError(f"there is no copper called '{name}'{suggest(name, circuit.copper)}", place=name)
    copper = circuit.copper[name]
    terminals = circuit.nets()[copper.net]
    cut = tuple(pin for pin in terminals if pin in copper.cuts_off)
    rest = tuple(pin for pin in terminals if pin not in copper.cuts_off)
    if any(pin.endswith(ENTRY) for pin in cut) and not any(pin.endswith(ENTRY) for pin in rest):
        cut = rest
    first = next((pin for pin in cut if not pin.endswith(ENTRY)), cut[0])
    return (Move(cut, first + CUT),)
