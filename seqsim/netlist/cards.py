"""Elements, models and subcircuits of a netlist, flattened: one `Element` for each part of the board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from seqsim.netlist.numbers import SpiceNumberError, spice_number
from seqsim.netlist.problems import Problems
from seqsim.netlist.source import Line

GROUND_NODES = ("0", "gnd")
NODES = {"R": 2, "C": 2, "L": 2, "D": 2, "V": 2, "I": 2, "Q": 3, "M": 4}
"""Nodes of the elements that have a part of their own; a fourth node of Q is its substrate."""
WITH_MODEL = "DQM"
MODEL_KINDS = {"D": ("D",), "Q": ("NPN", "PNP"), "M": ("NMOS", "PMOS")}
FOREIGN = {
    "A": "code model", "B": "source with an expression", "E": "voltage-controlled source",
    "F": "current-controlled source", "G": "voltage-controlled source", "H": "current-controlled source",
    "J": "junction FET", "K": "coupling of coils", "N": "code model", "O": "line", "P": "line", "S": "switch",
    "T": "line", "U": "line", "W": "switch", "Y": "line", "Z": "MESFET",
}  # fmt: skip
ANALYSES = frozenset(
    {
        ".ac",
        ".dc",
        ".disto",
        ".four",
        ".fourier",
        ".ic",
        ".meas",
        ".measure",
        ".nodeset",
        ".noise",
        ".op",
        ".option",
        ".options",
        ".plot",
        ".print",
        ".probe",
        ".pz",
        ".save",
        ".sens",
        ".step",
        ".temp",
        ".tf",
        ".tran",
        ".width",
    }
)
"""Lines that say what to compute and not what is on the board."""
DEEPEST = 20


@dataclass(frozen=True, slots=True)
class Model:
    """A `.model` line: its kind in capitals, parameters by name in capitals."""

    name: str
    kind: str
    parameters: Mapping[str, float]
    line: int


@dataclass(frozen=True, slots=True)
class Element:
    """An element with the nodes of the whole netlist; ``letter`` tells its kind, ``via`` the lines of X elements."""

    name: str
    letter: str
    line: int
    text: str
    nodes: tuple[str, ...]
    words: tuple[str, ...] = ()
    parameters: Mapping[str, str] = field(default_factory=dict)
    model: Model | None = None
    via: tuple[int, ...] = ()


@dataclass(slots=True, eq=False)
class Scope:
    """What one level of a netlist holds: the whole, or a subcircuit."""

    name: str
    line: int
    ports: tuple[str, ...] = ()
    lines: list[Line] = field(default_factory=list)
    models: dict[str, Model] = field(default_factory=dict)
    inner: dict[str, Scope] = field(default_factory=dict)


def read_elements(lines: list[Line], problems: Problems) -> list[Element]:
    """Return the elements of a netlist with its subcircuits flattened, and note all that is not understood."""
    outer = Scope("the netlist", 1)
    open_scopes = [outer]
    global_nodes: set[str] = set()
    for line in lines:
        word = line.words[0].lower()
        here = open_scopes[-1]
        if not word.startswith("."):
            here.lines.append(line)
        elif word == ".subckt":
            open_scopes.append(_subcircuit(line, here, problems))
        elif word == ".ends":
            if len(open_scopes) == 1:
                problems.error(line.number, ".ends closes no .subckt; remove it")
            else:
                open_scopes.pop()
        elif word == ".model":
            model = _model(line, problems)
            if model is not None:
                here.models[model.name.lower()] = model
        elif word == ".global":
            global_nodes.update(node.lower() for node in line.words[1:])
        elif word in ANALYSES:
            problems.note(line.number, f"{word} says what to compute, not what is on the board, and is left out")
        else:
            mend = "put its text in its place" if word in (".include", ".inc", ".lib") else "write its outcome instead"
            problems.error(line.number, f"{word} is not understood; {mend}", got=word)
    for scope in open_scopes[1:]:
        problems.error(scope.line, f".subckt {scope.name} is never closed; write .ends after its last line")
    return _Flattener(problems, frozenset(global_nodes)).elements(outer)


def _subcircuit(line: Line, here: Scope, problems: Problems) -> Scope:
    _, *words = line.words
    name = words[0] if words else ""
    ports = tuple(words[1:])
    if not name or any("=" in port or port.lower() == "params:" for port in ports):
        problems.error(
            line.number, ".subckt needs a name and nodes, and takes no parameters here; write numbers inside"
        )
        ports = tuple(port for port in ports if "=" not in port)
    scope = Scope(name, line.number, ports)
    if name.lower() in here.inner:
        first = here.inner[name.lower()].line
        problems.error(line.number, f".subckt {name} stands twice (first on line {first}); rename one")
    here.inner[name.lower()] = scope
    return scope


def _model(line: Line, problems: Problems) -> Model | None:
    words = Line(line.number, line.text.replace("(", " ").replace(")", " ")).words[1:]
    if len(words) < 2:
        problems.error(line.number, ".model needs a name and a kind, like `.model small NPN(IS=1e-14 BF=200)`")
        return None
    name, kind, *rest = words
    kind = kind.upper()
    if not any(kind in kinds for kinds in MODEL_KINDS.values()):
        known = ", ".join(kind for kinds in MODEL_KINDS.values() for kind in kinds)
        problems.error(
            line.number, f"model {name} is of kind {kind}, which has no part here; known are {known}", got=kind
        )
        return None
    found = {}
    for word in rest:
        key, equals, text = word.partition("=")
        if not equals:
            problems.error(line.number, f"'{word}' of model {name} has no value; write it like IS=1e-14", got=word)
            continue
        number = _number(text, line.number, f"{key} of model {name}", problems)
        if number is not None:
            found[key.upper()] = number
    return Model(name, kind, found, line.number)


def _number(text: str, line: int, what: str, problems: Problems) -> float | None:
    try:
        return spice_number(text)
    except SpiceNumberError as error:
        problems.error(line, f"{what}: {error}", got=text)
        return None


@dataclass(frozen=True, slots=True)
class _Flattener:
    problems: Problems
    global_nodes: frozenset[str]

    def elements(self, outer: Scope) -> list[Element]:
        return self._expand(outer, (outer,), {}, "", ())

    def _expand(
        self, scope: Scope, scopes: tuple[Scope, ...], nodes: Mapping[str, str], prefix: str, via: tuple[int, ...]
    ) -> list[Element]:
        found: list[Element] = []
        for line in scope.lines:
            letter = line.text[0].upper()
            if letter == "X":
                found += self._instance(line, scopes, nodes, prefix, via)
            elif letter in FOREIGN or letter not in NODES:
                what = FOREIGN.get(letter)
                problem = f"{line.words[0]} is a {what}, which has no part here" if what else "this line is no element"
                mend = "describe it in the circuit file (a black_box has conditions), and leave it out here"
                self.problems.error(line.number, f"{problem}; {mend}", got=line.text)
            else:
                element = self._element(line, scopes)
                if element is not None:
                    outside = tuple(self._node(node, nodes, prefix) for node in element.nodes)
                    found.append(replace(element, name=prefix + element.name, nodes=outside, via=via))
        return found

    def _node(self, node: str, nodes: Mapping[str, str], prefix: str) -> str:
        lower = node.lower()
        if lower in GROUND_NODES or lower in self.global_nodes:
            return node
        return nodes.get(lower, prefix + node)

    def _instance(
        self, line: Line, scopes: tuple[Scope, ...], nodes: Mapping[str, str], prefix: str, via: tuple[int, ...]
    ) -> list[Element]:
        name, *words = line.words
        if any("=" in word or word.lower() == "params:" for word in words) or len(words) < 2:
            message = f"{name} needs nodes and the name of a subcircuit, and takes no parameters here"
            self.problems.error(line.number, f"{message}; write the numbers inside the subcircuit", got=line.text)
            return []
        *given, called = words
        scope = next((at.inner[called.lower()] for at in reversed(scopes) if called.lower() in at.inner), None)
        if scope is None:
            self.problems.error(line.number, f"{name} calls {called}, but there is no .subckt of that name", got=called)
            return []
        if scope in scopes or len(via) >= DEEPEST:
            self.problems.error(line.number, f"{name} calls {called} inside itself; a board cannot hold itself")
            return []
        if len(given) != len(scope.ports):
            message = (
                f"{name} gives {len(given)} nodes, but .subckt {called} (line {scope.line}) has {len(scope.ports)}"
            )
            self.problems.error(line.number, f"{message}; make them equal", got=line.text)
            return []
        outside = {port.lower(): self._node(node, nodes, prefix) for port, node in zip(scope.ports, given, strict=True)}
        return self._expand(scope, (*scopes, scope), outside, f"{prefix}{name}_", (*via, line.number))

    def _element(self, line: Line, scopes: tuple[Scope, ...]) -> Element | None:
        text = line.text
        if text[0].upper() in "VI":
            text = text.replace("(", " ( ").replace(")", " ) ")
        name, *words = Line(line.number, text).words
        letter = name[0].upper()
        parameters = {}
        plain = []
        for word in words:
            key, equals, rest = word.partition("=")
            if equals:
                parameters[key.upper()] = rest
            else:
                plain.append(word)
        count = NODES[letter]
        model: Model | None = None
        if letter in WITH_MODEL:
            known = next((k for k, word in enumerate(plain) if k >= count and _known(word, scopes)), None)
            if known is None or known > count + (letter == "Q"):
                wanted = plain[count] if len(plain) > count else None
                problem = (
                    f"{name} has no model" if wanted is None else f"{name} has the model {wanted}, which is not here"
                )
                mend = f"write it as a .model of kind {' or '.join(MODEL_KINDS[letter])}"
                self.problems.error(line.number, f"{problem}; {mend}", got=wanted)
                return None
            model = _known(plain[known], scopes)
            if model is None or model.kind not in MODEL_KINDS[letter]:
                kind = "" if model is None else model.kind
                message = f"{name} has a model of kind {kind}, but needs {' or '.join(MODEL_KINDS[letter])}"
                self.problems.error(line.number, f"{message}; name another model", got=plain[known])
                return None
            if known > count:
                self.problems.note(line.number, f"{name}: its substrate {plain[count]} is left out")
            nodes, rest_words = plain[:count], plain[known + 1 :]
        else:
            nodes, rest_words = plain[:count], plain[count:]
        if len(nodes) < count or (letter in "RCLVI" and not rest_words and not parameters):
            needs = "a model" if letter in WITH_MODEL else "a value"
            self.problems.error(
                line.number, f"{name} needs {count} nodes and {needs}; complete the line", got=line.text
            )
            return None
        return Element(name, letter, line.number, line.text, tuple(nodes), tuple(rest_words), parameters, model)


def _known(name: str, scopes: tuple[Scope, ...]) -> Model | None:
    return next((scope.models[name.lower()] for scope in reversed(scopes) if name.lower() in scope.models), None)
