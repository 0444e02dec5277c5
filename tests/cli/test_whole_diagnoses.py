"""Whole diagnoses from the command line: from the first reading with power off to the proof of the repair.

The boards are of the library and the faults invented; each board has parts of its own within their tolerances, and its
meter errs within its accuracy. What is read is what `next` and `verify` ask for.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from on_the_bench import OnTheBench

from seqsim.circuit import library, read_circuit
from seqsim.readings import parse_reading

Shell = Callable[[str], Any]

MOST = 8
"""Readings after which a diagnosis of these small boards must be done."""


@dataclass(frozen=True)
class Case:
    """A board, what it has, the places that name it, and the check with power off that confirms it."""

    board: str
    fault: str
    places: frozenset[str]
    check: tuple[str, str, str | None]
    seed: int = 1


CASES = (
    Case("inverting_npn", "R1:open", frozenset({"R1"}), ("ohms", "R1.1", "R1.2")),
    Case("double_inversion", "VIA3:broken", frozenset({"VIA3"}), ("continuity", "VIA3", None)),
    Case("p_channel_high_side", "M1:D-S short", frozenset({"M1"}), ("ohms", "M1.D", "M1.S")),
)


class Job:
    """What a technician types and reads, one command after the other."""

    def __init__(self, shell: Shell, case: Case) -> None:
        self.shell, self.case = shell, case
        self.readings: list[str] = []

    def run(self, command: str, more: str = "") -> tuple[int, dict[str, Any]]:
        """Run a command with all readings so far and return its exit code and fields."""
        done = self.shell(f"{self.line(command)} {more} --json")
        assert done.err == ""
        return done.code, json.loads(done.out)

    def text(self, command: str, more: str = "") -> str:
        """Run a command and return its text, folds undone."""
        return " ".join(str(self.shell(f"{self.line(command)} {more}").out).split())

    def line(self, command: str) -> str:
        """Return the command line."""
        return f"{command} {self.case.board} " + " ".join(f"--read '{reading}'" for reading in self.readings)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.board)
def test_from_the_first_reading_to_the_proof(shell: Shell, case: Case) -> None:
    """Each step says what the next one needs, with its caution; the fault is found, checked, repaired and proved."""
    circuit = read_circuit(library()[case.board])
    bench, job = OnTheBench(circuit, case.fault, case.seed), Job(shell, case)

    # with power off: is a supply shorted?
    _, advice = job.run("next")
    assert all(step["state"] == "off" and step["kind"] == "ohms" for step in advice["next"])
    assert all("drain stored charge" in step["caution"] for step in advice["next"])
    assert advice["first"]
    job.readings += [bench.read(step) for step in advice["next"]]
    code, ranking = job.run("rank")
    assert code == 0
    assert len(ranking["readings"]) == len(job.readings)

    # with power on: what `next` asks for, until it stops
    while len(job.readings) < MOST:
        _, advice = job.run("next")
        assert advice["cautions"]
        if advice["stop"]:
            break
        assert all(
            step["caution"] and step["outcomes"] and (step["bits"] > 0 or step["again"]) for step in advice["next"]
        )
        best = advice["next"][0]
        told = parse_reading(circuit, best["write"])
        assert (told.place, told.kind, told.state) == (best["place"], best["kind"], best["state"])
        assert [str(done) for done in told.interventions] == best["with"]
        job.readings.append(bench.read(best))

    # the answer: where, and what to check before anything is replaced
    _, ranking = job.run("rank")
    assert case.places & {ranking["where"][0]["place"], *ranking["where"][0]["places"]}
    group = next(each["group"] for each in ranking["hypotheses"] if each["faults"] == [case.fault])
    assert ranking["where"][0]["group"] == group
    suspect = next(each for each in ranking["hypotheses"] if each["faults"] == [case.fault])
    assert suspect["confirm"]
    assert suspect["repair"]
    best = ranking["hypotheses"][0]
    if best["probability"] > 0.8 and not ranking["what"]["stated"]:
        assert ranking["what"]["probability"] is None
        assert f"before it is stated or anything replaced: {best['confirm']}" in job.text("rank")
    assert "Local codes" in job.text("rank")

    # the check with power off speaks for it; before the repair the board is not good
    kind, place, to = case.check
    job.readings.append(bench.read({"kind": kind, "place": place, "to": to, "state": "off"}))
    _, ranking = job.run("rank")
    assert ranking["hypotheses"][0]["faults"] == [case.fault] or ranking["hypotheses"][0]["group"] == group
    assert ranking["what"]["stated"]
    assert case.places & set(ranking["where"][0]["places"])
    code, found = job.run("verify")
    assert (code, found["verdict"]) == (1, "off")

    # repaired: nothing read before counts, what `verify` asks for is read until it is content
    bench.repaired, job.readings = True, []
    repaired = f"--repaired '{case.fault}'"
    code, found = job.run("verify", repaired)
    assert (code, found["verdict"]) == (1, "incomplete")
    assert all(each["caution"] for each in found["missing"])
    job.readings += [bench.read(each) for each in found["missing"]]
    code, found = job.run("verify", repaired)
    assert (code, found["verdict"], found["missing"]) == (0, "proved", [])
    assert f"{case.fault} repaired: proved" in job.text("verify", repaired)
