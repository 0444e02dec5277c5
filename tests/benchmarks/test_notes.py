"""How often what is believed of a doubtful drawing comes true: kinds, values and ends drawn from their priors.

Run with ``pytest -m benchmark tests/benchmarks/test_notes.py -s``. For each board an answer to every doubt of the notes
is drawn by its prior, and nothing or one fault of the list, as the ranking of notes supposes. Parts lie within their
tolerances, all device laws are shifted together, and a meter reads the volts of the nets named here. Compared are the
stated probability of each doubt's likeliest answer and how often it is right, by the rough weights that `seqsim notes`
shows, and by the whole diagnoses that `seqsim rank` mixes (on every ``WHOLE``-th board). The environment variable
``BOARDS`` says how many boards are drawn of each notes (120).
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import numpy as np
import pytest
from measured_boards import Boards, drawn_severity
from shares import share

from seqsim.circuit import OFF, Circuit
from seqsim.circuit.doubts import Answer, answered
from seqsim.circuit.notes_compile import parse_notes
from seqsim.diagnosis.alternatives import doubts_of, open_ends
from seqsim.diagnosis.hypotheses import HEALTHY_PRIOR, listed
from seqsim.diagnosis.rough_evidence import SOUND_SHARE, beyond
from seqsim.diagnosis.unsure import Believed, believe, rank_unsure
from seqsim.readings import Probe, Readings

pytestmark = pytest.mark.benchmark

WHOLE = 4
SEED = 11
NOTES = {
    "an unknown transistor": (
        """\
        target EN
        V5 5 2%
        RUN 3.3 3% 1k idle low
        state wait: V5
        state run: V5 RUN
        R9 4k7 1% 1=V5 2=EN
        R12 10k 1% 1=RUN 2=X
        Q7 ? 1=X 2=gnd 3=EN
        """,
        ("EN", "X"),
    ),
    "two doubtful transistors, an open end": (
        """\
        target EN
        V5 5 2%
        V12 12 2%
        START 3.3 3% 1k idle low
        state wait: V5 V12
        state run: V5 V12 START
        R1 10k 1% 1=START 2=B1
        Q1 npn? B=B1 C=MID E=gnd
        R2 10k 1% 1=V5 2=MID
        R3 22k 1% 1=MID 2=G2
        Q2 nmos? G=G2 D=EN S=gnd
        R4 10k 1% 1=V12 2=EN
        G2 goes on
        """,
        ("EN", "MID", "B1", "G2"),
    ),
    "two unknown values": (
        """\
        target EN
        V5 5 2%
        START 3.3 3% 100 idle low
        state wait: V5
        state run: V5 START
        R1 ? 1=START 2=EN
        R2 ? 1=EN 2=gnd
        R3 100k 1% 1=V5 2=EN
        """,
        ("EN",),
    ),
    "held by one rail": (
        """\
        target LAMP
        V12 12 2%
        state idle: V12
        state run: V12
        M1 fet? G=GATE D=LAMP S=V12
        R4 100k 1% 1=V12 2=GATE
        LD1 240 1=LAMP 2=gnd
        """,
        ("LAMP", "GATE"),
    ),
}


def drawn(circuit: Circuit, random: np.random.Generator) -> dict[str, Answer]:
    """Return an answer to each doubt, by its prior; a value lies anywhere in its part of the range."""
    chosen: dict[str, Answer] = {}
    for doubt in doubts_of(circuit):
        k = random.choice(len(doubt.answers), p=[answer.prior for answer in doubt.answers])
        chosen[doubt.name] = doubt.answers[int(k)]
    return chosen


def certain(circuit: Circuit, random: np.random.Generator) -> Circuit:
    """Return a board whose unknown values are certain: drawn log-uniformly within what was drawn of their range."""
    parts = dict(circuit.parts)
    for name, part in circuit.parts.items():
        if "ohms" in part.spread and part.spread["ohms"] > 0.1:
            half = part.spread["ohms"] * np.sqrt(3)
            ohms = part.ohms * np.exp(random.uniform(-half, half))  # type: ignore[attr-defined]
            parts[name] = part.model_copy(update={"ohms": float(ohms), "spread": {**part.spread, "ohms": 0.005}})
    return circuit.model_copy(update={"parts": parts})


def boards(circuit: Circuit, nets: tuple[str, ...], count: int) -> Iterator[tuple[dict[str, Answer], Readings]]:
    """Yield boards as they come: what is true of each doubt, and what a meter reads."""
    random = np.random.default_rng(SEED)
    probes = [
        Probe(kind="volts", place=net, state=state) for state in circuit.power_states if state != OFF for net in nets
    ]
    sound = SOUND_SHARE if open_ends(circuit) else HEALTHY_PRIOR
    made = 0
    while made < count:
        chosen = drawn(circuit, random)
        board = certain(answered(circuit, chosen), random)
        faults = listed(board, beyond(board))
        prior = np.array([fault.prior for fault in faults])
        prior[1:] *= (1 - sound) / prior[1:].sum()
        prior[0] = sound
        fault = faults[int(random.choice(len(faults), p=prior))]
        readings = Boards(board, probes).draw(fault, drawn_severity(fault, random), random)
        if readings is not None:
            made += 1
            yield chosen, Readings(readings=readings)


def told(unknowns: tuple[Believed, ...], truth: dict[str, Answer]) -> Iterator[tuple[float, bool]]:
    """Yield the stated probability of each doubt's likeliest answer, and whether it is right."""
    for each in unknowns:
        answer, probability = each.answers[0]
        yield probability, answer == truth[each.doubt.name].label


def report(title: str, rows: list[tuple[float, bool]]) -> None:
    """Print stated against observed, by how sure the answer was."""
    print(f"\n{title}: {len(rows)} answers")
    for low, high in ((0.0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1.001)):
        mine = [(p, right) for p, right in rows if low <= p < high]
        if mine:
            at, least, most = share(sum(right for _, right in mine), len(mine))
            stated = float(np.mean([p for p, _ in mine]))
            print(f"   stated {stated:.3f}   right {at:.3f} ({least:.3f} to {most:.3f})   of {len(mine)}")


def test_answers_come_true_as_often_as_stated() -> None:
    """Prints reliability of what is believed; as a whole it lies within four standard deviations of what is stated."""
    count = int(os.environ.get("BOARDS", "120"))
    roughly: list[tuple[float, bool]] = []
    whole: list[tuple[float, bool]] = []
    for name, (text, nets) in NOTES.items():
        circuit = parse_notes(text)
        mine: list[tuple[float, bool]] = []
        for k, (truth, readings) in enumerate(boards(circuit, nets, count)):
            mine += told(believe(circuit, readings)[0], truth)
            if k % WHOLE == 0:
                whole += told(rank_unsure(circuit, readings).unknowns, truth)
        report(name, mine)
        roughly += mine
    report("all, as `notes` shows them", roughly)
    report("all, as `rank` shows them", whole)
    for rows in (roughly, whole):
        stated = np.array([p for p, _ in rows])
        apart = abs(sum(right for _, right in rows) - stated.sum())
        assert apart < 4 * np.sqrt((stated * (1 - stated)).sum()) + 0.03 * len(rows)
