"""Every kind of part keeps the contract of a family, whatever it is."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from any_part import parts_of
from described import DESCRIBED, board_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from single_part import NAME, currents, network, part

from seqsim.circuit import parse_circuit
from seqsim.drawing import draw_chain
from seqsim.network import vary
from seqsim.parts import KINDS, Part, PartError, Source, Standing
from seqsim.parts.chip import Chip
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

ALL = sorted(KINDS)
CARD = re.compile(r"[RCLDQMBEFGHVIXS]\S* |\.model ")


def test_kinds_are_all_concrete_families() -> None:
    """Every concrete class of the package with a kind is found, none by a list, and each is found once."""
    found = set(KINDS.values())
    assert not any(inspect.isabstract(family) for family in found)
    assert {"resistor", "capacitor", "inductor", "ferrite", "diode", "npn", "pnp", "nmos", "pmos"} <= set(KINDS)
    assert {"fuse", "jumper", "switch", "button", "load"} <= set(KINDS)


@pytest.mark.parametrize("kind", ALL)
def test_family_says_what_it_is(kind: str) -> None:
    """A family has a title, pins, a rate with its source, a symbol, and words for its class."""
    family = KINDS[kind]
    assert family.title
    assert family.__doc__
    assert part(kind).pins
    assert family.optional_pins <= set(family.pin_names)
    assert family.rate.relative > 0
    assert family.rate.source.text
    assert family.symbol.isidentifier()


@pytest.mark.parametrize("kind", ALL)
def test_values_have_unit_meaning_and_source(kind: str) -> None:
    """Every value says what it means, in which unit, and where its default and spread come from."""
    for name, known in KINDS[kind].values().items():
        assert isinstance(known.unit, Unit), name
        assert known.meaning, name
        assert known.source.text, name
        assert known.spread >= 0, name
        assert known.least < known.most, name


@pytest.mark.parametrize("kind", ALL)
def test_models_are_good_parts_with_sources(kind: str) -> None:
    """Every device type makes a part, lies within the limits of its values, and says where it comes from."""
    family = KINDS[kind]
    assert family.default_model is None or family.default_model in family.models
    for model, values in family.models.items():
        made = part(kind, model=model, **({"volts": 5.1} if values.get("type") == "zener" else {}))
        for name, number in values.items():
            assert getattr(made, name) == number
            known = family.values().get(name)
            assert known is None or known.least <= number <= known.most, (model, name)
        assert isinstance(family.model_sources[model], Source), model


@pytest.mark.parametrize("kind", ALL)
def test_modes_add_up_and_say_what_to_do(kind: str) -> None:
    """Shares add up to one; each mode has a name of its own, a source, a way to confirm it and a repair."""
    modes = part(kind).modes()
    assert len(modes) >= 1
    assert sum(mode.share for mode in modes) == pytest.approx(1, abs=1e-9)
    assert len({mode.name for mode in modes}) == len(modes)
    for mode in modes:
        assert 0 < mode.share <= 1
        assert mode.source.text
        assert isinstance(mode.source.standing, Standing)
        assert mode.confirm
        assert mode.repair
        assert mode.severity is None or mode.severity.low < mode.severity.high


@pytest.mark.parametrize("kind", ALL)
def test_modes_can_be_applied(kind: str) -> None:
    """Every mode's patches fit the part's own network, at one severity and at several at once."""
    what = part(kind)
    built = network(what)
    for mode in what.modes():
        if mode.severity is None:
            assert vary(built, mode.patches(1.0)).severities == 1
        else:
            points = mode.severity.points(3)
            assert vary(built, mode.patches(float(points[1]))).severities == 1
            assert vary(built, mode.patches(points)).severities == 3


@pytest.mark.parametrize("kind", ALL)
def test_knobs_have_names_and_something_to_turn(kind: str) -> None:
    """A family has knobs or says why not; each knob is named once, has a source and turns what exists."""
    built = network(part(kind))
    assert built.knobs or KINDS[kind].without_knobs
    roles = set(built.roles) | set(built.row_names)
    for (owner, name), knob in built.knobs.items():
        assert owner == NAME
        assert name
        assert knob.spread >= 0
        assert knob.neutral in (0, 1)
        assert knob.source
        assert all(turned.role in roles for turned in knob.turned), (name, knob.turned, roles)


@pytest.mark.parametrize("kind", ALL)
def test_roles_are_named_once(kind: str) -> None:
    """Each hinge of a part has a role of its own, so that a patch or a knob means one thing."""
    built = network(part(kind))
    assert len(set(built.roles)) == len(built.roles)


@pytest.mark.parametrize("kind", ALL)
def test_cards_are_complete(kind: str) -> None:
    """SPICE lines have no gaps: known letters, given nodes, plain numbers, and every model that is named."""
    what = part(kind)
    nodes = {pin: f"n{k + 1}" for k, pin in enumerate(what.pins)}
    cards = what.cards("7", Wiring(nodes))
    lines = [line for card in cards for line in card.splitlines()]
    assert lines
    models = {line.split()[1] for line in lines if line.startswith(".model")}
    used = set()
    for line in lines:
        assert CARD.match(line), line
        assert not re.search(r"\b(None|nan|inf|True|False)\b|\?|µ|Ω|\{|\}", line), line
        assert line.count("(") == line.count(")"), line
        words = line.split()
        if words[0][0] in "DQM":
            used.add(words[-1])
    assert used <= models
    assert len({line.split()[0] for line in lines if not line.startswith(".")}) == sum(
        not line.startswith(".") for line in lines
    )
    inside = {word for line in lines for word in re.findall(r"\bn\d+\b", line)}
    assert inside <= set(nodes.values())


def test_every_family_is_described() -> None:
    """Each kind has a line in `described.py`; a new one without it fails here, and so has no parser test."""
    assert DESCRIBED.keys() == KINDS.keys()


@pytest.mark.parametrize("kind", ALL)
def test_line_of_a_file_is_read(kind: str) -> None:
    """A line of a circuit file makes a part of that kind, with its values in SI units and its pins on their nets."""
    text, expected = DESCRIBED[kind]
    made = parse_circuit(board_of({kind: text})).parts["X1"]
    assert made.kind == kind
    assert isinstance(made, KINDS[kind])
    for name, value in expected.items():
        assert getattr(made, name) == (pytest.approx(value) if isinstance(value, float) else value), name
    assert set(made.pins.values()) <= set(re.findall(r"[A-Z0-9]+", text))


@cache
def laws() -> frozenset[str]:
    """Return the kinds that tests of this folder hold to a law: arguments of their `pytest.mark.law`."""
    return frozenset(kind for path in Path(__file__).parent.glob("test_*.py") for kind in _marked(path))


def _marked(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FunctionDef):
            continue
        for mark in node.decorator_list:
            if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.law":
                assert node.name.startswith("test_"), node.name
                yield from (str(ast.literal_eval(argument)) for argument in mark.args)


def test_every_family_has_a_law_test() -> None:
    """What a part does is held to a formula, a table or a data sheet by a test that says so."""
    assert laws() == KINDS.keys()


@cache
def pictured() -> frozenset[str]:
    """Return the kinds whose symbol stands in a picture of one part of each kind."""
    kinds = {kind: text for kind, (text, _) in DESCRIBED.items()}
    scene = draw_chain("parts", parse_circuit(board_of(kinds)), whole=True).scene
    drawn = {box.owner.removeprefix("part:") for box in scene.boxes if box.what == "symbol"}
    return frozenset(kind for k, kind in enumerate(kinds, start=1) if {f"X{k}"} <= drawn & set(scene.texts()))


@pytest.mark.parametrize("kind", ALL)
def test_symbol_is_drawn(kind: str) -> None:
    """A part of each kind has its symbol and its name in a picture."""
    assert kind in pictured()


@pytest.mark.parametrize("kind", ALL)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_any_part_keeps_the_contract(kind: str, data: st.DataObject) -> None:
    """Whatever its values: no current is lost in it, each mode fits, its shares add up, its SPICE lines are whole."""
    what = data.draw(parts_of(kind))
    built = network(what)
    assert sum(mode.share for mode in what.modes()) == pytest.approx(1, abs=1e-9)
    for mode in (*what.modes(), *what.misfits()):
        assert vary(built, mode.patches(1.0 if mode.severity is None else mode.severity.low)).severities == 1
    if not isinstance(what, Chip):
        drawn = currents(what, {pin: data.draw(st.floats(-9, 9)) for pin in what.pins})
        assert abs(sum(drawn.values())) <= 1e-9 * sum(map(abs, drawn.values())) + 1e-12
    lines = [
        line
        for card in what.cards("7", Wiring({pin: f"n{k + 1}" for k, pin in enumerate(what.pins)}))
        for line in card.splitlines()
    ]
    for line in lines:
        assert CARD.match(line), line
        assert not re.search(r"\b(None|nan|inf|True|False)\b", line), line


@pytest.mark.parametrize("kind", ALL)
def test_strategy_reaches_what_a_family_declares(kind: str) -> None:
    """Parts that are drawn differ: a value that the strategy cannot make shows here."""
    seen: dict[str, set[str]] = {}

    @settings(max_examples=60, deadline=None, database=None, derandomize=True)
    @given(what=parts_of(kind))
    def draw(what: Part) -> None:
        for name in KINDS[kind].values():
            seen.setdefault(name, set()).add(repr(getattr(what, name)))

    draw()
    assert all(len(values) > 1 for values in seen.values()), {name for name, them in seen.items() if len(them) == 1}


def test_every_family_has_a_line_in_the_documentation() -> None:
    """The table of parts in README.md names each kind."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    table = text.partition("| kind of part |")[2].partition("\n\n")[0]
    named = {kind for line in table.splitlines() for kind in re.findall(r"`(\w+)`", line.partition(" | ")[0])}
    assert named == KINDS.keys()


@pytest.mark.parametrize("kind", ALL)
def test_misfits_or_why_there_are_none(kind: str) -> None:
    """Each kind can be fitted wrongly (reversed, pins exchanged, wrong by ten), or says why that shows nowhere."""
    what = part(kind)
    usual = what.misfits()
    if isinstance(what, Chip):
        even = tuple(what.pins)[: len(what.pins) // 2 * 2]
        turnable = what.model_copy(update={"pins": {pin: pin for pin in even}, "pin_order": even})
        usual = (*usual, *turnable.misfits())
        assert "turned round" in {mode.name for mode in usual}
    assert bool(usual) != bool(KINDS[kind].without_misfits)
    for mode in usual:
        assert mode.confirm
        assert mode.repair
        assert mode.source.text


@pytest.mark.parametrize("kind", ["npn", "pnp", "npn_prebiased", "pnp_prebiased", "nmos", "pmos", "comparator", "not"])
def test_two_in_one_line(kind: str) -> None:
    """A package with two sections takes one line: a list of nets for each, parts with letters, one package."""
    nets = {"comparator": "NP, NM, NY, V5, GND", "not": "NA, NY, V5, GND"}.get(kind, "NB, NC, GND")
    parts = parse_circuit(board_of({kind: f"pins: [[{nets}], [{nets}]]"})).parts
    assert list(parts) == ["X1A", "X1B"]
    assert {made.package for made in parts.values()} == {"X1"}
    assert len({tuple(made.pins.items()) for made in parts.values()}) == 1


def test_wrong_values_are_told_in_one_sentence() -> None:
    """What a part refuses names the key that is at fault and how to mend it."""
    for kind, values, key, words in (
        ("diode", {"type": "zener"}, "volts", "needs its voltage"),
        ("diode", {"volts": "5.1V"}, "volts", "for Zener diodes"),
        ("diode", {"model": "schottky-small", "type": "led"}, "type", "leave one of them out"),
        ("diode", {"forward_volts": "0.7V", "saturation_amps": "1n"}, "saturation_amps", "not both"),
        ("nmos", {"on_ohms": "1R", "transconductance": "0.3"}, "transconductance", "not both"),
        ("nmos", {"threshold": "5V", "gate_drive": "4.5V"}, "gate_drive", "not above the threshold"),
        ("load", {"ohms": "1k", "amps": "1m"}, "amps", "not both"),
        ("resistor", {"ohms": "-4"}, "ohms", "between 0 Ω and 1 GΩ"),
        ("resistor", {"ohms": "1k", "spread": {"ohm": "3%"}}, "spread", "did you mean 'ohms'"),
        ("npn", {"pins": ["A", "B"]}, "pins", "has the pins B C E"),
        ("npn", {"pins": {"B": "X", "C": "Y", "W": "Z"}}, "pins", "no pin called 'W'"),
        ("npn", {"pins": {"B": "X", "C": "Y"}}, "pins", "pin E"),
    ):
        with pytest.raises(ValueError, match="error") as caught:
            part(kind, **values)
        cause = caught.value.errors()[0]["ctx"]["error"]  # type: ignore[attr-defined]
        assert isinstance(cause, PartError)
        assert cause.key == key
        assert words in str(cause)
        assert "\n" not in str(cause)
