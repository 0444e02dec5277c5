"""The chain diagram: a board from its sources on the left to its target on the right."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from seqsim.circuit import Circuit
from seqsim.drawing.facts import LEGEND, Facts, Flag, Mark
from seqsim.drawing.flow import Flow, flow
from seqsim.drawing.layers import edges_between
from seqsim.drawing.net_blocks import NetDrawer
from seqsim.drawing.part_blocks import PartDrawer
from seqsim.drawing.pen import Block, Pen
from seqsim.drawing.rows import page, pieces
from seqsim.drawing.scene import HEAVY, NAME, SMALL, THIN, TITLE, Item, Line, Scene, Text

MOST_PARTS = 64
"""A page shows so many parts; of larger boards it shows the target's chain."""
ASPECT = 2**0.5
"""Width by height of the page: a sheet of the A series, lying (ISO 216)."""


def chain_scene(circuit: Circuit, facts: Facts, title: str, node: str | None = None, *, whole: bool = False) -> Scene:
    """Return the picture of a board, or of what decides one net.

    Of a board with more than `MOST_PARTS` parts the target's chain is shown, unless the ``whole`` is asked for.
    """
    found = flow(circuit)
    focus = node
    if focus is None and not whole and len(circuit.parts) > MOST_PARTS:
        focus = circuit.target
    shown = found.deciding(focus) if focus is not None else frozenset(found.after)
    blocks = _blocks(found, facts, shown)

    def weigh(net: str, terminals: Sequence[str]) -> float:
        del net
        return facts.weight(*terminals)

    scene = page(pieces(blocks, edges_between(blocks)), ASPECT, weigh)
    head = [title]
    if focus is not None:
        left_out = len(circuit.parts) - len(_parts(found, shown))
        folded = f", {left_out} other parts folded" if left_out else ""
        head.append(f"what decides {focus}{folded}")
    return _framed(scene, head, _rail_texts(found, facts, shown), facts)


def shown_parts(circuit: Circuit, node: str | None = None, *, whole: bool = False) -> tuple[str, ...]:
    """Return the names of the parts that the picture shows."""
    found = flow(circuit)
    focus = node
    if focus is None and not whole and len(circuit.parts) > MOST_PARTS:
        focus = circuit.target
    return _parts(found, found.deciding(focus) if focus is not None else frozenset(found.after))


def _parts(found: Flow, shown: Collection[str]) -> tuple[str, ...]:
    hung = {s.part.name for net, shunts in found.shunts.items() if f"net:{net}" in shown for s in shunts}
    return tuple(name for name in found.circuit.parts if f"part:{name}" in shown or name in hung)


def _blocks(found: Flow, facts: Facts, shown: Collection[str]) -> dict[str, Block]:
    parts, nets = PartDrawer(found, facts, shown), NetDrawer(found, facts)
    before = found.before()
    blocks = {}
    for node, after in found.after.items():
        kind, _, name = node.partition(":")
        if node not in shown:
            continue
        if kind == "part":
            blocks[node] = parts.block(name)
        elif kind == "supply":
            blocks[node] = parts.supply(found.circuit.supplies[name])
        else:
            if not before[node] and name in found.rails and name not in found.shunts and not after:
                continue
            folded = [other.partition(":")[2] for other in after if other not in shown]
            blocks[node] = nets.block(
                name, folded,
                fed=any(other in shown for other in before[node]), feeds=any(other in shown for other in after),
            )  # fmt: skip
    return blocks


def _rail_texts(found: Flow, facts: Facts, shown: Collection[str]) -> tuple[tuple[str, Flag], ...]:
    """Return rails that are only met as tags, with their levels."""
    return tuple((net, facts.flags[net]) for net in found.rails if f"net:{net}" not in shown and net in facts.flags)


def _framed(scene: Scene, head: Sequence[str], rails: Sequence[tuple[str, Flag]], facts: Facts) -> Scene:
    """Put the heading above a picture, and what its signs mean below it."""
    pen = Pen("legend", facts)
    x = 0.0
    for net, flag in rails:
        x = pen.text((x, 0.0), net, SMALL, bold=True).right + 0.1
        x = pen.flag(x, 0.0, flag).right + 0.4
    rows = 1 if rails else 0
    if facts.flags:
        x, y = 0.0, -0.45 * rows
        for level, words in LEGEND:
            x = pen.flag(x, y, Flag(level, words)).right + 0.25
        for weight, words in ((HEAVY, "conducts (from 10 µA)"), (THIN, "carries nothing")):
            pen.line((x + 0.1, y), (x + 0.7, y), weight=weight)
            x = pen.text((x + 0.8, y), words, SMALL).right + 0.35
        if facts.marks:
            x = pen.mark(x, y, Mark("read", None)).right + 0.25
        if facts.broken:
            pen.text((x, y), "✗ fault", SMALL, bold=True)
        rows += 1
    height = 0.45 * rows + (0.3 if rows else 0.0)
    top = TITLE * 1.3 + 0.4 * (len(head) - 1) + 0.45
    legend = [item.moved(0.0, 0.45 * rows - 0.25) for item in pen.items]
    boxes = [box.moved(0.0, 0.45 * rows - 0.25) for box in pen.boxes]
    body = scene.moved(0.0, height)
    items: list[Item] = [*body.items, *legend]
    y = scene.height + height + top - TITLE * 0.8
    for k, text in enumerate(head):
        item = Text((0.0, y), text, NAME if k else TITLE, bold=not k)
        items.append(item)
        boxes.append(Pen("heading", facts).box("heading", "label", [item]))
        y -= 0.48
    width = max([scene.width, *(box.right for box in boxes)])
    items.append(Line(((0.0, scene.height + height + 0.35), (width, scene.height + height + 0.35)), THIN))
    return Scene(tuple(items), (*body.boxes, *boxes), body.wires, width, scene.height + height + top)
