"""From a netlist to the text of a circuit file, each entry with the line that it comes from."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from seqsim.circuit.draft import CircuitErrors
from seqsim.circuit.names import FORBIDDEN, suggest
from seqsim.circuit.reader import parse_circuit
from seqsim.circuit.source import MOST_BYTES
from seqsim.errors import CircuitError
from seqsim.netlist.cards import GROUND_NODES, Element, read_elements
from seqsim.netlist.describe import Described, describe
from seqsim.netlist.problems import Note, Problems
from seqsim.netlist.source import read_lines
from seqsim.network import GROUND

ONLY_STATE = "on"
"""Name of the power state in which all sources are applied, where the caller names none."""
_PLAIN = re.compile(r"[A-Za-z0-9_+][\w+#-]*")
LONGEST_SHOWN = 90


@dataclass(frozen=True, slots=True)
class Imported:
    """The text of a circuit file, and what of the netlist it says otherwise or leaves out."""

    text: str
    notes: tuple[Note, ...]


def import_netlist(
    path: str | Path, *, states: Mapping[str, Sequence[str]] | None = None, target: str | None = None
) -> Imported:
    """Return a netlist as a circuit file.

    Parameters
    ----------
    states
        The sources that each power state applies, by their names in the netlist; without it one state, `on`, applies
        all of them.
    target
        The node of the enable under investigation.

    Raises
    ------
    NetlistErrors
        If lines are not understood: each is named with what mends it.
    CircuitError
        If the file cannot be read, or ``states`` or ``target`` name what the netlist does not have.
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CircuitError(f"the netlist cannot be read ({reason}); check the path", file=str(path)) from None
    if len(content) > MOST_BYTES:
        raise CircuitError(f"the netlist is longer than {MOST_BYTES >> 10} KiB; import a part of it", file=str(path))
    return import_text(content.decode("utf-8", "replace"), str(path), states=states, target=target)


def import_text(
    content: str,
    file: str | None = None,
    *,
    states: Mapping[str, Sequence[str]] | None = None,
    target: str | None = None,
) -> Imported:
    """Return the text of a netlist as a circuit file; ``file`` names it in messages.  All else as `import_netlist`."""
    problems = Problems(file)
    title, lines = read_lines(content, problems)
    described: list[tuple[Element, Described]] = []
    seen: dict[str, int] = {}
    for element in read_elements(lines, problems):
        name = element.name.lower()
        if name in seen:
            problems.error(element.line, f"{element.name} stands twice (first on line {seen[name]}); rename one")
            continue
        seen[name] = element.line
        found = describe(element, problems)
        if found is not None:
            described.append((element, found))
    if not described and not problems.errors:
        problems.error(1, "the netlist has no elements; its first line is the title, elements begin on the second")
    problems.finish()
    return _written(title, file, described, problems, states, target)


class _Names:
    """Names of parts and nets: allowed in a circuit file, and each its own."""

    def __init__(self, parts: Iterable[str], problems: Problems) -> None:
        self._problems = problems
        self._taken: set[str] = set()
        self._nets: dict[str, str] = {}
        self.parts = {name: self._free(_allowed(name)) for name in parts}

    def net(self, node: str, line: int) -> str:
        """Return the name of the net of a node."""
        lower = node.lower()
        if lower in GROUND_NODES:
            return GROUND
        if lower not in self._nets:
            name = self._free(_allowed(node))
            if name != node:
                self._problems.note(line, f"node {node} is called {name} in the circuit file")
            self._nets[lower] = name
        return self._nets[lower]

    def known(self, node: str) -> str | None:
        """Return the name of a node's net if there is one."""
        return self._nets.get(node.lower())

    @property
    def nets(self) -> tuple[str, ...]:
        """Names of all nets."""
        return tuple(self._nets.values())

    def _free(self, name: str) -> str:
        if name.upper() == GROUND:
            name += "_"
        while name in self._taken:
            name += "_"
        self._taken.add(name)
        return name


def _allowed(name: str) -> str:
    signs = ("_" if sign in FORBIDDEN or sign.isspace() or not sign.isprintable() else sign for sign in name)
    return "".join(signs).replace("?", "_")


def _written(
    title: str,
    file: str | None,
    described: Sequence[tuple[Element, Described]],
    problems: Problems,
    states: Mapping[str, Sequence[str]] | None,
    target: str | None,
) -> Imported:
    names = _Names((element.name for element, _ in described), problems)
    lines: list[tuple[str, int | None]] = [
        (
            f"# Made from {Path(file).name if file else 'a netlist'} by `seqsim import`; each entry names its line.",
            None,
        ),
        ("# SPICE tells neither tolerances nor power states, copper and rails: add what you know.", None),
        ("format: 1", None),
        (f"title: {_quoted(title or 'a netlist')}", 1),
    ]
    supplies = {element.name: names.parts[element.name] for element, found in described if found.kind is None}
    entries: dict[str, list[tuple[str, int | None]]] = {"supplies": [], "parts": []}
    for element, found in described:
        nets = [names.net(node, element.line) for node in found.nodes]
        values = ", ".join(f"{key}: {_quoted(text)}" for key, text in found.values.items())
        if found.kind is None:
            section, entry = "supplies", f"{{{values}, net: {_quoted(nets[0])}}}"
        else:
            pins = ", ".join(_quoted(net) for net in nets)
            section, entry = "parts", f"{{kind: {found.kind}, {values}, pins: [{pins}]}}"
        name = _quoted(names.parts[element.name])
        entries[section].append((f"  {name}: {entry}  # {_origin(element, found)}", element.line))
    if entries["supplies"]:
        lines += [("supplies:", None), *entries["supplies"]]
        lines.append(("power_states:", None))
        for state, on in _states(states, supplies, file).items():
            lines.append((f"  {_quoted(state)}: {{on: [{', '.join(_quoted(name) for name in on)}]}}", None))
    if entries["parts"]:
        lines += [("parts:", None), *entries["parts"]]
    if target is not None:
        net = names.known(target)
        if net is None:
            raise CircuitError(
                f"the netlist has no node '{target}'{suggest(target, names.nets)}", file=file, got=target
            )
        lines.append((f"target: {_quoted(net)}", None))
    text = "\n".join(line for line, _ in lines) + "\n"
    _check(text, [number for _, number in lines], problems)
    return Imported(text, tuple(sorted(dict.fromkeys(problems.notes), key=lambda note: note.line)))


def _states(
    states: Mapping[str, Sequence[str]] | None, supplies: Mapping[str, str], file: str | None
) -> dict[str, list[str]]:
    if not states:
        return {ONLY_STATE: list(supplies.values())}
    by_lower = {name.lower(): written for name, written in supplies.items()}
    found = {}
    for state, sources in states.items():
        unknown = next((name for name in sources if name.lower() not in by_lower), None)
        if unknown is not None:
            message = f"power state {state} applies '{unknown}', which is no source of the netlist"
            raise CircuitError(message + suggest(unknown, supplies), file=file, got=unknown)
        found[state] = [by_lower[name.lower()] for name in sources]
    return found


def _origin(element: Element, found: Described) -> str:
    shown = "".join(sign if sign.isprintable() else "?" for sign in " ".join(element.text.split()))
    shown = shown if len(shown) <= LONGEST_SHOWN else f"{shown[:LONGEST_SHOWN]}..."
    model = f", model on line {element.model.line}" if element.model is not None else ""
    via = "".join(f", through line {line}" for line in reversed(element.via))
    remarks = "".join(f"; {remark}" for remark in found.remarks)
    return f"line {element.line}{via}: {shown}{model}{remarks}"


def _quoted(text: str) -> str:
    return (
        text
        if _PLAIN.fullmatch(text) or re.fullmatch(r"-?[\d.]+(e-?\d+)?\w?", text)
        else "'" + text.replace("'", "''") + "'"
    )


def _check(text: str, origin: Sequence[int | None], problems: Problems) -> None:
    """Let the circuit file be read as any other; what it refuses is told with the line of the netlist."""
    try:
        parse_circuit(text)
    except CircuitErrors as errors:
        for error in errors.errors:
            line = None if error.line is None else origin[error.line - 1]
            problems.error(line, error.message, got=error.got)
        problems.finish()
