from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Shell = Callable[[str], Any]


def test_the_target_of_a_healthy_board(shell: Shell) -> None:
    """The chain names the transistor that is off, the one that is on, and what feeds its base."""
    done = shell("why greenhouse_fan")
    assert done.code == 0
    for words in ("EN_BLOWER is 4.5", "Q1, which would pull it down, is off", "Q2 is on, because its base gets"):
        assert words in done.out


def test_fields(shell: Shell) -> None:
    """Programs get the same as people, and the sides of a node as volts behind ohms."""
    done = shell("why double_inversion WAKE_N --state asleep --json")
    fields = json.loads(done.out)
    assert fields["schema"] == 1
    assert (fields["node"], fields["state"], fields["level"]) == ("WAKE_N", "asleep", "high")
    up = fields["steps"][0]["up"]
    # R3, 10 kΩ from 5 V
    assert up["volts"] == pytest.approx(5, abs=0.01)
    assert up["ohms"] == pytest.approx(10e3, rel=0.01)
    assert [pull["part"] for pull in up["by"]] == ["R3"]


def test_a_fault_is_where_the_chain_ends(shell: Shell) -> None:
    """The via that broke is named, and mending it is among the changes that flip the target."""
    fields = json.loads(shell("why greenhouse_fan --fault VIA4:broken --json").out)
    assert fields["steps"][-1]["causes"][0]["fault"] == "VIA4:broken"
    assert any(change["part"] == "VIA4:broken" for flip in fields["flips"] for change in flip["changes"])
    assert fields["healthy_volts"] == pytest.approx(4.55, abs=0.05)


def test_deep_goes_on_to_the_supplies(shell: Shell) -> None:
    """A short chain stops at rails that are up, a deep one reaches the battery."""
    short = json.loads(shell("why greenhouse_fan --json").out)
    deep = json.loads(shell("why greenhouse_fan --deep --json").out)
    assert "V24" not in {step["node"] for step in short["steps"]}
    assert "V24" in {step["node"] for step in deep["steps"]}
    assert len(deep["steps"]) > len(short["steps"])


def test_an_open_collector_without_pull_up_floats(shell: Shell) -> None:
    """Nothing drives the wire, which is said, and that its volts are the model's fiction."""
    done = shell("why power_good_chain --fault R4:open")
    assert "floats" in done.out
    assert "1 nS" in done.out


def test_two_outputs_against_each_other_are_contended(tmp_path: Path, shell: Shell) -> None:
    """A high and a low output on one net: both sides below 1 kΩ with more than 1 mA between them."""
    path = tmp_path / "fight.yaml"
    path.write_text(
        """\
format: 1
title: Two gates on one net, invented for the tests
supplies:
  V: {volts: 3.3, ohms: 0.05}
power_states:
  on: {on: [V]}
parts:
  U1: {kind: buffer, pins: {A: V, Y: BUS, VCC: V, GND: GND}}
  U2: {kind: buffer, pins: {A: GND, Y: BUS, VCC: V, GND: GND}}
target: BUS
"""
    )
    fields = json.loads(shell(f"why {path} --json").out)
    assert fields["level"] == "contended"
    assert fields["steps"][0]["up"]["by"][0]["part"] == "U1"
    assert fields["steps"][0]["down"]["by"][0]["part"] == "U2"


def test_two_reasons_count_together(shell: Shell) -> None:
    """Signal and end switch both hold the wired-AND low: neither alone is the reason, and both have to change."""
    fields = json.loads(shell("why greenhouse_fan ARMED --state battery --json").out)
    causes = fields["steps"][0]["causes"]
    assert [(cause["from"], cause["together"]) for cause in causes] == [("START", True), ("FLAP", True)]
    outside = [flip["changes"] for flip in fields["flips"] if flip["changes"][0]["what"] in ("apply", "open")]
    assert [{change["part"] for change in changes} for changes in outside] == [{"START", "SW1"}]


def test_readings_find_the_break(shell: Shell) -> None:
    """The readings of the library's broken board: the break lies between the output and the resistor it feeds."""
    done = shell("why greenhouse_fan --readings greenhouse_fan.readings.yaml --json")
    if done.code:
        folder = Path(__file__).parents[2] / "circuits"
        done = shell(f"why greenhouse_fan --readings {folder / 'greenhouse_fan.readings.yaml'} --json")
    measured = json.loads(done.out)["measured"]
    assert [(each["place"], each["behind"], each["between"]) for each in measured["breaks"]] == [
        ("R8.1/pad", ["U5.Y/pad"], ["VIA4"])
    ]
    marks = {mark["place"]: mark for mark in measured["readings"]}
    assert marks["EN_BLOWER"]["follows"]
    assert marks["Q1_BASE"]["follows"]
    assert marks["U5.Y/pad"]["agrees"]
    assert measured["cautions"]


def test_readings_that_do_not_reach_the_break_ask_for_the_next_one(shell: Shell) -> None:
    """Where nothing behind a wrong reading was read, what it hangs on is named."""
    measured = json.loads(shell("why greenhouse_fan -r 'EN_BLOWER 0.01' -r 'Q1_BASE 0.68' --json").out)["measured"]
    assert measured["breaks"] == []
    assert measured["ask"] == ["Q2_BASE"]


def test_readings_of_a_healthy_board_agree(shell: Shell) -> None:
    """Nothing is said to be broken where nothing is."""
    done = shell("why greenhouse_fan -r 'EN_BLOWER 4.55' -r 'Q1_BASE 0.02' -r 'RUN high'")
    assert "Every reading is as on a healthy board" in done.out


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("why greenhouse_fan EN_BLOWR", "did you mean EN_BLOWER"),
        ("why greenhouse_fan --state runing", "did you mean running"),
        ("why greenhouse_fan --fault Q1:opn", "no fault"),
        ("why greenhouse_fan --fault R7:open --read 'EN_BLOWER 0'", "not both"),
    ],
)
def test_bad_input_is_one_sentence(shell: Shell, line: str, words: str) -> None:
    """Close matches are named, and nothing goes to standard output."""
    done = shell(line)
    assert (done.code, done.out) == (2, "")
    assert words in done.err
    assert len(done.err.strip().splitlines()) == 1


def test_ground_and_copper_can_be_asked_for(shell: Shell) -> None:
    """Ground is ground; copper stands for the net of its first end."""
    assert shell("why greenhouse_fan GND").code == 0
    assert "RUN is" in shell("why greenhouse_fan VIA4").out
