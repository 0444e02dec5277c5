"""From a circuit file to a `Circuit`; all that is wrong with a file is found in one pass."""

from __future__ import annotations

import re
from pathlib import Path
from typing import cast, get_args

from seqsim.circuit.draft import Draft, Entry
from seqsim.circuit.known import Known, read_net
from seqsim.circuit.model import Circuit, Level
from seqsim.circuit.places import Places
from seqsim.circuit.read_healthy import read_healthy
from seqsim.circuit.read_parts import read_models, read_parts, read_supplies
from seqsim.circuit.read_rules import read_rules
from seqsim.circuit.read_sections import read_copper, read_probe_points, read_rails, read_states
from seqsim.circuit.source import Entries, Text, parse_source, read_bytes
from seqsim.network import GROUND
from seqsim.parts.supply import ENTRY

FORMAT = "1"
LEVELS = get_args(Level)
NOTES_SUFFIX = ".notes"
KEYS = (
    "format", "title", "about", "level", "grounds", "supplies", "power_states", "parts", "copper", "rails", "target",
    "probe_points", "rules", "healthy", "models",
)  # fmt: skip


def read_circuit(path: str | Path) -> Circuit:
    """Return the circuit that a file describes, a circuit file or notes.

    Raises
    ------
    CircuitErrors
        If the file describes no circuit: its text is the first error, ``errors`` lists all.
    CircuitError
        If the file cannot be read or is no YAML.
    """
    content = read_bytes(Path(path))
    if is_notes(path, content):
        from seqsim.circuit.notes_compile import parse_notes

        return parse_notes(content, str(path))
    return parse_circuit(content, str(path))


def is_notes(path: str | Path, content: bytes = b"") -> bool:
    """Tell whether a file holds notes: by its name, or because it has no `format:` where its name is no YAML's."""
    suffix = Path(path).suffix.lower()
    if suffix in (NOTES_SUFFIX, ".yaml", ".yml"):
        return suffix == NOTES_SUFFIX
    return re.search(rb"^\s*[\"']?format[\"']?\s*:", content, re.MULTILINE) is None and b"{" not in content


def parse_circuit(content: bytes | str, file: str | None = None) -> Circuit:
    """Return the circuit that a text describes; ``file`` names it in messages.  Errors as in `read_circuit`."""
    return circuit_of(parse_source(content, file), Draft(file))


def circuit_of(root: Entries, draft: Draft) -> Circuit:
    """Return the circuit that a tree of a file describes; errors noted before count too."""
    keys = draft.entries(root, "the circuit file", KEYS)
    nothing = Entry(root.line, Text("", root.line))
    _check_format(draft, keys, root.line)
    grounds = _grounds(draft, keys.get("grounds"))
    supplies_entry = keys.get("supplies", nothing)
    supplies = read_supplies(draft, supplies_entry.node)
    models = read_models(draft, keys.get("models", nothing).node)
    parts = read_parts(draft, keys.get("parts", nothing).node, models)
    if "parts" not in keys:
        draft.error("the circuit file has no parts; write `parts:` with at least one part", root.line)
    names = frozenset(_names(supplies_entry))
    pins = {supply.name + ENTRY: supply.net for supply in supplies.values()} | parts.pins
    known = Known(supplies, names, parts.parts, frozenset(parts.faulty) | (names - set(supplies)), pins)
    _check_grounds(draft, grounds, known)
    _check_names(draft, known)
    copper = read_copper(draft, keys.get("copper", nothing).node, known)
    states = read_states(draft, keys.get("power_states", nothing).node, known)
    rails = read_rails(draft, keys.get("rails", nothing).node, known)
    target = None
    if "target" in keys:
        draft.lines["target"] = keys["target"].line
        target = read_net(draft, keys["target"].node, "target", known, ground=False)
    places = Places(pins, parts.parts, copper, tuple(item.text for item in grounds))
    probe_points = read_probe_points(draft, keys.get("probe_points", nothing).node, known, places)
    rules = read_rules(draft, keys.get("rules", nothing).node, known)
    healthy = read_healthy(draft, keys.get("healthy", nothing).node, states, known)
    level = draft.choice(keys["level"].node, "level", LEVELS) if "level" in keys else None
    title = _text(draft, keys, "title")
    about = _text(draft, keys, "about")
    draft.finish()
    return Circuit(
        title=title,
        about=about,
        level=cast("Level | None", level),
        file=draft.file,
        grounds=tuple(item.text for item in grounds),
        supplies=supplies,
        power_states=states,
        parts=parts.parts,
        copper=copper,
        rails=rails,
        target=target,
        probe_points=probe_points,
        rules=rules,
        healthy=healthy,
        unused_models=parts.unused_models,
        lines=draft.lines,
    )


def _text(draft: Draft, keys: dict[str, Entry], key: str) -> str:
    if key not in keys or keys[key].node == Text("", keys[key].node.line):
        return ""
    return (draft.text(keys[key].node, key) or "").strip()


def _names(entry: Entry) -> list[str]:
    return [key.text for key, _ in entry.node.entries] if isinstance(entry.node, Entries) else []


def _check_format(draft: Draft, keys: dict[str, Entry], line: int) -> None:
    if "format" not in keys:
        draft.error("the circuit file has no format; begin it with `format: 1`", line, expected="format: 1")
        return
    text = draft.text(keys["format"].node, "format")
    if text is not None and text != FORMAT:
        draft.error(f"format is '{text}', but this version reads format 1; write `format: 1`", keys["format"].line)


def _grounds(draft: Draft, entry: Entry | None) -> list[Text]:
    if entry is None:
        return [Text(GROUND, 0)]
    draft.lines["grounds"] = entry.line
    found: list[Text] = []
    for item in draft.texts(entry.node, "grounds"):
        if item.text in [ground.text for ground in found]:
            draft.error(f"grounds names {item.text} twice; remove one", item.line, got=item.text)
        elif draft.good_name(item.text, item.line):
            found.append(item)
    if not found or found[0].text != GROUND:
        message = (
            f"the first of grounds, on which the meter's black lead sits, must be {GROUND}; name that net {GROUND}"
        )
        draft.error(message, entry.line, expected=GROUND)
    return found or [Text(GROUND, entry.line)]


def _check_grounds(draft: Draft, grounds: list[Text], known: Known) -> None:
    for item in grounds[1:]:
        read_net(draft, item, "a ground", known)
    for supply in known.supplies.values():
        if supply.net == GROUND:
            message = f"supply {supply.name} lies on {GROUND}, which is always 0 V; name the net that it feeds"
            draft.error(message, draft.lines[f"supplies/{supply.name}"], place=supply.name)


def _check_names(draft: Draft, known: Known) -> None:
    for name in known.supply_names & (known.parts.keys() | known.faulty):
        if f"parts/{name}" in draft.lines:
            draft.error(f"'{name}' names a supply and a part; rename one", draft.lines[f"parts/{name}"], place=name)
    for name in (GROUND,):
        if f"parts/{name}" in draft.lines or f"supplies/{name}" in draft.lines:
            line = draft.lines.get(f"parts/{name}", draft.lines.get(f"supplies/{name}"))
            draft.error(f"'{name}' is the name of ground; rename the part or supply", line, place=name)
