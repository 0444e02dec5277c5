"""Blocks of nets: a stretch of wire with the net's name, its level, what was read there and what hangs on it."""

from __future__ import annotations

from collections.abc import Sequence

from seqsim.drawing.facts import Facts
from seqsim.drawing.flow import Flow
from seqsim.drawing.metrics import text_width
from seqsim.drawing.part_blocks import PartDrawer
from seqsim.drawing.pen import FRAME, PALE, Block, Pen
from seqsim.drawing.scene import NAME, PLAIN, SMALL, Align, Area, Text, rectangle

MARGIN = 0.12


class NetDrawer:
    """Draws the blocks of a board's nets."""

    def __init__(self, flow: Flow, facts: Facts) -> None:
        self.flow = flow
        self.facts = facts
        self.parts = PartDrawer(flow, facts)
        self.pins = flow.circuit.pins()

    def block(self, net: str, folded: Sequence[str] = (), *, fed: bool = True, feeds: bool = True) -> Block:
        """Return the block of a net.

        ``folded`` are parts that it also feeds and that the picture leaves out; ``fed`` and ``feeds`` tell whether
        wires come from the left and leave to the right.
        """
        pen = Pen(f"net:{net}", self.facts)
        x = MARGIN
        wide = self.name(pen, net, x)
        y = -0.3
        flag = self.facts.flags.get(net)
        if flag is not None:
            box = pen.flag(x, y, flag)
            wide, y = max(wide, box.right - x), y - 0.38
        for mark in self.facts.marks.get(net, ()):
            box = pen.mark(x, y, mark)
            wide, y = max(wide, box.right - x), y - 0.38
        for fault in self.facts.broken.get(net, ()):
            box = pen.text((x, y), f"✗ {fault}", SMALL, bold=True)
            wide, y = max(wide, box.right - x), y - 0.34
        right = x + wide
        shunts = self.flow.shunts.get(net, ())
        grounds = frozenset(self.flow.circuit.grounds)
        standing = [s for s in shunts if s.far_net not in grounds]
        hanging = [s for s in shunts if s.far_net in grounds]
        dots: list[float] = []
        for k in range(max(len(standing), len(hanging))):
            slot = [(row[k], earth) for row, earth in ((standing, False), (hanging, True)) if k < len(row)]
            at = right + 0.2 + max(self.parts.reach(shunt) for shunt, _ in slot)
            dots.append(at)
            for shunt, earth in slot:
                right = max(right, self.parts.shunt(pen, shunt, at, earth=earth))
        edge = right + MARGIN
        terminals = [pin for pin, on in self.pins.items() if on == net]
        start = 0.0 if fed or not dots else min(MARGIN, dots[0])
        end = edge if feeds or not dots else dots[-1]
        pen.line((start, 0.0), (end, 0.0), weight=self.facts.weight(*terminals))
        pen.port(net, (0.0, 0.0), right=False)
        pen.port(net, (edge, 0.0), right=True)
        if folded:
            pen.text((edge + 0.1, 0.24), f"also to {', '.join(folded)}", SMALL)
        return pen.block()

    def name(self, pen: Pen, net: str, x: float) -> float:
        """Write the name above the wire; that of the target in a frame. Return its width."""
        y = 0.24
        if net != self.flow.circuit.target:
            box = pen.text((x, y), net, NAME, bold=True)
            return box.right - box.left
        wide = text_width(net, NAME, bold=True) + 4 * FRAME
        frame = Area(rectangle(x, y - 0.19, x + wide, y + 0.23), None, 2.0)
        pen.items += [frame, Text((x + 2 * FRAME, y), net, NAME, bold=True)]
        box = pen.box(pen.key, "label", [frame])
        word = pen.text((x, box.top + 0.17), "target", SMALL)
        return max(wide, word.right - word.left)


def flag_block(net: str, *, leaves: bool, count: int) -> Block:
    """Return the pointed flag where a net leaves a row of the picture, or enters one; ``count`` tells them apart."""
    pen = Pen(f"{'exit' if leaves else 'entry'}:{net}:{count}", Facts())
    wide = text_width(net, SMALL, bold=True) + 4 * FRAME
    point, half = 0.16, 0.19
    if leaves:
        outline = ((0.0, -half), (wide, -half), (wide + point, 0.0), (wide, half), (0.0, half))
        pen.items.append(Area(outline, PALE, PLAIN))
        pen.items.append(Text((wide / 2, 0.0), net, SMALL, bold=True, align=Align.CENTRE))
        pen.port(net, (0.0, 0.0), right=False)
    else:
        outline = ((0.0, -half), (wide, -half), (wide + point, 0.0), (wide, half), (0.0, half))
        pen.items.append(Area(outline, PALE, PLAIN))
        pen.items.append(Text((wide / 2, 0.0), net, SMALL, bold=True, align=Align.CENTRE))
        pen.port(net, (wide + point, 0.0), right=True)
    pen.box(pen.key, "label", [pen.items[0]])
    return pen.block()
