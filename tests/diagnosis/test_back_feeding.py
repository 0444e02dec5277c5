"""Back-feeding: a rail that is off and held up through a chip's clamp, predicted and ranked."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.board import Board


def test_a_missing_pull_down_leaves_the_rail_up() -> None:
    """Without R2 the clamp's current meets 10 kΩ alone: (3.3 V - 0.65 V) * 10k / 14.75k is 1.8 V on a rail that is off.

    One clamp is taken for 0.65 V (common practice: a chip's pin reads 0.4 to 0.7 V in diode mode).
    """
    board = Board.load("back_fed_rail")
    volts = board.levels("down", faults="R2:open").to_dict()["nodes"]
    assert volts["VRAD"]["volts"] == pytest.approx((3.3 - 0.65) * 10 / 14.75, abs=0.1)
    assert volts["RXD"]["volts"] - volts["VRAD"]["volts"] == pytest.approx(0.65, abs=0.15)
    assert volts["RADIO_DOWN"]["volts"] < 0.1


def test_why_tells_the_way_of_the_current() -> None:
    """Pin, clamp, current and where it comes from: (3.3 V - 0.65 V) / 14.8 kΩ; without the clamp nothing is left."""
    why = Board.load("back_fed_rail").why("VRAD", "down", faults="R2:open")
    fed = why.to_dict()["steps"][0]["back_fed"]
    (way,) = fed["by"]
    assert (way["part"], way["pin"], way["diode"]) == ("LD1", "LD1.PIN", "clamp to rail")
    assert (way["from"], way["through"], way["source"]) == ("RXD", ["R1"], "TX")
    assert way["amps"] == pytest.approx((3.3 - 0.65) / 14.75e3, rel=0.05)
    assert fed["volts_otherwise"] == pytest.approx(0.0, abs=0.01)
    text = " ".join(str(why).split())
    assert "It is back-fed: 181 µA through the clamp of LD1.PIN, out of RXD" in text
    assert "which has it from TX through R1; otherwise it would be 0 V." in text


def test_a_rail_that_is_up_or_empty_is_not_back_fed() -> None:
    """With its switch on, or with the data line at 0 V, nothing of the kind is told."""
    board = Board.load("back_fed_rail")
    assert board.why("VRAD", "up").to_dict()["steps"][0]["back_fed"] is None
    assert board.why("VRAD", "down", faults="TX:stuck low").to_dict()["steps"][0]["back_fed"] is None


def test_an_unpowered_gate_feeds_its_supply(tmp_path: Path) -> None:
    """An HC gate has diodes to its supply: its input holds a dead rail 0.6 V below itself.

    That the diodes are there follows from the limiting values of 74HC00 (clamp current 20 mA, seen in a data sheet);
    the 0.6 V are from memory, not checked against the text.
    """
    text = """\
format: 1
title: A gate without its rail, invented for the tests
supplies: {LINE: {volts: 5, ohms: 1k}, V5: {volts: 5, ohms: 50m}}
power_states: {dead: {on: [LINE]}, on: {on: [LINE, V5]}}
parts:
  U1: {kind: not, family: hc, pins: {A: LINE, Y: OUT, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 100k, pins: [V5, GND]}
  R2: {kind: resistor, ohms: 100k, pins: [OUT, GND]}
rails: {V5: {volts: 5}}
target: OUT
"""
    path = tmp_path / "gate.yaml"
    path.write_text(text, encoding="utf-8")
    board = Board.load(path)
    step = board.why("V5", "dead").to_dict()["steps"][0]
    (way,) = step["back_fed"]["by"]
    assert (way["pin"], way["diode"], way["source"]) == ("U1.A", "A clamp to supply", "LINE")
    assert way["from_volts"] - step["volts"] == pytest.approx(0.6, abs=0.15)


def test_the_missing_pull_down_comes_first() -> None:
    """The rail at 1.8 V, its switch told to be off: the way through R2 is broken; a reading at R2 tells where."""
    board = Board.load("back_fed_rail")
    readings = ["VRAD 1.81 @down", "RADIO_ON 0.00 @down", "RXD 2.45 @down", "RADIO_DOWN 0.00 @down"]
    found = board.rank(readings).to_dict()
    through = {"VIA1:broken", "R2:open", "R2.1:joint open", "R2.2:joint open", "R2:something wrong"}
    assert sum(each["probability"] for each in found["hypotheses"] if through & {*each["faults"]}) > 0.9
    sure = board.rank([*readings, "R2.1 1.81 @down"]).to_dict()
    assert sure["hypotheses"][0]["faults"] == ["R2:open"]
    assert sure["where"][0]["place"] == "R2"
