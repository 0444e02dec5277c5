"""From the facts of notes to a `Circuit`, through the reader of circuit files, whose checks hold."""

from __future__ import annotations

from collections.abc import Sequence

from seqsim.circuit.draft import Draft
from seqsim.circuit.model import Circuit
from seqsim.circuit.notes_beyond import upstream_doubts
from seqsim.circuit.notes_doubts import Apart, contact_doubts, copper_of, kind_doubts
from seqsim.circuit.notes_facts import (
    Absent,
    Contact,
    Extent,
    Fact,
    Read,
    Supplied,
)
from seqsim.circuit.notes_joined import Noted, kept_end, net_at, note
from seqsim.circuit.notes_line import parse_line
from seqsim.circuit.notes_tree import Tree, part_entries, written
from seqsim.circuit.reader import circuit_of
from seqsim.circuit.source import Items, Node, Text
from seqsim.errors import CircuitError
from seqsim.parts import UNKNOWN
from seqsim.parts.supply import ENTRY

POWERED = "powered"
"""The power state of notes that name none: all supplies are applied."""


def parse_notes(content: bytes | str, file: str | None = None) -> Circuit:
    """Return the circuit that a text of notes describes, with its doubts.

    Raises
    ------
    CircuitErrors
        If a line is not understood, or lines contradict each other; ``errors`` lists all.
    """
    text = content if isinstance(content, str) else content.decode("utf-8-sig", errors="replace")
    draft = Draft(file)
    facts = read_facts(draft, text.splitlines())
    return compile_noted(draft, note(draft, facts))


def read_facts(draft: Draft, lines: Sequence[str]) -> tuple[Fact, ...]:
    """Return the facts of all lines; what is not understood is noted as an error."""
    found: list[Fact] = []
    for number, line in enumerate(lines, start=1):
        try:
            found += parse_line(line, number)
        except CircuitError as error:
            draft.error(error.message, number, place=error.place, expected=error.expected, got=error.got)
    return tuple(found)


def compile_noted(draft: Draft, noted: Noted) -> Circuit:
    """Return the circuit of notes that were put together.

    Raises
    ------
    CircuitErrors
        If anything was wrong.
    """
    tree = tree_of(draft, noted)
    draft.finish()
    circuit = circuit_of(tree.root(), draft)
    apart = {
        line: Apart(tuple(terminal for end in ends if (terminal := _terminal(noted, tree, end)) in circuit.pins()), net)
        for line, (ends, net) in noted.moved.items()
    }
    kinds = kind_doubts(
        noted.parts,
        circuit,
        lambda part, option, pins: part_entries(part, option, pins, lambda end: net_at(noted, end)),
    )
    told = {net_at(noted, fact.end): fact.goes_on for fact in noted.facts if isinstance(fact, Extent)}
    upstream = upstream_doubts(circuit, told, _mentioned(noted, circuit))
    return circuit.model_copy(
        update={
            "aliases": _aliases(noted, circuit),
            "noted": _readings(noted, circuit),
            "assumed": tree.assumed,
            "doubts": (*kinds, *contact_doubts(noted.facts, apart), *upstream),
        }
    )


def tree_of(draft: Draft, noted: Noted) -> Tree:
    """Return notes as the tree of a circuit file, each doubtful part as what it most likely is."""
    tree = written(draft, noted.facts, noted.parts, noted.supplies, lambda end: net_at(noted, end), POWERED)
    for fact in noted.facts:
        if isinstance(fact, Absent) and fact.line in noted.moved:
            ends, _ = noted.moved[fact.line]
            cut = [t for end in ends if (t := _terminal(noted, tree, end))]
            mine, other = (fact.one, fact.other) if kept_end(noted, fact.one) in ends else (fact.other, fact.one)
            if not cut:
                continue
            touch = [t for end in (mine, other) if (t := _terminal(noted, tree, end))]
            entries: dict[str, Node] = {
                "net": Text(net_at(noted, fact.one), fact.line),
                "cuts_off": Items([Text(t, fact.line) for t in cut], fact.line),
            }
            if len(touch) == 2:
                entries["touch"] = Items([Text(t, fact.line) for t in touch], fact.line)
            tree.add("copper", copper_of(fact), entries, fact.line)
    return tree


def _readings(noted: Noted, circuit: Circuit) -> tuple[tuple[int, str], ...]:
    """Return the readings that were noted, contacts through copper and absent ones among them."""
    found = []
    for fact in noted.facts:
        match fact:
            case Read():
                found.append((fact.line, fact.reading))
            case Supplied() if set(fact.values) == {"volts"} and fact.values["volts"] != UNKNOWN:
                # volts alone were seen with the meter; with ohms or amps beside them they describe
                name = noted.joined.end(fact.name)
                states = [state.name for state in circuit.power_states.values() if name in state.on]
                if states:
                    found.append((fact.line, f"{net_at(noted, name)} {fact.values['volts']} @{states[-1]}"))
            case Contact(via=str(via), beeped=True) if via in circuit.copper:
                touch = circuit.copper[via].touch
                if not any(terminal.endswith(ENTRY) for terminal in touch):
                    found.append((fact.line, f"{touch[0]} to {touch[1]} beep"))
            case Absent() if copper_of(fact) in circuit.copper:
                touch = circuit.copper[copper_of(fact)].touch
                if not any(terminal.endswith(ENTRY) for terminal in touch):
                    found.append((fact.line, f"{touch[0]} to {touch[1]} OL"))
    return tuple(found)


def _terminal(noted: Noted, tree: Tree, end: str) -> str:
    """Return the terminal of the circuit that an end is; empty for a net, or a part that is only mentioned."""
    name, dot, pin = end.partition(".")
    part = noted.parts.get(name)
    if not dot or part is None or not part.options:
        return ""
    return f"{name}.{tree.pins.get(name, {}).get(part.pin(pin), pin)}"


def _aliases(noted: Noted, circuit: Circuit) -> dict[str, str]:
    """Return further names of nets, and pins of parts that are only mentioned."""
    nets = circuit.nets()
    found = {alias: net for alias, net in noted.aliases.items() if net in nets and alias not in nets}
    terminals = circuit.pins()
    for end, net in noted.net_of.items():
        if "." in end and "@" not in end and net in nets and end not in terminals:
            found.setdefault(end, net)
    return found


def _mentioned(noted: Noted, circuit: Circuit) -> dict[str, str]:
    """Return the nets on which a pin of a part lies that is only mentioned, with that pin."""
    found: dict[str, str] = {}
    for part in noted.parts.values():
        if part.name not in circuit.parts:
            for pin in part.pins:
                found.setdefault(net_at(noted, f"{part.name}.{pin}"), f"{part.name}.{pin}")
    return found
