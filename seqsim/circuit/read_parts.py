"""Parts, supplies and device types of a circuit file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from seqsim.circuit.draft import Draft, Entry
from seqsim.circuit.names import name_fault, suggest
from seqsim.circuit.refusals import refusals, takes_several
from seqsim.circuit.source import Entries, Items, Node, Text
from seqsim.network import GROUND
from seqsim.parts import KINDS, UNKNOWN, Part, Supply
from seqsim.quantity import Unit

Data = TypeVar("Data", bound=BaseModel)

OWN_KEYS = ("kind", "pins", "model", "package", "spread", "pin_order")
"""Keys of every part; the rest are the values of its family."""
SECTIONS = "ABCDEFGH"
"""What tells the sections of a package apart."""
_INNER_FIELDS = frozenset({"name", "unknown", "net", *OWN_KEYS})


@dataclass(frozen=True, slots=True)
class FileModel:
    """A device type of the file: values over a built-in one, each with its line; ``spread`` likewise."""

    name: str
    root: str | None
    values: Mapping[str, Entry]
    line: int


@dataclass(slots=True)
class Parts:
    """What was read: good parts, and the nets of all pins, those of faulty parts included."""

    parts: dict[str, Part]
    pins: dict[str, str]
    faulty: set[str]
    unused_models: tuple[str, ...]


def plain(node: Node) -> Any:
    """Return a node as texts, lists and dicts (of a duplicate key, the first)."""
    if isinstance(node, Text):
        return node.text
    if isinstance(node, Items):
        return [plain(item) for item in node.items]
    return {key.text: plain(value) for key, value in reversed(node.entries)}


def read_supplies(draft: Draft, node: Node) -> dict[str, Supply]:
    """Return the supplies that have no error."""
    found = {}
    for name, entry in draft.named(node, "supplies").items():
        draft.lines[f"supplies/{name}"] = entry.line
        allowed = ("net", *_value_keys(Supply, frozenset({"name", "net", "unknown"})))
        values = draft.entries(entry.node, f"supply {name}", allowed)
        data: dict[str, Any] = {"name": name}
        for key, value in values.items():
            data[key] = plain(value.node)
            if key == "net":
                net = draft.text(value.node, f"net of supply {name}")
                if net is None or not draft.good_name(net, value.line):
                    del data[key]
        supply = build(draft, Supply, data, name, entry.line, values)
        if supply is not None:
            found[name] = supply
    return found


def read_models(draft: Draft, node: Node) -> dict[str, FileModel]:
    """Return the device types of the file, each reduced to a built-in type (or none) and its own values."""
    built_in = {name for cls in KINDS.values() for name in cls.models}
    given = {
        name: entry for name, entry in draft.named(node, "models").items() if _is_new(draft, name, entry, built_in)
    }
    raw = {name: draft.entries(entry.node, f"model {name}") for name, entry in given.items()}
    found = {}
    for name, entry in given.items():
        draft.lines[f"models/{name}"] = entry.line
        values: dict[str, Entry] = {}
        root: str | None = name
        seen = []
        while root is not None and root in raw:
            seen.append(root)
            values = {key: value for key, value in raw[root].items() if key != "from"} | values
            origin = raw[root].get("from")
            root = None if origin is None else draft.text(origin.node, f"from of model {root}")
            if root in seen:
                draft.error(f"model {name} is made from itself; name a built-in model after `from:`", entry.line)
                root = None
            elif origin is not None and root is not None and root not in raw and root not in built_in:
                message = f"model {name} is made from '{root}', which is no model{suggest(root, (*built_in, *raw))}"
                draft.error(message, origin.line, got=root)
                root = None
        known = {
            key
            for cls in KINDS.values()
            if root is None or root in cls.models
            for key in (*_value_keys(cls, _INNER_FIELDS), "spread")
        }
        for key in list(values):
            if key not in known:
                draft.error(f"model {name} has no key '{key}'{suggest(key, known)}", values[key].line, got=key)
                del values[key]
        found[name] = FileModel(name, root, values, entry.line)
    return found


def _is_new(draft: Draft, name: str, entry: Entry, built_in: Collection[str]) -> bool:
    if name in built_in:
        draft.error(f"'{name}' is a built-in model; give yours another name", entry.line, place=name)
    return name not in built_in


def read_parts(draft: Draft, node: Node, models: Mapping[str, FileModel]) -> Parts:
    """Return the parts, and the pins of all parts."""
    result = Parts({}, {}, set(), ())
    used: set[str] = set()
    for name, entry in _sections(draft, draft.named(node, "parts")).items():
        draft.lines[f"parts/{name}"] = entry.line
        before = len(draft.errors)
        part = _read_part(draft, name, entry, models, used, result.pins)
        if part is not None and len(draft.errors) == before:
            result.parts[name] = part
        else:
            result.faulty.add(name)
    result.unused_models = tuple(name for name in models if name not in used)
    return result


def _sections(draft: Draft, parts: Mapping[str, Entry]) -> dict[str, Entry]:
    """Return the parts with each package that lists the pins of several sections taken apart: U7 becomes U7A, U7B.

    All sections have the values of the package, and share its joints and its fate.
    """
    found: dict[str, Entry] = {}
    for name, entry in parts.items():
        pins = _pins_of_sections(entry.node)
        if not pins or not isinstance(entry.node, Entries):
            found[name] = entry
            continue
        shared = [(key, value) for key, value in entry.node.entries if key.text != "pins"]
        if all(key.text != "package" for key, _ in shared):
            shared.append((Text("package", entry.line), Text(name, entry.line)))
        if len(pins) > len(SECTIONS):
            draft.error(f"part {name} lists {len(pins)} sections; a package has at most {len(SECTIONS)}", entry.line)
        for letter, section in zip(SECTIONS, pins, strict=False):
            at = section.line
            if name + letter in parts or name + letter in found:
                draft.error(
                    f"section {letter} of {name} would be called {name + letter}, as another part; rename one", at
                )
                continue
            found[name + letter] = Entry(at, Entries([*shared, (Text("pins", at), section)], at))
    return found


def _pins_of_sections(node: Node) -> list[Node]:
    """Return the pins of each section where a part lists several, else nothing."""
    if not isinstance(node, Entries):
        return []
    pins = next((value for key, value in node.entries if key.text == "pins"), None)
    several = isinstance(pins, Items) and pins.items and not any(isinstance(item, Text) for item in pins.items)
    return pins.items if several and isinstance(pins, Items) else []


def _read_part(
    draft: Draft, name: str, entry: Entry, models: Mapping[str, FileModel], used: set[str], pins: dict[str, str]
) -> Part | None:
    what = f"part {name}"
    values = draft.entries(entry.node, what)
    if not values:
        if isinstance(entry.node, Text | Entries):
            draft.error(f"{what} is empty; give it a kind and pins", entry.line, place=name)
        return None
    kind = values.pop("kind", None)
    cls = _kind(draft, what, entry, kind)
    if cls is None:
        if "pins" in values:
            loose = _loose_pins(values["pins"].node)
            pins.update({f"{name}.{pin}": net for pin, net in loose.items()})
        return None
    data: dict[str, Any] = {"name": name, "kind": draft.text(kind.node, what) if kind else None}
    keys = (*OWN_KEYS, *_value_keys(cls, _INNER_FIELDS))
    for key in list(values):
        if key not in keys:
            hint = "; put a space after the colon" if ":" in key else suggest(key, keys)
            draft.error(f"{what} ({data['kind']}) has no key '{key}'{hint}", values[key].line, place=name, got=key)
            del values[key]
    where = dict(values)
    spread = {}
    if "model" in values:
        model = draft.text(values.pop("model").node, f"model of {name}")
        spread = _apply_model(draft, name, cls, model, where["model"].line, models, used, data, where)
    shown_model = data.pop("shown_model", None)
    if "spread" in values:
        spread |= _spread(draft, what, cls, values.pop("spread").node)
    if spread:
        data["spread"] = spread
    order_entry = values.pop("pin_order", None)
    pins_entry = values.pop("pins", None)
    data |= {key: plain(value.node) for key, value in values.items() if not _left_unknown(cls, key, value.node)}
    if "package" in values and draft.text(values["package"].node, f"package of {name}") is None:
        del values["package"], data["package"]
    order = [] if order_entry is None else [item.text for item in draft.texts(order_entry.node, f"pin_order of {name}")]
    try:
        names, optional = _pin_names(cls, data, pins_entry)
    except ValueError as error:
        draft.error(f"{what}: {error}", entry.line if pins_entry is None else pins_entry.line, place=name)
        return None
    found: dict[str, str] = {}
    if pins_entry is None:
        draft.error(f"{what} has no pins; write `pins: [{', '.join(names)}]` with its nets", entry.line, place=name)
    else:
        found = read_pins(draft, name, pins_entry, names, optional, order)
    pins.update({f"{name}.{pin}": net for pin, net in found.items()})
    if order_entry is not None and _check_order(draft, name, order_entry.line, order, found):
        data["pin_order"] = tuple(order)
    # what is missing is told already; with something in its place the class still tells what else is wrong
    data["pins"] = found | {pin: GROUND for pin in names if pin not in found and pin not in optional}
    part = build(draft, cls, data, name, entry.line, where)
    return part if part is None or shown_model is None else part.model_copy(update={"model": shown_model})


def _kind(draft: Draft, what: str, entry: Entry, kind: Entry | None) -> type[Part] | None:
    if kind is None:
        draft.error(f"{what} has no kind; write one, like `kind: resistor`", entry.line)
        return None
    text = draft.text(kind.node, f"kind of {what}")
    if text is None:
        return None
    if text not in KINDS:
        draft.error(f"{what} has the unknown kind '{text}'{suggest(text, KINDS)}", kind.line, got=text)
        return None
    return KINDS[text]


def _loose_pins(node: Node) -> dict[str, str]:
    """Return pins as far as they can be told without knowing the part."""
    if isinstance(node, Items):
        return {str(i + 1): item.text for i, item in enumerate(node.items) if isinstance(item, Text)}
    if isinstance(node, Entries):
        return {key.text: value.text for key, value in node.entries if isinstance(value, Text)}
    return {}


def _pin_names(cls: type[Part], data: Mapping[str, Any], pins: Entry | None) -> tuple[tuple[str, ...], Collection[str]]:
    """Return the pins that a part with these values has, and which of them may be left out."""
    given = {key: value for key, value in data.items() if isinstance(value, str)}
    with suppress(ValueError):  # values that contradict each other are told when the part is built
        given = cls.base_values(given) | given
    if pins is not None and not isinstance(pins.node, Text):
        given["pins"] = plain(pins.node)
    return cls.pins_for(given), cls.optional_for(given)


def read_pins(
    draft: Draft, name: str, entry: Entry, names: tuple[str, ...], optional: Collection[str], order: list[str]
) -> dict[str, str]:
    """Return the net of each pin.

    A list gives the pins in the family's order: all of them, those that must be there, or the first ones if the
    rest may be left out. In a mapping a pin may have its number: its place in ``order`` if that is given, else in
    the family's order.
    """
    node = entry.node
    needed = [pin for pin in names if pin not in optional]
    found: dict[str, str] = {}
    if isinstance(node, Items):
        nets = draft.texts(node, f"pins of {name}")
        if len(nets) != len(node.items):
            return found
        listed = needed if len(nets) == len(needed) else list(names[: len(nets)])
        if len(nets) > len(names) or not set(needed) <= set(listed):
            wanted = " ".join(needed)
            if len(needed) != len(names):
                wanted += f", or with those that may be left out {' '.join(names)}"
            message = (
                f"part {name} has {len(nets)} pins in its list, but its pins are {wanted}; write `pins: {{PIN: NET}}`"
            )
            draft.error(message, entry.line, place=name, expected=wanted, got=str(len(nets)))
        for pin, item in zip(listed, nets, strict=False):
            if draft.good_name(item.text, item.line):
                found[pin] = item.text
        return found
    if not isinstance(node, Entries):
        message = f"pins of {name} must be a list of nets or a mapping of pins to nets, like `[A, B]`"
        draft.error(message, node.line, place=name)
        return found
    numbered = order or list(names)
    lines: dict[str, int] = {}
    for key, value in node.entries:
        pin = key.text
        if pin not in names and pin.isdecimal() and 1 <= int(pin) <= len(numbered):
            pin = numbered[int(pin) - 1]
        if name_fault(pin) is not None or pin not in names:
            hint = suggest(pin, [known for known in names if known != pin]) or f"; {name_fault(pin)}"
            draft.error(f"part {name} has no pin '{pin}'{hint}", key.line, place=name, got=pin)
            continue
        if isinstance(value, Items):
            message = f"pin {pin} of {name} is on two nets; give it one, and join nets by giving them one name"
            draft.error(message, value.line, place=f"{name}.{pin}")
            continue
        if pin in lines:
            message = f"pin {pin} of {name} is on two nets (first on line {lines[pin]}); leave one"
            draft.error(message, key.line, place=f"{name}.{pin}")
            continue
        lines[pin] = key.line
        net = draft.text(value, f"net of pin {name}.{pin}")
        if net is not None and draft.good_name(net, value.line):
            found[pin] = net
    missing = [pin for pin in needed if pin not in lines]
    if missing:
        which = "pins" if len(missing) > 1 else "pin"
        draft.error(f"part {name} lacks its {which} {', '.join(missing)}; name the net of each", entry.line, place=name)
    return found


def _check_order(draft: Draft, name: str, line: int, order: list[str], pins: Mapping[str, str]) -> bool:
    for pin in order:
        if pin not in pins:
            message = f"pin_order of {name} names '{pin}', which is no connected pin{suggest(pin, pins)}"
            draft.error(message, line, place=name, got=pin)
            return False
    if len(set(order)) != len(order) or len(order) != len(pins):
        message = f"pin_order of {name} must name each connected pin once: {', '.join(pins)}"
        draft.error(message, line, place=name)
        return False
    return True


def _apply_model(
    draft: Draft, name: str, cls: type[Part], model: str | None, line: int, models: Mapping[str, FileModel],
    used: set[str], data: dict[str, Any], where: dict[str, Entry],
) -> dict[str, float]:  # fmt: skip
    """Put a model's values into ``data`` and return its spreads."""
    if model is None:
        return {}
    if model not in models:
        if model in cls.models:
            data["model"] = model
        else:
            known = (*cls.models, *models)
            kind = data["kind"]
            message = f"part {name} has model '{model}', which is no model of kind {kind}{suggest(model, known)}"
            draft.error(message, line, place=name, got=model)
        return {}
    used.add(model)
    file_model = models[model]
    if file_model.root is not None and file_model.root not in cls.models:
        message = f"part {name} has model '{model}', made from {file_model.root}, which is no model of its kind"
        draft.error(message + suggest(file_model.root, cls.models), line, place=name, got=model)
        return {}
    data["model"] = file_model.root
    data["shown_model"] = model
    spread: dict[str, float] = {}
    for key, value in file_model.values.items():
        if key == "spread":
            spread = _spread(draft, f"model {model}", cls, value.node)
        elif key not in cls.model_fields:
            draft.error(f"model {model} has '{key}', which part {name} does not have; remove it", value.line)
        elif not _left_unknown(cls, key, value.node):
            data[key] = plain(value.node)
            where.setdefault(key, value)
    return spread


def _left_unknown(cls: type[Part], key: str, node: Node) -> bool:
    """Tell whether a word such as `family` is written `?`: it stays at its default."""
    return isinstance(node, Text) and node.text == UNKNOWN and key not in cls.values()


def _spread(draft: Draft, what: str, cls: type[Part], node: Node) -> dict[str, float]:
    known = cls.values()
    found = {}
    for key, entry in draft.entries(node, f"spread of {what}", tuple(known)).items():
        unit = known[key].unit if known[key].absolute else Unit.SHARE
        number = draft.quantity(entry.node, f"spread of {key}", unit)
        if number is not None:
            found[key] = number
    return found


def _value_keys(cls: type[BaseModel], without: Collection[str]) -> tuple[str, ...]:
    return tuple(key for key in cls.model_fields if key not in without)


def build(
    draft: Draft, cls: type[Data], data: Mapping[str, Any], name: str, line: int, where: Mapping[str, Entry]
) -> Data | None:
    """Return the object, or note one sentence for each value that it refuses."""
    what = f"{'supply' if cls is Supply else 'part'} {name}"
    shaped = True
    for key, value in data.items():
        if key not in where or key in OWN_KEYS or not isinstance(value, list | dict):
            continue
        several = takes_several(cls.model_fields[key].annotation)
        items = value if isinstance(value, list) else value.values()
        if not several or not all(isinstance(item, str) for item in items):
            form = "a plain list" if several else "one value, not a list or mapping"
            draft.error(f"{what}: {key} must be {form}", where[key].line, place=name)
            shaped = False
    if not shaped:
        return None
    try:
        return cls.model_validate(dict(data))
    except ValidationError as error:
        for refusal in refusals(error, cls):
            key = refusal.key or ""
            at = where[key].line if key in where else line
            got = data.get(key)
            sentence = refusal.sentence
            message = sentence if what in sentence else f"{what}: {sentence}"
            draft.error(message, at, place=name, got=got if isinstance(got, str) else None)
    return None
