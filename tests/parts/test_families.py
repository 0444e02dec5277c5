"""Every kind of part keeps the contract of a family, whatever it is."""

from __future__ import annotations

import inspect
import re

import pytest
from single_part import NAME, network, part

from seqsim.parts import KINDS, PartError, Source
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
        assert mode.confirm
        assert mode.repair
        assert mode.severity is None or mode.severity.low < mode.severity.high


@pytest.mark.parametrize("kind", ALL)
def test_modes_can_be_applied(kind: str) -> None:
    """Every mode's patches fit the part's own network, at one severity and at several at once."""
    from seqsim.network import vary

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
