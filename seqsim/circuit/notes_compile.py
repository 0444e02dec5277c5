"""From the facts of notes to a `Circuit`, through the reader of circuit files, whose checks hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from seqsim.circuit.draft import Draft
from seqsim.circuit.model import Circuit
from seqsim.circuit.notes_doubts import Apart, contact_doubts, copper_of, kind_doubts, upstream_doubts
from seqsim.circuit.notes_facts import (
    Absent,
    Contact,
    Extent,
    Fact,
    Ground,
    Named,
    PartNote,
    Read,
    Supplied,
    Target,
)
from seqsim.circuit.notes_line import parse_line
from seqsim.circuit.notes_nets import Joined, names_of
from seqsim.circuit.notes_parts import NotedPart, clash, noted_parts
from seqsim.circuit.notes_tree import Tree, part_entries, written
from seqsim.circuit.notes_words import ROLE_LETTERS
from seqsim.circuit.reader import circuit_of
from seqsim.circuit.source import Items, Node, Text
from seqsim.errors import CircuitError, QuantityError
from seqsim.network import GROUND
from seqsim.parts import UNKNOWN
from seqsim.parts.supply import ENTRY
from seqsim.quantity import Unit, parse_quantity

POWERED = "powered"
"""The power state of notes that name none: all supplies are applied."""
SAME_VOLTS = 0.03
"""Two notes of one supply agree within this share: two meters, two moments (our judgement)."""


@dataclass
class Noted:
    """All that was worked out from notes on the way to a circuit.

    ``moved`` gives, by line, the ends that lie apart if an absent contact was never there, and their net then.
    """

    facts: tuple[Fact, ...]
    parts: dict[str, NotedPart]
    joined: Joined
    supplies: dict[str, Supplied]
    net_of: dict[str, str] = field(default_factory=dict)
    aliases: dict[str, str] = field(default_factory=dict)
    moved: dict[int, tuple[tuple[str, ...], str]] = field(default_factory=dict)


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


def note(draft: Draft, facts: Sequence[Fact]) -> Noted:
    """Put facts together: parts, nets and their names, contradictions."""
    parts = noted_parts(draft, facts)
    joined = Joined()
    joined.add(GROUND)
    noted = Noted(tuple(facts), parts, joined, _supplies(draft, facts, joined))
    for fact in facts:
        _joins(noted, fact)
    for part in parts.values():
        for pin in part.pins:
            joined.add(f"{part.name}.{part.pin(pin)}")
    _one_net(draft, noted)
    noted.net_of, _ = _named(noted)
    _absent(draft, noted)
    noted.net_of, noted.aliases = _named(noted)
    return noted


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
            mine, other = (fact.one, fact.other) if _kept(noted, fact.one) in ends else (fact.other, fact.one)
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


def _named(noted: Noted) -> tuple[dict[str, str], dict[str, str]]:
    shown = {
        f"{part.name}.{part.pin(pin)}": f"{part.name}.{_letter(part, pin)}"
        for part in noted.parts.values()
        for pin in part.pins
    }
    fed = {noted.joined.end(supply.values.get("net", name)): supply for name, supply in noted.supplies.items()}
    return names_of(noted.joined, fed, shown)


def net_at(noted: Noted, end: str) -> str:
    """Return the net of an end; a name that no line put on a net stands for itself."""
    name, dot, pin = end.partition(".")
    if dot and name in noted.parts:
        end = f"{name}.{noted.parts[name].pin(pin)}"
    kept = noted.joined.end(end) if not dot else end
    return noted.net_of.get(kept, kept)


def _terminal(noted: Noted, tree: Tree, end: str) -> str:
    """Return the terminal of the circuit that an end is; empty for a net, or a part that is only mentioned."""
    name, dot, pin = end.partition(".")
    part = noted.parts.get(name)
    if not dot or part is None or not part.options:
        return ""
    return f"{name}.{tree.pins.get(name, {}).get(part.pin(pin), pin)}"


def _letter(part: NotedPart, pin: str) -> str:
    """Return a pin as a person would write it."""
    if pin.startswith("@"):
        return next((ROLE_LETTERS[o.kind][pin[1:]] for o in part.options if o.kind in ROLE_LETTERS), pin[1:])
    return pin


def _supplies(draft: Draft, facts: Sequence[Fact], joined: Joined) -> dict[str, Supplied]:
    """Return the supplies by name; a second note of one must agree."""
    found: dict[str, Supplied] = {}
    for fact in facts:
        if not isinstance(fact, Supplied):
            continue
        name = joined.end(fact.name)
        if name == GROUND:
            draft.error("GND is always 0 V; name another supply", fact.line, place=GROUND)
            continue
        before = found.get(name)
        if before is None:
            found[name] = fact
            continue
        one, other = before.values["volts"], fact.values["volts"]
        try:
            close = abs(parse_quantity(one, Unit.VOLT) - parse_quantity(other, Unit.VOLT)) <= SAME_VOLTS * abs(
                parse_quantity(one, Unit.VOLT)
            )
        except QuantityError:
            close = "?" in (one, other)
        if not close:
            clash(draft, fact, before, f"{name} is {one} or {other}", "keep the one that you measured last", name)
        values = {**before.values, **{key: text for key, text in fact.values.items() if text != "?"}}
        found[name] = Supplied(before.line, before.text, before.name, values)
    return found


def _joins(noted: Noted, fact: Fact) -> None:
    """Join the ends that a line makes one."""
    joined = noted.joined
    match fact:
        case PartNote():
            for pin, end in fact.pins.items():
                joined.join(_kept(noted, f"{fact.name}.{pin}"), _kept(noted, end), fact)
        case Contact():
            first, *others = (*fact.near, *fact.far)
            for other in others:
                joined.join(_kept(noted, first), _kept(noted, other), fact)
        case Absent():
            joined.add(_kept(noted, fact.one))
            joined.add(_kept(noted, fact.other))
        case Named():
            joined.join(_kept(noted, fact.end), fact.name, fact)
        case Ground():
            joined.join(GROUND, fact.name, fact)
        case Target() | Extent():
            joined.add(_kept(noted, fact.end))
        case Supplied():
            joined.add(fact.values.get("net", fact.name))


def _one_net(draft: Draft, noted: Noted) -> None:
    """Note supplies that contacts make one with each other, or with ground."""
    joined, supplies = noted.joined, noted.supplies
    fed = {name: joined.end(supply.values.get("net", name)) for name, supply in supplies.items()}
    names = [GROUND, *supplies]
    for k, one in enumerate(names):
        for other in names[k + 1 :]:
            first, second = fed.get(one, GROUND), fed[other]
            path = joined.path(first, second)
            if not path:
                continue
            last = max(path, key=lambda fact: fact.line)
            rest = [f" and line {fact.line}, '{fact.text}'," for fact in path if fact is not last][:3]
            what = "ground" if one == GROUND else f"supply {one} (line {supplies[one].line})"
            message = (
                f"'{last.text}'{''.join(rest)} make{'' if rest else 's'} {other} (line {supplies[other].line}, "
                f"'{supplies[other].text}') one with {what}; measure that contact again, or leave one line out"
            )
            draft.error(message, last.line, place=other)


def _absent(draft: Draft, noted: Noted) -> None:
    """Take contacts that are absent for broken ones, and note those that another line says are there."""
    fed = {GROUND, *(noted.joined.end(s.values.get("net", name)) for name, s in noted.supplies.items())}
    for fact in noted.facts:
        if not isinstance(fact, Absent):
            continue
        one, other = (noted.joined.end(_kept(noted, end)) for end in (fact.one, fact.other))
        path = noted.joined.path(one, other)
        if path or one == other:
            lines = ", ".join(str(each.line) for each in path)
            what = f"{fact.one} and {fact.other} beep{f' by lines {lines}' if len(path) > 1 else ''}, and do not"
            later, first = (
                (path[-1], fact) if path and path[-1].line > fact.line else (fact, path[-1] if path else fact)
            )
            clash(draft, later, first, what, "measure again and keep one", fact.one)
            continue
        sides = [next(net for net in noted.joined.nets() if end in net) for end in (one, other)]
        if all(fed & set(side) for side in sides):
            continue  # two supplies that do not touch are two nets, whatever was expected
        side = sides[0] if fed & set(sides[1]) else sides[1]
        net = noted.net_of[side[0]]
        noted.joined.join(one, other, fact)
        noted.moved[fact.line] = (tuple(side), net)
        merged, _ = _named(noted)
        if merged[one] == net:
            rest = sides[1] if side is sides[0] else sides[0]
            noted.moved[fact.line] = (tuple(rest), noted.net_of[rest[0]])


def _kept(noted: Noted, end: str) -> str:
    name, dot, pin = end.partition(".")
    return f"{name}.{noted.parts[name].pin(pin)}" if dot and name in noted.parts else end


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
