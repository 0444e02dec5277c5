"""The library of circuits: what each file says of a healthy board is what the model gives."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from seqsim.circuit import OFF, Circuit, compile_network, read_circuit, state_gates
from seqsim.faults import find_fault, single_faults
from seqsim.readings import Probe, measurement, read_readings
from seqsim.results.checked import check_board, healthy_levels
from seqsim.sequence import power_up
from seqsim.solver import Levels, Steadiness, solve, thevenin_ohms

FOLDER = Path(__file__).parents[2] / "circuits"
FILES = sorted(path for path in FOLDER.glob("*.yaml") if not path.name.endswith(".readings.yaml"))
NAMES = [path.stem for path in FILES]
BROKEN = sorted(path.name.removesuffix(".readings.yaml") for path in FOLDER.glob("*.readings.yaml"))
"""Circuits with a file of readings of a broken one."""
SIZES = {"beehive_scale": 15, "greenhouse_fan": 30, "organ_blower": 60, "cheese_cellar": 120}
"""About how many parts the boards of the library have that are meant for a repair."""

FLOATING_OHMS = 10e6
"""A net with more Thevenin resistance than this is said to float."""
MOST_TITLE = 72
"""Letters of a title that fit on the line of `seqsim list`, 120 columns wide."""
DROP_OK = 0.05
"""Volts that a figure in the text may leave out: it is rounded, and tells not of leads and contacts."""


@pytest.fixture(scope="module", params=NAMES)
def circuit(request: pytest.FixtureRequest) -> Circuit:
    """Each circuit of the library."""
    return read_circuit(FOLDER / f"{request.param}.yaml")


def name_of(circuit: Circuit) -> str:
    """Return the library name of a circuit."""
    return Path(circuit.file or "").stem


@cache
def walk(name: str) -> dict[str, Levels]:
    """Return the levels of each power state, each begun from the one before."""
    return healthy_levels(read_circuit(FOLDER / f"{name}.yaml"))


def test_library_is_complete() -> None:
    """At least twelve single stages, four chains and four boards."""
    levels = Counter(read_circuit(path).level for path in FILES)
    assert levels["stage"] >= 12
    assert levels["chain"] >= 4
    assert levels["board"] >= 4


def test_checks_clean(circuit: Circuit) -> None:
    """Nothing in the library is suspicious, and each healthy level that a file states is what the model gives."""
    assert check_board(name_of(circuit), circuit).warnings == ()


def test_tells_its_story(circuit: Circuit) -> None:
    """Each file says that it is invented, what it shows, what to break, and what to beware of."""
    assert len(circuit.title) <= MOST_TITLE
    for word in ("Invented scenario:", "What it shows:", "Faults worth trying:", "Cautions:"):
        assert word in circuit.about, word


def test_says_what_a_healthy_board_reads(circuit: Circuit) -> None:
    """Each power state has its healthy levels, the target's among them, and most of them say why."""
    assert [*circuit.healthy] == [state for state in circuit.power_states if state != OFF]
    told = [expected for levels in circuit.healthy.values() for expected in levels.values()]
    assert all(circuit.target in levels for levels in circuit.healthy.values())
    assert sum(bool(expected.reason) for expected in told) >= len(told) / 3


def test_arithmetic_of_the_healthy_levels(circuit: Circuit) -> None:
    """Where a reason is a sum, it gives the figure that it stands beside, within one percent."""
    for state, levels in circuit.healthy.items():
        for net, expected in levels.items():
            if expected.reason.startswith("="):
                middle = (expected.low + expected.high) / 2
                assert worked_out(expected.reason[1:]) == pytest.approx(middle, rel=0.01), (state, net)


def worked_out(text: str) -> float:
    """Return the value of a sum of quantities: + - * / and parentheses, quantities as on the bench."""
    quantity = re.compile(r"(?<![\w.])(\d[\d.]*)\s*([pnumkM]?)(?:[VA])?(?![\w.])")
    scale = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
    plain = quantity.sub(lambda found: repr(float(found[1]) * scale[found[2]]), text)
    assert re.fullmatch(r"[\d.e+\-*/() ]+", plain), text
    return float(eval(plain, {"__builtins__": {}}))  # noqa: S307 - digits and signs alone, of our own files


def test_figures_in_the_text(circuit: Circuit) -> None:
    """A figure behind the name of a net, in the paragraph of a power state, is the level that it has there."""
    levels = walk(name_of(circuit))
    nets = "|".join(re.escape(net) for net in sorted(circuit.nets(), key=len, reverse=True))
    figure = re.compile(rf"(?<![\w.])({nets}) (?:is |at |reads |sits at )?(\d[\d.]*) V(?=[,;.:)]| by | \(|$)")
    for state in levels:
        paragraph = rf"^{re.escape(state)}\b.*?:(.*?)(?=^\w+( \(.*\))?:|^$|\Z)"
        found = re.search(paragraph, circuit.about, re.MULTILINE | re.DOTALL)
        for net, volts in figure.findall(" ".join(found[1].split())) if found else ():
            margin = max(0.02 * float(volts), DROP_OK)
            assert levels[state].at(net) == pytest.approx(float(volts), abs=margin), (state, net)


def test_healthy_is_steady_and_driven(circuit: Circuit) -> None:
    """A healthy board is steady in each state, and once something is applied every net of it is driven."""
    for state, levels in walk(name_of(circuit)).items():
        assert levels.steadiness is Steadiness.STEADY, state
        if state != OFF:
            floating = [net for net in circuit.nets() if thevenin_ohms(levels, net) > FLOATING_OHMS]
            assert floating == [], state


def test_faults_worth_trying_exist(circuit: Circuit) -> None:
    """Two or more faults are proposed, and the board has each of them."""
    paragraph = circuit.about.split("Faults worth trying:")[1].split("\n\n")[0]
    named = re.findall(r"(?<![\w.])([A-Z]\w*(?:\.\w+)?:[^(),.;]+?)(?= \(| or |[,.;])", " ".join(paragraph.split()))
    assert len(named) >= 2
    faults = single_faults(circuit)
    for text in named:
        find_fault(circuit, text, faults)


@pytest.mark.parametrize("name", SIZES)
def test_boards_come_up(name: str) -> None:
    """In the last state every rail of a board is within its window."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    levels = [*walk(name).values()][-1]
    for net, rail in circuit.rails.items():
        assert levels.at(net) == pytest.approx(rail.volts, rel=rail.within), net


def test_rails_read_their_ohms(circuit: Circuit) -> None:
    """A meter on each rail of a healthy board without power shows what the file calls usual."""
    network = compile_network(circuit)
    for net, rail in circuit.rails.items():
        assert rail.ohms is not None, net
        ohms = measurement(circuit, Probe(kind="ohms", place=net, state=OFF))
        levels = solve(network, ohms.patches, state_gates(circuit, OFF))
        low, high = rail.ohms
        assert low <= float(ohms.convert(levels.at(ohms.plus) - levels.at(ohms.minus))) <= high, net


@pytest.mark.parametrize(("name", "parts"), SIZES.items())
def test_boards_have_their_size(name: str, parts: int) -> None:
    """About 15, 30, 60 and 120 parts, copper that can break, and at least two power states beyond off."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    assert parts * 0.9 <= len(circuit.parts) <= parts * 1.25
    assert len(circuit.copper) >= 4
    assert len(circuit.power_states) >= 3


@pytest.mark.parametrize("name", [name for name in NAMES if read_circuit(FOLDER / f"{name}.yaml").rules])
def test_rules_hold(name: str) -> None:
    """Where a file has rules of power-up, a healthy board keeps them all, and each rail comes up."""
    result = power_up(name, read_circuit(FOLDER / f"{name}.yaml"), draws=0)
    assert result.first_missing is None
    assert [rule.rule for rule in result.rules if not rule.holds] == []


def test_the_largest_board() -> None:
    """Eight rails, power states off, standby and running, rules, and nearly every kind of part that decides."""
    circuit = read_circuit(FOLDER / "cheese_cellar.yaml")
    assert len(circuit.rails) == 8
    assert list(circuit.power_states) == [OFF, "standby", "running"]
    assert len(circuit.rules) >= 8
    assert {part.kind for part in circuit.parts.values()} >= {
        "and", "not", "npn", "pnp", "npn_prebiased", "nmos", "pmos", "comparator", "supervisor", "regulator",
        "load_switch", "optocoupler", "black_box", "connector", "switch", "diode", "fuse", "ferrite", "load",
    }  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_readings_parse(name: str) -> None:
    """Each file has six to ten readings of a broken board, power off and on, and a healthy board contradicts them."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    readings = read_readings(circuit, FOLDER / f"{name}.readings.yaml").readings
    assert 6 <= len(readings) <= 10
    assert {"volts", "ohms"} <= {reading.kind for reading in readings}
    assert len({reading.state for reading in readings}) >= 3
    target = next(reading for reading in readings if reading.place == circuit.target)
    expected = circuit.healthy[target.state][target.place]
    assert not expected.low <= float(str(target.value)) <= expected.high
