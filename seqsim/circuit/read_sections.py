"""Power states, copper, rails and probe points of a circuit file."""

from __future__ import annotations

from typing import Any

from seqsim.circuit.draft import Draft, Entry
from seqsim.circuit.known import Known, read_net
from seqsim.circuit.model import OFF, UP_WITHIN, Copper, PowerState, ProbePoint, Rail
from seqsim.circuit.names import suggest
from seqsim.circuit.places import Places
from seqsim.circuit.source import Items, Node, Text
from seqsim.errors import UnknownPlaceError
from seqsim.parts import Part
from seqsim.parts.supply import ENTRY
from seqsim.quantity import Unit

SWITCH_WORDS = ("closed", "open", "on", "off", "fitted", "removed", "pressed", "released")
MOST_SECONDS = 1e6
MOST_VOLTS = 1e4


def read_states(draft: Draft, node: Node, known: Known) -> dict[str, PowerState]:
    """Return the power states, `off` first."""
    found = {OFF: PowerState(name=OFF)}
    for name, entry in draft.named(node, "power_states").items():
        what = f"power state {name}"
        draft.lines[f"power_states/{name}"] = entry.line
        if name.lower() == OFF:
            message = "power state off is always there, always first and always empty; remove it from the file"
            draft.error(message, entry.line, place=name)
            continue
        keys = draft.entries(entry.node, what, ("on", "after", "ramp", "switches"))
        data: dict[str, Any] = {"name": name}
        if "on" in keys:
            on = draft.texts(keys["on"].node, f"on of {what}")
            for item in on:
                if item.text not in known.supply_names:
                    hint = suggest(item.text, known.supply_names)
                    draft.error(f"{what} applies '{item.text}', which is no supply{hint}", item.line, got=item.text)
            data["on"] = tuple(dict.fromkeys(item.text for item in on))
        for key in ("after", "ramp"):
            if key in keys:
                data[key] = draft.quantity(keys[key].node, f"{key} of {what}", Unit.SECOND, most=MOST_SECONDS)
        if "switches" in keys:
            data["closed"] = _switches(draft, keys["switches"], what, known)
        found[name] = PowerState(**data)
    return found


def _switches(draft: Draft, entry: Entry, what: str, known: Known) -> dict[str, bool]:
    movable = [name for name, part in known.parts.items() if has_contact(part)]
    found = {}
    for name, value in draft.entries(entry.node, f"switches of {what}").items():
        if name in known.faulty:
            continue
        if name not in movable:
            is_what = "which is no switch, button or jumper" if name in known.parts else "which is no part"
            draft.error(f"{what} sets '{name}', {is_what}{suggest(name, movable)}", value.line, place=name, got=name)
            continue
        word = draft.choice(value.node, f"switch {name} in {what}", SWITCH_WORDS)
        if word is not None:
            found[name] = _conducts(known.parts[name], word)
    return found


def has_contact(part: Part) -> bool:
    """Tell whether a part has a contact that a power state can open and close."""
    return "closed" in type(part).model_fields


def _conducts(part: Part, word: str) -> bool:
    """Tell whether a contact conducts; pressing turns over how the contact rests."""
    rests_closed = bool(getattr(part, "closed", False))
    if word in ("pressed", "released"):
        return rests_closed != (word == "pressed")
    return word in ("closed", "on", "fitted")


def read_copper(draft: Draft, node: Node, known: Known) -> dict[str, Copper]:
    """Return the copper that can break."""
    found = {}
    for name, entry in draft.named(node, "copper").items():
        draft.lines[f"copper/{name}"] = entry.line
        clash = name in known.parts or name in known.supply_names or name in known.nets
        if clash:
            draft.error(f"copper {name} has the name of a part, net or supply; rename it", entry.line, place=name)
        copper = _read_copper(draft, name, entry, known)
        if copper is not None and not clash:
            found[name] = copper
    return found


def _read_copper(draft: Draft, name: str, entry: Entry, known: Known) -> Copper | None:
    what = f"copper {name}"
    keys = draft.entries(entry.node, what, ("net", "cuts_off", "touch"))
    for key in ("net", "cuts_off"):
        if key not in keys:
            meaning = "the net that it belongs to" if key == "net" else "the pins that it cuts off when it breaks"
            draft.error(f"{what} has no {key}; name {meaning}", entry.line, place=name)
    if "net" not in keys or "cuts_off" not in keys:
        return None
    net = read_net(draft, keys["net"].node, f"net of {what}", known)
    if net is None:
        return None
    cut = _on_net(draft, keys["cuts_off"], f"cuts_off of {what}", net, known)
    if cut is None:
        return None
    rest = [pin for pin in known.nets[net] if pin not in cut]
    if not cut:
        draft.error(f"cuts_off of {what} is empty; list the pins on one side of the break", keys["cuts_off"].line)
        return None
    if not rest:
        message = f"{what} cuts off every pin of {net}, so nothing is left on the other side; list one side only"
        draft.error(message, keys["cuts_off"].line, place=name)
        return None
    touch = (cut[0], rest[0])
    if "touch" in keys:
        points = _on_net(draft, keys["touch"], f"touch of {what}", net, known)
        if points is None:
            return None
        if len(points) != 2 or (points[0] in cut) == (points[1] in cut):
            message = f"touch of {what} must name two points of {net}, one of them in cuts_off and one not"
            draft.error(message, keys["touch"].line, place=name)
            return None
        touch = (points[0], points[1]) if points[0] in cut else (points[1], points[0])
    return Copper(name=name, net=net, cuts_off=tuple(cut), touch=touch)


def _on_net(draft: Draft, entry: Entry, what: str, net: str, known: Known) -> list[str] | None:
    """Return the terminals of a list that must lie on a net; None after an error."""
    here = known.nets[net]
    found: list[str] = []
    good = True
    for item in draft.texts(entry.node, what):
        pin = item.text + ENTRY if item.text in known.supply_names else known.places.pin(item.text) or item.text
        if pin not in known.pins:
            good = False
            if not known.concerns_faulty(pin):
                hint = suggest(item.text, [at.removesuffix(ENTRY) for at in here])
                draft.error(
                    f"{what} names '{item.text}', which is no pin of this board{hint}", item.line, got=item.text
                )
        elif known.pins[pin] != net:
            good = False
            hint = suggest(item.text, [at.removesuffix(ENTRY) for at in here])
            message = f"{what} names {item.text}, which lies on {known.pins[pin]} and not on {net}{hint}"
            draft.error(message, item.line, place=item.text)
        elif pin in found:
            good = False
            draft.error(f"{what} names {item.text} twice; remove one", item.line, place=item.text)
        else:
            found.append(pin)
    return found if good else None


def read_rails(draft: Draft, node: Node, known: Known) -> dict[str, Rail]:
    """Return the rails in the order in which they should come up."""
    found = {}
    for name, entry in draft.entries(node, "rails").items():
        what = f"rail {name}"
        draft.lines[f"rails/{name}"] = entry.line
        net = read_net(draft, Text(name, entry.line), "a rail", known, ground=False)
        keys = draft.entries(entry.node, what, ("volts", "within", "ohms"))
        if "volts" not in keys:
            draft.error(f"{what} has no volts; write what it should reach, like `volts: 5`", entry.line, place=name)
            continue
        volts = draft.quantity(
            keys["volts"].node, f"volts of {what}", Unit.VOLT, least=-MOST_VOLTS, most=MOST_VOLTS
        )  # fmt: skip
        if volts == 0:
            draft.error(f"volts of {what} are 0, so it could never come up; write what it should reach", entry.line)
        within: float | None = UP_WITHIN
        if "within" in keys:
            within = draft.quantity(keys["within"].node, f"within of {what}", Unit.SHARE, most=1)
        ohms = None
        if "ohms" in keys:
            ohms = _ohms(draft, keys["ohms"].node, f"ohms of {what}")
        if net is not None and volts and within is not None:
            found[net] = Rail(net=net, volts=volts, within=within, ohms=ohms)
    return found


def _ohms(draft: Draft, node: Node, what: str) -> tuple[float, float] | None:
    if isinstance(node, Items):
        return draft.span(node, what, Unit.OHM)
    single = draft.quantity(node, what, Unit.OHM)
    return None if single is None else (single, single)


def read_probe_points(draft: Draft, node: Node, known: Known, places: Places) -> dict[str, ProbePoint]:
    """Return what is said of places to probe."""
    found: dict[str, ProbePoint] = {}
    for name, entry in draft.entries(node, "probe_points").items():
        what = f"probe point {name}"
        draft.lines[f"probe_points/{name}"] = entry.line
        keys = draft.entries(entry.node, what, ("seconds", "hidden", "note"))
        data: dict[str, Any] = {}
        if "seconds" in keys:
            seconds = draft.quantity(keys["seconds"].node, f"seconds of {what}", Unit.SECOND, most=MOST_SECONDS)
            data |= {} if seconds is None else {"seconds": seconds}
        if "hidden" in keys:
            hidden = draft.flag(keys["hidden"].node, f"hidden of {what}")
            data |= {} if hidden is None else {"hidden": hidden}
        if "note" in keys:
            data["note"] = draft.text(keys["note"].node, f"note of {what}") or ""
        try:
            place = places.resolve(name)
        except UnknownPlaceError as error:
            if not known.concerns_faulty(name):
                draft.error(f"{what}: {error.message}", entry.line, place=name, got=name)
            continue
        if place.name in found:
            draft.error(f"{what} means {place.name}, which has an entry already; leave one", entry.line, place=name)
            continue
        draft.lines[f"probe_points/{place.name}"] = entry.line
        found[place.name] = ProbePoint(place=place.name, **data)
    return found
