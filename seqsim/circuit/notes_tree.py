"""Notes written out as the tree of a circuit file, each piece with its line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from seqsim.circuit.draft import Draft
from seqsim.circuit.notes_facts import Contact, Fact, RailNote, StateNote, Supplied, Target, Words
from seqsim.circuit.notes_parts import NotedPart, clash, lone_value, pin_maps
from seqsim.circuit.notes_words import KindOption
from seqsim.circuit.source import Entries, Items, Node, Text
from seqsim.network import GROUND
from seqsim.parts import KINDS

NetOf = Callable[[str], str]


@dataclass
class Tree:
    """Sections of a circuit file in the making; ``pins`` maps for each part pins as kept to those of the file."""

    sections: dict[str, list[tuple[Text, Node]]] = field(default_factory=dict)
    plain: dict[str, Text] = field(default_factory=dict)
    pins: dict[str, Mapping[str, str]] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was taken for granted, in sentences."""
        return tuple(dict.fromkeys(self.said))

    def add(self, section: str, name: str, entries: Mapping[str, Node], line: int) -> None:
        """Add an item to a section."""
        node = Entries([(Text(key, value.line), value) for key, value in entries.items()], line)
        self.sections.setdefault(section, []).append((Text(name, line), node))

    def root(self) -> Entries:
        """Return the whole tree."""
        found: list[tuple[Text, Node]] = [(Text("format", 1), Text("1", 1))]
        found += [(Text(key, text.line), text) for key, text in self.plain.items() if key != "target"]
        order = ("supplies", "power_states", "parts", "copper", "rails")
        found += [(Text(key, 1), Entries(self.sections[key], 1)) for key in order if key in self.sections]
        if "target" in self.plain:
            found.append((Text("target", self.plain["target"].line), self.plain["target"]))
        return Entries(found, 1)


def written(
    draft: Draft,
    facts: Sequence[Fact],
    parts: Mapping[str, NotedPart],
    supplies: Mapping[str, Supplied],
    net_of: NetOf,
    powered: str,
) -> Tree:
    """Return the tree of notes, doubtful parts as what they most likely are."""
    tree = Tree()
    for name, supply in supplies.items():
        values = {key: Text(text, supply.line) for key, text in supply.values.items() if key != "net"}
        net = net_of(supply.values.get("net", name))
        tree.add("supplies", name, {**values, "net": Text(net, supply.line)}, supply.line)
    _states(draft, tree, facts, supplies, powered)
    for part in parts.values():
        if not part.options:
            continue
        option = part.options[0]
        pins = max(pin_maps(part, option), key=lambda item: item[2])[1]
        tree.pins[part.name] = pins
        tree.add("parts", part.name, part_entries(part, option, pins, net_of, tree), part.line)
    if "parts" not in tree.sections and not draft.errors:
        draft.error("the notes have no part yet; write one, like R12 10k 1=V5", 1)
    for fact in facts:
        if isinstance(fact, Contact) and (fact.via is not None or _seen(fact, parts)):
            _copper(draft, tree, parts, fact, net_of)
    _singles(draft, tree, facts, net_of)
    return tree


def part_entries(
    part: NotedPart, option: KindOption, pins: Mapping[str, str], net_of: NetOf, tree: Tree | None = None
) -> dict[str, Node]:
    """Return a part as the entries of a circuit file, if it is of this kind with these pins."""
    line = part.line
    lone = lone_value(part, option)
    values = {**option.values, **lone, **part.values, **lone}
    lines = {key: part.said[key].line for key in values if key in part.said}
    nets = {pins.get(part.pin(pin), pins.get(pin, pin)): net_of(f"{part.name}.{pin}") for pin in part.pins}
    given = {**values, "pins": nets}
    with suppress(ValueError):  # what is wrong with the values is told by the reader
        family = KINDS[option.kind]
        names, optional = family.pins_for(given), family.optional_for(given)
        nets = {(names[int(p) - 1] if _number(p, names) else p): net for p, net in nets.items()}
        for pin in names:
            if pin in nets or pin in optional:
                continue
            if pin == "GND":
                nets[pin] = GROUND
                if tree is not None:
                    tree.said.append(f"{part.name}.GND lies on GND")
            else:
                nets[pin] = f"{part.name}_{_loose(part, pin, pins)}"
    entries: dict[str, Node] = {"kind": Text(option.kind, line)}
    for key, text in values.items():
        at = lines.get(key, line)
        several = "," in text
        entries[key] = Items([Text(item, at) for item in text.split(",")], at) if several else Text(text, at)
    numbered = [pins[str(k)] for k in range(1, len(nets) + 1) if str(k) in pins and pins[str(k)] in nets]
    if len(numbered) == len(nets) > 2:
        entries["pin_order"] = Items([Text(pin, line) for pin in numbered], line)
    told = {pins.get(part.pin(pin), pins.get(pin, pin)): part.said[f"pin {pin}"].line for pin in part.pins}
    items = [(Text(pin, told.get(pin, line)), Text(net, told.get(pin, line))) for pin, net in nets.items()]
    entries["pins"] = Entries([*items], line)
    return entries


def _loose(part: NotedPart, pin: str, pins: Mapping[str, str]) -> str:
    """Return the name of a pin that no line mentions: the same whatever a doubtful part turns out to be."""
    if len(part.options) == 1 and part.known_order() is not None:
        return pin
    kept = [key for key, letter in pins.items() if letter == pin]
    numbers = [key for key in kept if key.isdecimal()]
    if any(key.isdecimal() for key in part.pins) and numbers:
        return numbers[0]
    return next((key.removeprefix("@") for key in kept if key.startswith("@") and len(part.options) > 1), pin)


def _number(pin: str, names: Sequence[str]) -> bool:
    return pin.isdecimal() and pin not in names and 1 <= int(pin) <= len(names)


def _states(draft: Draft, tree: Tree, facts: Sequence[Fact], supplies: Mapping[str, Supplied], powered: str) -> None:
    seen: dict[str, StateNote] = {}
    for fact in facts:
        if not isinstance(fact, StateNote):
            continue
        if fact.name in seen:
            clash(draft, fact, seen[fact.name], f"power state {fact.name} is described twice", "keep one", fact.name)
            continue
        seen[fact.name] = fact
        spelt = {name.casefold(): name for name in supplies}
        on: Node = Items([Text(spelt.get(name.casefold(), name), fact.line) for name in fact.on], fact.line)
        entries: dict[str, Node] = {"on": on}
        entries |= {key: Text(text, fact.line) for key, text in fact.times.items()}
        if fact.switches:
            items: list[tuple[Text, Node]] = [
                (Text(name, fact.line), Text(word, fact.line)) for name, word in fact.switches.items()
            ]
            entries["switches"] = Entries(items, fact.line)
        tree.add("power_states", fact.name, entries, fact.line)
    if not seen and supplies:
        tree.add("power_states", powered, {"on": Items([Text(name, 1) for name in supplies], 1)}, 1)


def _seen(fact: Contact, parts: Mapping[str, NotedPart]) -> bool:
    """Tell whether a contact was only seen, so that its copper may be broken."""
    name, dot, _ = fact.far[0].partition(".")
    return not fact.beeped and len(fact.far) == 1 and bool(dot) and bool(parts[name].options)


def _copper(draft: Draft, tree: Tree, parts: Mapping[str, NotedPart], fact: Contact, net_of: NetOf) -> None:
    order = (fact.near, fact.far) if fact.beeped or fact.via else (fact.far, fact.near)
    sides = [side for side in order if all("." in end for end in side)]
    if not sides:
        message = f"which pins does {fact.via} cut off? write it like R1.2 = Q1.B via {fact.via}"
        draft.error(message, fact.line, place=fact.via)
        return
    for side in order:
        unknown = [end for end in side if "." in end and not parts[end.partition(".")[0]].options]
        if unknown and len(unknown) == len(side):
            # without a part on its far side a break of this copper is one more thing that may be wrong beyond
            tree.said.append(
                f"{fact.via} leads on to {unknown[0]}, which is not described yet: a break of it is beyond"
            )
            return
    cut = sides[0]
    other = next((end for end in (fact.far if cut is fact.near else fact.near) if "." in end), None)

    def terminal(end: str) -> str:
        name, _, pin = end.partition(".")
        return f"{name}.{tree.pins.get(name, {}).get(parts[name].pin(pin), pin)}" if name in parts else end

    items = [Text(terminal(end), fact.line) for end in cut]
    entries: dict[str, Node] = {"net": Text(net_of(cut[0]), fact.line), "cuts_off": Items([*items], fact.line)}
    if other is not None:
        entries["touch"] = Items([items[0], Text(terminal(other), fact.line)], fact.line)
    tree.add("copper", fact.via or f"{fact.near[0]}-{fact.far[0]}".replace(".", "_"), entries, fact.line)


def _singles(draft: Draft, tree: Tree, facts: Sequence[Fact], net_of: NetOf) -> None:
    """Write what stands once: title, description, target; and the rails."""
    target: Target | None = None
    about: list[str] = []
    for fact in facts:
        match fact:
            case Words(key="title"):
                tree.plain["title"] = Text(fact.words, fact.line)
            case Words():
                about.append(fact.words)
                tree.plain["about"] = Text("\n".join(about), fact.line)
            case Target():
                if target is not None and net_of(target.end) != net_of(fact.end):
                    clash(draft, fact, target, f"the target is {target.end} or {fact.end}", "keep one", fact.end)
                    continue
                target = fact
                tree.plain["target"] = Text(net_of(fact.end), fact.line)
            case RailNote():
                entries: dict[str, Node] = {"volts": Text(fact.volts, fact.line)}
                if fact.within is not None:
                    entries["within"] = Text(fact.within, fact.line)
                tree.add("rails", net_of(fact.net), entries, fact.line)
