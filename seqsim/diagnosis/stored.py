"""Predictions kept on disk: they depend on the circuit and on where a meter is put, not on what it shows.

A file holds the branches of one circuit in some power states, the columns of the readings that were ranked last, how
these move with what spreads, and what the likeliest faults look like elsewhere. Arrays and JSON alone are read back,
never code; whatever is not as it was written counts as not there.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Hashable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from platformdirs import user_cache_path

from seqsim.circuit import Circuit
from seqsim.diagnosis.branch import Branch
from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.points import PointColumn
from seqsim.diagnosis.shelf import circuit_key
from seqsim.diagnosis.survey import Column, Survey, keys_of, name_of
from seqsim.diagnosis.table import COARSE_POINTS, Surveyed
from seqsim.network import Bridge, Patch, SetSide
from seqsim.network.network import Bools, Ints
from seqsim.solver.state import State

MOST_BYTES = 200_000_000
"""Room that all files may take together; the latest used ones stay."""

MOST_LINES = 2_000
"""Points whose moves, and whose looks, are kept, the last ones that were asked for."""

Arrays = Mapping[str, Any]
NOT_THERE = (OSError, EOFError, ValueError, KeyError, TypeError, IndexError, AttributeError, zipfile.BadZipFile)


def load(
    desk: Desk, listed: Sequence[Hypothesis], others: Sequence[Hypothesis], states: Sequence[str]
) -> Surveyed | None:
    """Return what is on disk of these hypotheses in these power states, or nothing."""
    path = _path(desk.circuit, [hypothesis.name for hypothesis in listed], states)
    try:
        # an archive that is cut short is left open by NumPy
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            found = _surveyed(desk, (*listed, *others), states, arrays)
        path.touch()
    except NOT_THERE:
        return None
    return found


def keep(desk: Desk, surveyed: Surveyed, conditions: Iterable[Condition]) -> None:
    """Write the branches, and their columns for the readings of some conditions, unless they were read from there."""
    keys = [key for condition in conditions for key in keys_of(condition)]
    fine, between = (
        [k for k, survey in enumerate(surveys) if all(key in survey.columns for key in keys)]
        for surveys in (surveyed.fine, surveyed.between)
    )
    names = {name_of(key) for key in keys}
    looks = surveyed.looks()
    sizes = len(surveyed.fine), len(surveyed.between), surveyed.lines.worked_out, looks.worked_out
    if surveyed.stored and names <= surveyed.stored[0] and sizes == surveyed.stored[1:]:
        return
    states, listed = next(key for key, kept in desk.surveyed.items() if kept is surveyed)
    arrays = _branch_arrays(surveyed.coarse.branches, states, desk)
    places = sorted(surveyed.place.items(), key=lambda item: item[1])
    arrays["refined"] = np.array([k for k, (survey, _) in places if survey in fine], dtype=np.int64)
    gaps = sorted(surveyed.gap.items(), key=lambda item: item[1])
    branch = np.array([k for (k, _), (survey, _) in gaps if survey in between], dtype=np.int64)
    quantile = np.array([at for (_, at), (survey, _) in gaps if survey in between], dtype=np.float64)
    order = np.argsort(branch, kind="stable")  # a branch whose severities came in several goes gets them in one
    arrays |= {"further branch": branch[order], "further quantile": quantile[order]}
    for key in keys:
        arrays |= _column_arrays(f"coarse {name_of(key)}", [surveyed.coarse.columns[key]])
        arrays |= _column_arrays(f"fine {name_of(key)}", [surveyed.fine[k].columns[key] for k in fine])
        arrays |= _column_arrays(f"between {name_of(key)}", [surveyed.between[k].columns[key] for k in between], order)
    arrays |= _line_arrays(*surveyed.lines.told(keys, MOST_LINES))
    points, tips, deviation = looks.told(MOST_LINES)
    arrays |= {"looks": _text(points), "look volts": np.float32(tips), "look deviations": np.float32(deviation)}
    path = _path(desk.circuit, listed, states)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".part.npz")
        np.savez(fresh, **arrays)
        fresh.replace(path)
        _clear(path.parent)
    except OSError:  # a read-only or full disk costs time, not the answer
        return
    surveyed.stored = (names, *sizes)


def _clear(folder: Path) -> None:
    """Delete the files that were used longest ago, beyond the room that there is."""
    left = MOST_BYTES
    for path in sorted(folder.glob("*.npz"), key=lambda other: other.stat().st_mtime, reverse=True):
        left -= path.stat().st_size
        if left < 0:
            path.unlink(missing_ok=True)


def _path(circuit: Circuit, listed: Sequence[str], states: Sequence[str]) -> Path:
    asked = json.dumps([list(states), list(listed)])
    return user_cache_path("seqsim") / "predictions" / f"{circuit_key(circuit, asked)}.npz"


def _column_arrays(name: str, columns: Sequence[Column], order: Ints | None = None) -> dict[str, Any]:
    if not columns:
        return {}
    chosen = slice(None) if order is None else order
    marks = np.concatenate([column.restless + 2 * column.solved.astype(np.int8) for column in columns])
    return {
        f"{name} volts": np.concatenate([column.tips for column in columns])[chosen],
        f"{name} ohms": np.concatenate([column.ohms for column in columns])[chosen],
        f"{name} marks": marks[chosen],
    }


def _columns(survey: Survey, kind: str, arrays: Arrays) -> dict[str, Column]:
    """Return the columns of a survey by the names of their readings."""
    found: dict[str, Column] = {}
    for entry in arrays:
        if entry.startswith(kind) and entry.endswith(" volts"):
            name = entry.split()[1]
            marks = arrays[f"{kind} {name} marks"]
            column = Column(arrays[entry], arrays[f"{kind} {name} ohms"], marks & 1 == 1, marks & 2 == 2)
            if any(len(part) != len(survey.branch) for part in (column.tips, column.ohms, marks)):
                message = "a column of another length"
                raise ValueError(message)
            found[name] = column
    return found


def _line_arrays(points: Sequence[Hashable], columns: Mapping[str, PointColumn]) -> dict[str, Any]:
    """Return the names of points, which are tuples of numbers and of such, and their columns."""
    arrays: dict[str, Any] = {"points": _text(points)}
    for name, column in columns.items():
        arrays[f"line {name} volts"] = column.tips
        arrays[f"line {name} marks"] = column.restless + 2 * column.good.astype(np.int8)
        arrays[f"line {name} moves"] = column.moves
    return arrays


def _lines(arrays: Arrays) -> tuple[list[Hashable], dict[str, PointColumn]]:
    names = _names(arrays["points"])
    found = {}
    for entry in arrays:
        if entry.startswith("line ") and entry.endswith(" moves"):
            name = entry.split()[1]
            marks, moves = arrays[f"line {name} marks"], arrays[entry]
            found[name] = PointColumn(
                arrays[f"line {name} volts"], marks & 1 == 1, marks & 2 == 2, moves, np.ones(len(names), dtype=np.bool_)
            )
            if any(len(part) != len(names) for part in vars(found[name]).values()):
                message = "a column of another length"
                raise ValueError(message)
    return names, found


def _text(names: Sequence[Hashable]) -> Any:
    return np.frombuffer(json.dumps(names).encode(), dtype=np.uint8)


def _names(text: Any) -> list[Hashable]:
    return [_tuples(name) for name in json.loads(text.tobytes())]


def _tuples(name: Any) -> Hashable:
    """Return a name as it was before it was written as lists."""
    return tuple(_tuples(each) for each in name) if isinstance(name, list) else name


def _branch_arrays(branches: Sequence[Branch], states: Sequence[str], desk: Desk) -> dict[str, Any]:
    numbers: dict[int, int] = {}
    rows = []
    for branch in branches:
        mode = numbers[branch.hypothesis] = numbers.get(branch.hypothesis, -1) + 1
        extra = {state: [_written(patch) for patch in patches] for state, patches in branch.extra.items()}
        rows.append([branch.hypothesis, mode, branch.weight, extra, bool(branch.starts)])
    arrays: dict[str, Any] = {"branches": np.frombuffer(json.dumps(rows).encode(), dtype=np.uint8)}
    started = [branch for branch in branches if branch.starts]
    base, count = len(desk.network.owners), len(desk.network.row_names)
    for state in states:
        held = [branch.starts[state] for branch in started]
        conducting = np.array([each.conducting for each in held], dtype=np.bool_).reshape(len(held), base)
        above = np.array([each.above for each in held], dtype=np.bool_).reshape(len(held), count)
        arrays[f"start {state} conducting"] = np.packbits(conducting, axis=1)
        arrays[f"start {state} above"] = np.packbits(above, axis=1)
        arrays[f"start {state} ratios"] = np.array([each.ratios for each in held])
    return arrays


def _surveyed(desk: Desk, hypotheses: Sequence[Hypothesis], states: Sequence[str], arrays: Arrays) -> Surveyed:
    rows = json.loads(arrays["branches"].tobytes())
    started = sum(row[4] for row in rows)
    base, count = len(desk.network.owners), len(desk.network.row_names)
    starts: list[dict[str, State]] = [{} for _ in range(started)]
    for state in states:
        conducting = _bits(arrays[f"start {state} conducting"], base)
        above = _bits(arrays[f"start {state} above"], count)
        ratios = arrays[f"start {state} ratios"]
        for k, held in enumerate(starts):
            held[state] = State(conducting[k], above[k], ratios[k])
    each = iter(starts)
    branches = []
    for hypothesis, mode, weight, extra, has_starts in rows:
        modes = hypotheses[hypothesis].modes
        read = {state: tuple(_read(patch) for patch in patches) for state, patches in extra.items()}
        # a listed fault has one mode, and each of its branches is a way in which that can look
        chosen = modes[mode] if len(modes) > 1 else modes[0]
        branches.append(Branch(hypothesis, weight, chosen, COARSE_POINTS, read, next(each) if has_starts else {}))
    surveyed = Surveyed(Survey(desk, branches))
    surveyed.refine([int(k) for k in arrays["refined"]])
    surveyed.close(zip(arrays["further branch"].tolist(), arrays["further quantile"].tolist(), strict=True))
    surveyed.coarse.stored = _columns(surveyed.coarse, "coarse", arrays)
    for survey in surveyed.fine:
        survey.stored = _columns(survey, "fine", arrays)
    for survey in surveyed.between:
        survey.stored = _columns(survey, "between", arrays)
    surveyed.lines.remember(*_lines(arrays))
    surveyed.looks().remember(_names(arrays["looks"]), arrays["look volts"], arrays["look deviations"])
    surveyed.stored = (set(surveyed.coarse.stored), len(surveyed.fine), len(surveyed.between), 0, 0)
    return surveyed


def _bits(packed: Any, count: int) -> Bools:
    return np.unpackbits(packed, axis=1, count=count).astype(np.bool_)


def _written(patch: Patch) -> list[Any]:
    match patch:
        case SetSide(owner, row, above):
            return ["side", owner, row, bool(above)]
        case Bridge(first, second, siemens, owner):
            return ["bridge", first, second, float(siemens), owner]
    message = f"a branch never holds {type(patch).__name__}"
    raise TypeError(message)


def _read(written: Sequence[Any]) -> Patch:
    kind, *values = written
    return SetSide(*values) if kind == "side" else Bridge(*values)
