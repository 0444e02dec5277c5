"""Readings of a known-good board: they expose a wrong drawing, and narrow what is expected."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from measured_boards import Boards, desk_of, drawn_network, seen

import seqsim
from seqsim.board import Board
from seqsim.circuit import OFF, library, parse_circuit, read_circuit
from seqsim.diagnosis.reference import COMMON_SHARE, calibration
from seqsim.network import vary
from seqsim.readings import METER, Probe, measurement

NPN = "inverting_npn"


def test_one_latent_read_exactly() -> None:
    """One latent that moves one reading by 1 V, read at 0.6 V without error: another board expects c 0.6 of it."""
    found = calibration(np.array([0.6]), np.array([[1.0]]), np.array([[1e-12]]))
    assert found.mean == pytest.approx([COMMON_SHARE * 0.6])
    assert found.root @ found.root.T == pytest.approx(np.array([[1 - COMMON_SHARE**2]]))


def test_two_boards_drawn_at_random() -> None:
    """Mean and covariance equal the regression of one board's latents on another's readings, over 200,000 pairs."""
    random = np.random.default_rng(5)
    moves = np.array([[0.5, 0.1], [0.2, -0.4], [0.1, 0.3]])
    noise = np.diag([0.01, 0.04, 0.02])
    common, one, two = (random.normal(size=(200_000, 2)) for _ in range(3))
    good, other = (np.sqrt(COMMON_SHARE) * common + np.sqrt(1 - COMMON_SHARE) * own for own in (one, two))
    read = good @ moves.T + random.normal(size=(200_000, 3)) * np.sqrt(np.diag(noise))
    slope = np.linalg.lstsq(read, other, rcond=None)[0]
    residual = np.array([0.3, -0.2, 0.1])
    found = calibration(residual, moves, noise)
    assert found.mean == pytest.approx(residual @ slope, abs=0.01)
    assert found.root @ found.root.T == pytest.approx(np.cov((other - read @ slope).T), abs=0.02)


def job(folder: Path, reference: str) -> Path:
    """Write a file with two readings and those of a good board."""
    path = folder / "job.yaml"
    text = f"format: 1\nreadings: [HEAT_EN 4.90 @open, Q1.B 0.70 @open]\nreference: [{reference}]\n"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_wrong_drawing_is_told_before_anything_is_ranked(tmp_path: Path) -> None:
    """The file says that HEAT_EN is near 5 V while the door is shut; a good board that reads 0 V there says no."""
    found = seqsim.load(NPN).rank(job(tmp_path, "HEAT_EN 0.00 @shut, V5 5.00 @shut"))
    assert [each.verdict for each in found.reference] == ["low", "as_healthy"]
    shown = str(found)
    assert shown.index("the good board reads") < shown.index("where")
    assert "HEAT_EN @shut: your file says" in shown


def test_ohms_of_a_rail_known_from_experience_are_a_reference() -> None:
    """Where the rail is measured they narrow what is expected of it, and a drawing that they contradict is told."""
    text = library()["n_channel_pass"].read_text(encoding="utf-8")
    assert "V5_CAM: {volts: 5, within: 5%, ohms: [40, 60]}" in text
    bare = text.replace(", ohms: [40, 60]}", "}")
    wrong = text.replace("ohms: [40, 60]}", "ohms: [400, 600]}")
    plain, known, other = (
        Board("camera", parse_circuit(each)).rank(["V5_CAM 32.0 ohm", "V5_CAM 5.0"]) for each in (bare, text, wrong)
    )
    assert plain.reference == ()
    (told,) = known.reference
    assert (told.place, told.value, told.verdict, told.origin) == ("V5_CAM", (40, 60), "as_healthy", "experience")
    first, second = plain.readings[0], known.readings[0]
    assert first.healthy_low is not None
    # the range is uniform: a twelfth of its width squared; the load of the drawing is spread by 30 %
    assert second.healthy_low == pytest.approx(40, abs=2)
    assert first.healthy_low < 35
    assert first.verdict == "as_healthy"
    assert second.verdict == "low"
    assert "1 resistance of rails known from experience agrees with the drawing" in str(known)
    assert [each.verdict for each in other.reference] == ["high"]
    assert "its `rails:` know 400 Ω to 600 Ω there" in str(other)
    assert Board("camera", parse_circuit(text)).rank(["V5_CAM 5.0"]).reference == ()


def test_a_good_board_that_agrees_says_so(tmp_path: Path) -> None:
    """Nothing contradicts; the fields hold what was read beside what is expected."""
    found = seqsim.load(NPN).rank(job(tmp_path, "HEAT_EN 4.95 @shut, HEAT_EN 0.09 @open, R1.1 to R1.2 10.0k ohm"))
    assert {each.verdict for each in found.reference} == {"as_healthy"}
    assert "agree with the drawing" in str(found)
    assert found.to_dict()["reference"][0]["healthy_low"] < 4.95
    assert sum(each.probability for each in found.hypotheses) + found.none_of_these == pytest.approx(1.0)


def test_a_good_board_narrows_what_is_expected(tmp_path: Path) -> None:
    """A supply that reads 5.08 V on the good board is expected there on the other, with less spread than 2 %."""
    board = seqsim.load(NPN)
    plain = board.rank(["HEAT_EN 4.90 @open", "V5 5.08 @open"])
    path = tmp_path / "job.yaml"
    path.write_text(
        "format: 1\nreadings: [HEAT_EN 4.90 @open, V5 5.08 @open]\nreference: [V5 5.08 @open]\n", encoding="utf-8"
    )
    known = board.rank(path)
    wide, narrow = plain.readings[1], known.readings[1]
    assert wide.healthy_low is not None
    assert wide.healthy_high is not None
    assert narrow.healthy_low is not None
    assert narrow.healthy_high is not None
    assert narrow.healthy_high - narrow.healthy_low < 0.95 * (wide.healthy_high - wide.healthy_low)
    assert narrow.healthy_low > wide.healthy_low


def test_boards_that_are_drawn_are_of_the_make() -> None:
    """Where a circuit file knows the ohms of rails, boards drawn for tests read them; not all would otherwise."""
    boards = Boards(read_circuit(library()["organ_blower"]), ())
    rails = [rail for rail in boards.circuit.rails.values() if rail.ohms is not None]
    windows = np.array([rail.ohms for rail in rails])
    read = [measurement(boards.circuit, Probe(kind="ohms", place=rail.net, state=OFF), METER) for rail in rails]
    random = np.random.default_rng(3)
    chosen = [boards.drawn(random) for _ in range(8)]
    free = [desk_of(boards.circuit, drawn_network(boards.network, random, shifted=True)) for _ in range(8)]
    inside = [
        [bool(((ohms >= windows[:, 0]) & (ohms <= windows[:, 1])).all()) for ohms in
         (np.array([float(m.convert(t)) for m, t in zip(read, seen(at, [vary(at.network)], read).tips[0], strict=True)])
          for at in some)]
        for some in (chosen, free)
    ]  # fmt: skip
    assert all(inside[0])
    assert sum(inside[1]) < len(free)
