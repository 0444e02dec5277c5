"""Back-feeding: a rail that is off and held up through a chip's clamp, predicted and ranked."""

from __future__ import annotations

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
    assert "LD1" in str(board.why("VRAD", "down", faults="R2:open").to_dict())


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
