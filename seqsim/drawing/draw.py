"""From results to pictures."""

from __future__ import annotations

from collections.abc import Sequence
from functools import singledispatch
from typing import Any

from seqsim.circuit import OFF, Circuit, resolve_place
from seqsim.drawing.chain import chain_scene
from seqsim.drawing.flow import chain_order, flow
from seqsim.drawing.level_picture import level_scene
from seqsim.drawing.moment import largest_volts, moment
from seqsim.drawing.picture import Picture, PictureError
from seqsim.drawing.ranking_picture import ranking_scene
from seqsim.readings import Reading
from seqsim.results import LevelMap, level_map
from seqsim.wording.tables import count


@singledispatch
def draw(result: Any) -> Picture:
    """Return the picture of a result: levels (one, or a list of them), a ranking, or why a node is at its level.

    Raises
    ------
    PictureError
        If there is no picture of such a thing.
    """
    from seqsim.logic import Explanation

    if isinstance(result, Explanation):
        board, measured = result.situation, result.measured
        # a measured board has no known fault: what was read there stands in for one
        return draw_chain(
            result.name, board.circuit, state=board.state, faults=board.faults if measured is None else (),
            readings=[] if measured is None else [mark.reading for mark in measured.marks], node=result.place,
        )  # fmt: skip
    fields = result.to_dict() if hasattr(result, "to_dict") else {}
    if {"hypotheses", "none_of_these", "readings"} <= fields.keys():
        return draw_ranking(fields)
    what = type(result).__name__
    raise PictureError(
        f"there is no picture of a {what}; draw a board, its levels, a ranking, or an explanation", got=what
    )


@draw.register
def _(result: LevelMap) -> Picture:
    return draw([result])


@draw.register
def _(result: list) -> Picture:  # type: ignore[type-arg]
    if not result or not all(isinstance(levels, LevelMap) for levels in result):
        raise PictureError("a list that is drawn holds the levels of one board, at least in one power state")
    title = _titled(result[0].circuit, "levels", result[0].faults)
    return Picture("level_map", title, level_scene(result, title))


def draw_chain(
    name: str,
    circuit: Circuit,
    *,
    state: str | None = None,
    faults: Sequence[str] = (),
    readings: Sequence[Reading] = (),
    node: str | None = None,
    whole: bool = False,
) -> Picture:
    """Return the chain diagram of a circuit in a power state, with faults and readings marked.

    ``node`` picks a net, by its name or that of a pin: then only what decides it is drawn.

    Raises
    ------
    UnknownPlaceError
        If there is no such state, fault or net.
    """
    net = None if node is None else resolve_place(circuit, node).net
    if net in circuit.grounds:
        raise PictureError(f"nothing decides {net}: it is where volts are counted from; name another net", place=node)
    levels = level_map(name, circuit, state, tuple(faults))
    title = _titled(name, f"{circuit.title}, {levels.state}" if circuit.title else levels.state, levels.faults)
    scene = chain_scene(circuit, moment(circuit, levels, readings), title, net, whole=whole)
    return Picture("chain", title, scene)


def draw_levels(name: str, circuit: Circuit, faults: Sequence[str] = ()) -> Picture:
    """Return the levels of every net in every power state but `off`, nets from the sources to the target."""
    states = [state for state in circuit.power_states if state != OFF] or [OFF]
    maps = [level_map(name, circuit, state, tuple(faults)) for state in states]
    title = _titled(name, "levels", tuple(faults))
    largest = largest_volts(circuit)
    for levels in maps:
        for net, level in levels.nodes.items():
            largest[net] = max(largest.get(net, 0.0), abs(level.volts))
    return Picture("level_map", title, level_scene(maps, title, largest, chain_order(flow(circuit))))


def draw_ranking(fields: dict[str, Any]) -> Picture:
    """Return the picture of a ranking from its documented fields."""
    title = f"{fields['circuit']}: ranking by {count(len(fields['readings']), 'reading')}"
    return Picture("ranking", title, ranking_scene(fields, title))


def _titled(name: str, what: str, faults: Sequence[str]) -> str:
    return f"{name}: {what}" + (f", with {' and '.join(faults)}" if faults else "")
