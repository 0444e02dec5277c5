"""What a fact of notes changes in the text of a circuit file, or why it is none for such a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from seqsim.circuit.draft import Draft
from seqsim.circuit.file_text import FileText
from seqsim.circuit.model import OFF, Circuit
from seqsim.circuit.notes_ends import primary
from seqsim.circuit.notes_facts import (
    Absent,
    Contact,
    Extent,
    Fact,
    Ground,
    Named,
    PartNote,
    RailNote,
    Read,
    StateNote,
    Supplied,
    Target,
    Words,
)
from seqsim.circuit.notes_parts import ROLE, ends_of, noted_parts, pin_maps
from seqsim.circuit.notes_tree import part_entries
from seqsim.circuit.notes_words import LETTERS, letters_of
from seqsim.circuit.places import resolve_place
from seqsim.circuit.source import Entries, Items, Node, Text
from seqsim.errors import CircuitError
from seqsim.network import GROUND

REFUSED: dict[type[Fact], str] = {
    Absent: "a circuit file has only contacts that are there; take it as a reading, like 'R12.2 to Q7.1 continuity OL'",
    Extent: "a circuit file is taken to be all there; keep what is not traced yet in notes",
    Ground: "grounds of a circuit file are nets of their own behind isolation; edit `grounds:` of the file",
    Read: "a circuit file holds no readings; give it to `seqsim rank` with --read, or put it into a file of readings",
    Words: "this is a longer text; edit it in the file",
}
"""Why a kind of fact is none for a circuit file."""


def edited(text: str, circuit: Circuit, fact: Fact) -> tuple[str, str]:
    """Return the text of a circuit file with a fact put in, and what was changed, in words; empty if it said so before.

    Raises
    ------
    CircuitError
        If the fact is none for a circuit file, or contradicts what stands there.
    """
    if any(ROLE in end for end in ends_of(fact)):
        raise CircuitError(
            "a stage in one line is for notes; write its parts one by one, like Q3 npn B=R8.2 C=EN E=gnd"
        )
    edit = _Edit(text, circuit)
    match fact:
        case PartNote():
            edit.part(fact)
        case Contact():
            edit.contact(fact)
        case Named():
            edit.contact(Contact(fact.line, fact.text, (fact.end,), (fact.name,)))
        case Supplied():
            edit.supply(fact)
        case StateNote():
            edit.state(fact)
        case RailNote():
            edit.rail(fact)
        case Target():
            edit.put((), "target", edit.net(fact.end))
        case Words(key="title"):
            edit.put((), "title", fact.words)
        case _:
            raise CircuitError(REFUSED[type(fact)])
    return edit.text, "; ".join(edit.told)


class _Edit(FileText):
    """One fact while it is put into a file."""

    def part(self, fact: PartNote) -> None:
        """Add a part, or put values and nets to one that stands in the file."""
        name = next((each for each in self.circuit.parts if each.casefold() == fact.name.casefold()), None)
        if fact.doubt or (fact.package is not None and not fact.package_sure):
            message = f"a circuit file holds what is certain; write {fact.name} ? for its value, or keep notes"
            raise CircuitError(message, place=fact.name)
        if name is None:
            self.new_part(fact)
            return
        kind = self.circuit.parts[name].kind
        given = fact.guess is not None and fact.guess is not LETTERS.get(letters_of(fact.name) or "")
        if given and fact.guess is not None and (not fact.guess.sure or fact.guess.options[0].kind != kind):
            line = self.circuit.line("parts", name)
            raise CircuitError(f"{name} is a {kind} on line {line} of the file; change its kind there", place=name)
        values = dict(fact.values)
        if fact.value is not None:
            key = primary(kind, fact.value)
            if key is None:
                raise CircuitError(f"'{fact.value}' is no value of {name}, which is a {kind}", place=name)
            values[key] = fact.value
        for key, value in values.items():
            self.put(("parts", name), key, value)
        for pin, end in fact.pins.items():
            terminal = resolve_place(self.circuit, f"{name}.{pin}").points[0]
            self.move(terminal, self.known_net(end) or end)

    def new_part(self, fact: PartNote) -> None:
        """Add a part, which has to be known with its pins."""
        name, draft = fact.name, Draft(None)
        part = noted_parts(draft, (replace(fact, pins=dict.fromkeys(fact.pins, GROUND)),))[name]
        draft.finish()
        if len(part.options) != 1:
            known = ", ".join(option.label for option in part.options)
            what = f"may be {known}" if known else "may be anything"
            message = f"{name} {what}; a circuit file holds what is certain, so write its kind, or keep notes"
            raise CircuitError(message, place=name)
        ways = pin_maps(part, part.options[0])
        if len(ways) != 1:
            message = f"which leg of {name} is which? name its package or letters, like {name} npn B=R12.2 E=gnd C=EN"
            raise CircuitError(message, place=name)
        nets = {f"{name}.{pin}": self.known_net(end) or end for pin, end in fact.pins.items()}
        entries = part_entries(part, part.options[0], ways[0][1], lambda pin: nets[pin])
        self.put(("parts",), name, Entries([(Text(key, 0), value) for key, value in entries.items()], 0))

    def contact(self, fact: Contact) -> None:
        """Make ends one net where one of them lies on nothing else yet, and add the copper between them."""
        ends = (*fact.near, *fact.far)
        nets = {end: self.known_net(end) for end in ends}
        known = list(dict.fromkeys(net for net in nets.values() if net is not None))
        fresh = list(dict.fromkeys(end for end, net in nets.items() if net is None))
        if not known or len(fresh) > 1:
            raise CircuitError(f"there is no net {' or '.join(fresh)} in the file; name a pin of it", place=fresh[0])
        kept = min(known, key=lambda net: (not self.fed(net), -len(self.pins(net))))
        for net in known:
            if net != kept:
                self.joined(net, kept, by_name=all("." not in end for end in ends))
        if fresh:
            if self.fed(kept):
                raise CircuitError(f"{kept} keeps its name, that of a supply or ground", place=fresh[0])
            self.rename(kept, fresh[0])
            kept = fresh[0]
        if fact.via is not None:
            self.copper(fact, kept)

    def joined(self, net: str, kept: str, *, by_name: bool) -> None:
        """Put all of a net on another one."""
        if self.fed(net):
            raise CircuitError(f"{net} and {kept} are two supplies, or one and ground; measure again", place=net)
        if not by_name and len(self.pins(net)) > 1:
            message = (
                f"{net} ({', '.join(self.pins(net))}) and {kept} ({', '.join(self.pins(kept)[:4])}) are two nets of "
                f"the file; write {net} = {kept} if they are one, or name the part to move one pin, like R12 2={kept}"
            )
            raise CircuitError(message, place=net)
        self.rename(net, kept)

    def copper(self, fact: Contact, net: str) -> None:
        """Add copper between the ends of a contact."""
        name = fact.via or ""
        cut = next((side for side in (fact.near, fact.far) if all("." in end for end in side)), None)
        if cut is None:
            message = f"which pins does {name} cut off? write it like R1.2 = Q1.B via {name}"
            raise CircuitError(message, place=name)
        other = fact.far if cut is fact.near else fact.near
        touch = [cut[0], *(end for end in other if "." in end)][:2]
        texts = {key: [resolve_place(self.circuit, end).points[0] for end in ends] for key, ends in
                 (("cuts_off", cut), ("touch", touch)) if len(ends) > (key == "touch")}  # fmt: skip
        items: list[tuple[Text, Node]] = [(Text("net", 0), Text(net, 0))]
        items += [(Text(key, 0), _list(pins)) for key, pins in texts.items()]
        before = self.circuit.copper.get(name)
        if before is None:
            self.put(("copper",), name, Entries(items, 0))
        elif set(before.cuts_off) != set(texts["cuts_off"]) and set(before.touch) != set(texts.get("touch", ())):
            line = self.circuit.line("copper", name)
            raise CircuitError(f"{name} stands between other pins on line {line}; change it there", place=name)

    def supply(self, fact: Supplied) -> None:
        """Add a supply, or put values to one that stands in the file."""
        name = next((each for each in self.circuit.supplies if each.casefold() == fact.name.casefold()), None)
        values = dict(fact.values)
        if "net" in values:
            values["net"] = self.known_net(values["net"]) or values["net"]
        if name is not None:
            for key, value in values.items():
                self.put(("supplies", name), key, value)
            return
        self.put(("supplies",), fact.name, _mapping(values))
        states = [state for state in self.circuit.power_states if state != OFF]
        if states:
            on = " ".join((*self.circuit.power_states[states[-1]].on, fact.name))
            self.told[-1] += f" (no power state applies it yet; add it, like: state {states[-1]}: {on})"

    def state(self, fact: StateNote) -> None:
        """Add a power state, or change what one applies, how its switches stand, and its times."""
        spelt = {name.casefold(): name for name in (*self.circuit.supplies, *self.circuit.parts)}
        spelt |= {name.casefold(): name for name in self.circuit.power_states}
        name = spelt.get(fact.name.casefold(), fact.name)
        on = _list([spelt.get(each.casefold(), each) for each in fact.on])
        switches = {spelt.get(key.casefold(), key): word for key, word in fact.switches.items()}
        if name not in self.circuit.power_states:
            entries = [(Text("on", 0), on), *((Text(key, 0), Text(value, 0)) for key, value in fact.times.items())]
            if switches:
                entries.append((Text("switches", 0), _mapping(switches)))
            self.put(("power_states",), name, Entries([*entries], 0))
            return
        path = ("power_states", name)
        if fact.on:
            self.put(path, "on", on)
        for key, value in fact.times.items():
            self.put(path, key, value)
        for key, word in switches.items():
            self.put((*path, "switches"), key, word)

    def rail(self, fact: RailNote) -> None:
        """Add a rail, or change what it should reach."""
        net = self.net(fact.net)
        values = {"volts": fact.volts} | ({} if fact.within is None else {"within": fact.within})
        if net not in self.circuit.rails:
            self.put(("rails",), net, _mapping(values))
            return
        for key, value in values.items():
            self.put(("rails", net), key, value)


def _list(texts: Sequence[str]) -> Node:
    return Items([Text(text, 0) for text in texts], 0)


def _mapping(values: dict[str, str]) -> Entries:
    return Entries([(Text(key, 0), Text(value, 0)) for key, value in values.items()], 0)
