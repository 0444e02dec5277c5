"""What a board went through, and what the shop has found before, as factors on priors."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.circuit import library, read_circuit
from seqsim.errors import ReadingError, SeqsimError, UnknownPlaceError
from seqsim.faults import Fault, History, Remark, history_of, single_faults, tilts_told
from seqsim.faults.history import CATALOGUE_JOBS, EVENTS
from seqsim.faults.past import read_past
from seqsim.faults.priors import SEVERAL

BOARD = read_circuit(library()["greenhouse_fan"])


def history(*phrases: str) -> History:
    """Return the history that phrases tell."""
    return history_of(BOARD, [Remark(phrase) for phrase in phrases])


def odds(faults: tuple[Fault, ...], one: str, other: str) -> float:
    """Return how much likelier one fault is than another."""
    prior = {fault.name: fault.prior for fault in faults}
    return prior[one] / prior[other]


def test_liquid_makes_leaks_likelier_by_its_factor() -> None:
    """What stands in the table is what priors are multiplied by; an open resistor is the yardstick."""
    plain, wet = single_faults(BOARD), single_faults(BOARD, history("liquid"))
    for fault, kind in (("V5:leak to GND", "leak"), ("R1.1:joint open", "joint"), ("VIA3:broken", "copper")):
        assert odds(wet, fault, "R1:open") == pytest.approx(EVENTS["liquid"][kind] * odds(plain, fault, "R1:open"))
    assert sum(fault.prior for fault in wet) == pytest.approx(1.0)


def test_where_it_was_limits_what_it_tilts() -> None:
    """Liquid at V5 makes V5 leak, not RUN."""
    plain, wet = single_faults(BOARD), single_faults(BOARD, history("liquid at V5"))
    assert odds(wet, "V5:leak to GND", "R8:open") == pytest.approx(20 * odds(plain, "V5:leak to GND", "R8:open"))
    assert odds(wet, "RUN:leak to GND", "R8:open") == pytest.approx(odds(plain, "RUN:leak to GND", "R8:open"))


@pytest.mark.parametrize(
    "text", ["impact", "heat at U2, U3 and Q1", "Rework near Q1", "first assembly", "liquid on VIA3"]
)
def test_ways_to_say_it(text: str) -> None:
    """An event alone or with places, in any case of letters."""
    assert history(text).tilts


def test_a_factor_of_ones_own_multiplies() -> None:
    """It tilts a kind, a place or a single fault, on top of what an event says."""
    plain = single_faults(BOARD)
    own = single_faults(BOARD, history("liquid", "leak x0.5", "Q1:C-E short x7"))
    assert odds(own, "V5:leak to GND", "R1:open") == pytest.approx(10 * odds(plain, "V5:leak to GND", "R1:open"))
    assert odds(own, "Q1:C-E short", "R1:open") == pytest.approx(7 * odds(plain, "Q1:C-E short", "R1:open"))


def test_how_often_faults_meet() -> None:
    """Liquid breaks more than one thing; the factor is told and can be tilted."""
    assert history("liquid").several == EVENTS["liquid"][SEVERAL]
    assert history("liquid", "several x2").several == 2 * EVENTS["liquid"][SEVERAL]
    assert history().several == 1.0


@pytest.mark.parametrize(
    ("text", "error", "hint"),
    [
        ("lquid", ReadingError, "did you mean liquid"),
        ("", ReadingError, "say liquid at J1"),
        ("liquid at R99", UnknownPlaceError, "R99"),
        ("leek x3", UnknownPlaceError, "leak"),
        ("leak x-3", ReadingError, "from 0 to a million"),
        ("leak x1e9", ReadingError, "from 0 to a million"),
        ("leak x3..", ReadingError, "from 0 to a million"),
        ("Q1 xtwo", ReadingError, "nothing that a board goes through"),
    ],
)
def test_what_is_not_understood(text: str, error: type[SeqsimError], hint: str) -> None:
    """One sentence that shows how to say it."""
    with pytest.raises(error, match=hint):
        single_faults(BOARD, history(text))


def test_the_line_of_a_file_is_told() -> None:
    """A phrase that came from a file is refused with file and line."""
    with pytest.raises(ReadingError) as caught:
        history_of(BOARD, [Remark("lquid", "job.yaml", 7)])
    assert str(caught.value).startswith("job.yaml:7: ")


def test_three_jobs_do_not_overrule_the_catalogue() -> None:
    """The shares of a Dirichlet prior worth 30 jobs, with three found: (30 p + 3) / 33, the others 30 p / 33."""
    plain = {fault.name: fault.prior for fault in single_faults(BOARD)}
    past = {fault.name: fault.prior for fault in single_faults(BOARD, History(past=(("VIA3:broken", 3),)))}
    assert CATALOGUE_JOBS == 30
    assert past["VIA3:broken"] == pytest.approx((30 * plain["VIA3:broken"] + 3) / 33)
    assert past["R1:open"] == pytest.approx(30 * plain["R1:open"] / 33)
    assert past["VIA3:broken"] < 0.15


def test_hundreds_of_jobs_do() -> None:
    """With 3000 jobs of one fault, that fault has nearly all of the prior."""
    past = {fault.name: fault.prior for fault in single_faults(BOARD, History(past=(("VIA3:broken", 3000),)))}
    assert past["VIA3:broken"] > 0.98


def test_a_count_of_a_kind_is_shared_as_the_priors_are() -> None:
    """Seven open joints say nothing of which joint."""
    plain, past = single_faults(BOARD), single_faults(BOARD, History(past=(("joint", 7),)))
    one, other = "R1.1:joint open", "U2.IN:joint open"
    assert odds(past, one, other) == pytest.approx(odds(plain, one, other))
    assert odds(past, one, "R1:open") > odds(plain, one, "R1:open")
    assert sum(fault.prior for fault in past) == pytest.approx(1.0)


def test_what_is_tilted_is_told() -> None:
    """Each factor with what was said; a past job with the factor that it comes to."""
    known = History(past=(("VIA3:broken", 3),)).with_more(history("heat at Q1", "leak x3"))
    told = tilts_told(BOARD, known)
    assert ("heat at Q1", "joint", ("Q1",), 3.0) in told
    assert ("leak x3", "leak", (), 3.0) in told
    said, key, places, factor = told[-1]
    assert (said, key, places) == ("found in 3 of 3 past jobs", "VIA3:broken", ())
    before, after = (
        {fault.name: fault.prior for fault in single_faults(BOARD, each)}["VIA3:broken"]
        for each in (history("heat at Q1", "leak x3"), known)
    )
    assert factor == pytest.approx(after / before)


def test_a_file_of_past_jobs(tmp_path: Path) -> None:
    """Counts by fault, place or kind."""
    path = tmp_path / "jobs.yaml"
    path.write_text("format: 1\ndiagnosed:\n  Q1:C-E short: 4\n  VIA3: 2\n  joint: 7\n", encoding="utf-8")
    assert read_past(path) == (("Q1:C-E short", 4), ("VIA3", 2), ("joint", 7))


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("diagnosed: {joint: 1}", "format: 1"),
        ("format: 2\ndiagnosed: {joint: 1}", "format: 1"),
        ("format: 1", "nothing is counted"),
        ("format: 1\ndiagnosed: [joint]", "nothing is counted"),
        ("format: 1\ndiagnosed: {joint: many}", "whole number"),
        ("format: 1\ndiagnosed: {joint: -1}", "whole number"),
        ("format: 1\ndiagnosed: {joint: [1]}", "whole number"),
        ("format: 1\ndiagnosed: {joint: 1, joint: 2}", "twice"),
        ("format: 1\ncounted: {joint: 1}", "is no key"),
        ("[1, 2]", "mapping"),
    ],
)
def test_bad_files_of_past_jobs(tmp_path: Path, text: str, hint: str) -> None:
    """Each with the file and how to write it."""
    path = tmp_path / "jobs.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReadingError, match=hint) as caught:
        read_past(path)
    assert "jobs.yaml" in str(caught.value)


def test_no_such_file_of_past_jobs(tmp_path: Path) -> None:
    """A wrong path is told as such."""
    with pytest.raises(ReadingError, match="cannot be read"):
        read_past(tmp_path / "none.yaml")


def test_a_past_job_that_this_board_cannot_have() -> None:
    """A name that fits nothing on the board is refused, not left out."""
    with pytest.raises(UnknownPlaceError, match="R99"):
        single_faults(BOARD, History(past=(("R99:open", 3),)))
