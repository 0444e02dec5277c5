"""Blocks of parts and supplies: each kind in its usual shape, inputs left, outputs right."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from seqsim.drawing.facts import Facts
from seqsim.drawing.flow import TRANSISTORS, Flow, Shunt, Use
from seqsim.drawing.metrics import text_width
from seqsim.drawing.pen import LEAD, Block, Pen, label_lines, lines_height
from seqsim.drawing.scene import NAME, PLAIN, SMALL, Align, Area, Box, Point, rectangle
from seqsim.drawing.symbols import Symbol, contact, symbol
from seqsim.drawing.values import short_values, supply_values
from seqsim.network import GROUND
from seqsim.parts import Part, Supply
from seqsim.parts.supply import ENTRY

GATES = frozenset({"and", "or", "nand", "nor", "xor", "xnor", "not", "buffer", "comparator"})
DIODES = {"zener": "Zener", "schottky": "Schottky", "led": "LED"}
UPRIGHT: Mapping[str, tuple[str, str, str, str, str, str]] = {
    "BjtNpn": ("B", "base", "C", "collector", "E", "emitter"),
    "BjtPnp": ("B", "base", "E", "emitter", "C", "collector"),
    "NMos": ("G", "gate", "D", "drain", "S", "source"),
    "PMos": ("G", "gate", "S", "source", "D", "drain"),
}
"""By symbol: pin and anchor of the control, of the upper and of the lower end."""
ROW = 0.42
"""Distance of pins of a chip."""
GAP = 0.14


class PartDrawer:
    """Draws the blocks of a board's parts."""

    def __init__(self, flow: Flow, facts: Facts, shown: Collection[str] | None = None) -> None:
        self.flow = flow
        self.facts = facts
        self.shown = flow.after if shown is None else shown

    def block(self, name: str) -> Block:
        """Return the block of a part."""
        part = self.flow.circuit.parts[name]
        pen = Pen(f"part:{name}", self.facts)
        if part.symbol in UPRIGHT and part.kind in TRANSISTORS:
            self.transistor(pen, part)
        elif part.kind in GATES:
            self.gate(pen, part)
        elif part.kind == "optocoupler":
            self.optocoupler(pen, part)
        elif part.kind == "diode" and len(part.pins) > 2:
            self.dual(pen, part)
        elif len(part.pins) == 2 and part.kind != "connector":
            self.pair(pen, part)
        else:
            self.chip(pen, part)
        return pen.block()

    def supply(self, supply: Supply) -> Block:
        """Return the block of a supply: a source on ground, its wire to the right."""
        pen = Pen(f"supply:{supply.name}", self.facts)
        weight = self.facts.weight(supply.name + ENTRY)
        upright = symbol("SourceV", 90, scale=0.7, weight=PLAIN)
        at = (0.4, -0.15)
        ends = pen.put(upright, at, "end", supply.name)
        pen.line(at, (at[0], 0.0), weight=weight)
        pen.earth(ends["start"], "GND")
        word = self.facts.words.get(supply.name, "")
        lines = label_lines(supply.name, *supply_values(supply), word, marks=self.facts.broken.get(supply.name, ()))
        wide, _ = pen.lines((at[0] + 0.45, -0.3), lines)
        edge = at[0] + 0.55 + wide
        pen.line((at[0], 0.0), (edge, 0.0), weight=weight)
        pen.port(supply.net, (edge, 0.0), right=True, terminals=(supply.name + ENTRY,))
        self.broken_ring(pen, supply.name)
        return pen.block()

    # ---- pins ------------------------------------------------------------------------------------------------

    def use(self, part: Part, pin: str) -> Use:
        """Return what a pin means in the picture."""
        return self.flow.uses[part.name].get(pin, Use.TAKES)

    def weight(self, part: Part, pin: str) -> float:
        """Return the weight of the stroke at a pin."""
        return self.facts.weight(part.pin(pin))

    def side_pin(self, pen: Pen, part: Part, pin: str, at: Point, *, right: bool) -> None:
        """Lead a pin out of the block on the side where it stands."""
        net, use = part.pins[pin], self.use(part, pin)
        weight = self.weight(part, pin)
        if use is Use.RAIL or (use is not Use.EARTH and f"net:{net}" not in self.shown):
            pen.side_rail(at, net, weight, right=right)
        elif use is Use.EARTH:
            x = at[0] + (0.15 if right else -0.15)
            pen.line(at, (x, at[1]), weight=weight)
            pen.earth((x, at[1]), net, weight, left=not right)
        else:
            pen.port(net, at, right=right, terminals=(part.pin(pin),))

    def broken_ring(self, pen: Pen, name: str) -> None:
        """Ring the symbol of what is broken."""
        if self.facts.broken.get(name):
            mine = [box for box in pen.boxes if box.what == "symbol" and box.owner == name]
            pen.ring(_around(mine))

    def extras(self, pen: Pen, part: Part, at: Point) -> float:
        """Write levels and readings at the pins of a part, below a point; return the lowest point."""
        x, y = at
        low = y
        for pin in part.pins:
            name = part.pin(pin)
            flag = self.facts.flags.get(name)
            if flag is not None:
                box = pen.text((x, y - 0.2), name, SMALL)
                low = pen.flag(box.right + 0.08, y - 0.2, flag).bottom
                y = low - 0.02
            for mark in self.facts.marks.get(name, ()):
                low = pen.mark(x, y - 0.2, mark).bottom
                y = low - 0.02
        return low

    def label(self, part: Part) -> list[tuple[str, float, bool]]:
        """Return the lines of the label of a part."""
        marks = self.facts.broken.get(part.name, ())
        return label_lines(part.name, *short_values(part), self.facts.words.get(part.name, ""), marks=marks)

    # ---- two pins --------------------------------------------------------------------------------------------

    def pair_symbol(self, part: Part, turn: float) -> Symbol:
        """Return the symbol of a part with two pins, ``start`` at its first pin."""
        weight = self.facts.weight(*(part.pin(pin) for pin in part.pins))
        if part.symbol in ("Switch", "Button", "Jumper"):
            if self.facts.words.get(part.name) == "closed":
                return contact(turn, weight)
            return symbol("Switch" if part.symbol == "Jumper" else part.symbol, turn, weight=weight)
        name = DIODES.get(str(getattr(part, "type", "")), part.symbol) if part.kind == "diode" else part.symbol
        return symbol(name, turn, weight=weight)

    def pair(self, pen: Pen, part: Part) -> None:
        """Draw a part between two nets, lying."""
        first, second = part.pins
        forwards = self.use(part, first) is not Use.GIVES
        left, right = (first, second) if forwards else (second, first)
        drawn = self.pair_symbol(part, 0 if forwards else 180)
        marks = self.facts.broken.get(part.name, ())
        values = [value for value in (*short_values(part), self.facts.words.get(part.name, "")) if value]
        title = " ".join([part.name, *values])
        wide = text_width(part.name, NAME) + sum(text_width(" " + value, SMALL) for value in values)
        start, end = ("start", "end") if forwards else ("end", "start")
        body = abs(drawn.anchors["end"][0] - drawn.anchors["start"][0])
        full = max(body + 2 * LEAD, wide + 0.1)
        x = (full - body) / 2
        ends = pen.put(drawn, (x, 0.0), start, part.name)
        pen.line((0.0, 0.0), ends[start], weight=self.weight(part, left))
        pen.line(ends[end], (full, 0.0), weight=self.weight(part, right))
        top = max(box.top for box in pen.boxes)
        self.heading(pen, (full / 2 - wide / 2, top + 0.2), part.name, title.removeprefix(part.name))
        y = min(box.bottom for box in pen.boxes) - 0.05
        for mark in marks:
            y = pen.text((0.0, y - 0.2), f"✗ {mark}", SMALL, bold=True).bottom
        self.extras(pen, part, (0.0, y))
        self.broken_ring(pen, part.name)
        self.side_pin(pen, part, left, (0.0, 0.0), right=False)
        self.side_pin(pen, part, right, (full, 0.0), right=True)

    def heading(self, pen: Pen, at: Point, name: str, rest: str) -> None:
        """Write a name and, smaller, what follows it on the same line."""
        box = pen.text(at, name, NAME)
        if rest:
            pen.text((box.right, at[1]), rest, SMALL)

    def reach(self, shunt: Shunt) -> float:
        """Return how far the symbol of a part that hangs on a net extends to the left of its middle."""
        drawn = self.pair_symbol(shunt.part, 90)
        return max([0.2, *(abs(corner[0]) for item in drawn.items for corner in item.corners())])

    def shunt(self, pen: Pen, shunt: Shunt, x: float, *, earth: bool) -> float:
        """Draw a part that hangs on (``earth``) or stands upon the wire at height 0; return its right end."""
        part = shunt.part
        first = next(iter(part.pins))
        up = (shunt.near == first) is not earth
        drawn = self.pair_symbol(part, 90 if up else -90)
        near = "start" if shunt.near == first else "end"
        far = "end" if near == "start" else "start"
        sign = -1 if earth else 1
        weight = self.weight(part, shunt.near)
        reach = [abs(corner[0]) for item in drawn.items for corner in item.corners()]
        owner = part.name
        ends = pen.put(drawn, (x, sign * LEAD), near, owner)
        pen.line((x, 0.0), ends[near], weight=weight)
        body = pen.boxes[-1]
        lines = self.label(part)
        middle = sign * (LEAD + 0.5)
        half = lines_height(lines) / 2
        # a name at the far end that is wider than the symbol has to clear the label beside it
        named = text_width(shunt.far_net, SMALL, bold=True) / 2 > max(reach) if not earth else shunt.far_net != GROUND
        if earth:
            tip = (x, min(ends[far][1], body.bottom, middle - half if named else 0.0))
        else:
            tip = (x, max(ends[far][1], body.top, middle + half if named else 0.0))
        pen.line(ends[far], tip, weight=weight)
        if earth:
            pen.earth(tip, shunt.far_net, weight)
        else:
            pen.rail(tip, shunt.far_net, weight)
        label_x = x + max(reach) + (0.2 if part.name in self.facts.broken else 0.1)
        wide, low = pen.lines((label_x, middle + lines_height(lines) / 2 - 0.15), lines)
        self.extras(pen, part, (label_x, low))
        self.broken_ring(pen, owner)
        pen.dot((x, 0.0))
        return max([label_x + wide, *(box.right for box in pen.boxes)])

    # ---- transistors -----------------------------------------------------------------------------------------

    def transistor(self, pen: Pen, part: Part) -> None:
        """Draw a transistor upright: its control on the left, its ends above and below."""
        control, control_at, upper, upper_at, lower, lower_at = UPRIGHT[part.symbol]
        weight = self.facts.weight(part.pin(upper), part.pin(lower))
        drawn = symbol(part.symbol, weight=weight)
        ends = pen.put(drawn, (0.15, 0.0), control_at, part.name)
        pen.line((0.0, 0.0), ends[control_at], weight=self.weight(part, control))
        right = max(box.right for box in pen.boxes)
        lines = self.label(part)
        room = 0.28 if part.name in self.facts.broken else 0.16
        top, bottom = ends[upper_at][1], ends[lower_at][1]
        label_y = min(top - 0.28, 0.38)
        wide, low = pen.lines((right + room, label_y), lines)
        low = self.extras(pen, part, (right + room, low))
        edge = right + room + 0.1 + wide
        edge = max([edge, *(box.right + 0.1 for box in pen.boxes)])
        self.broken_ring(pen, part.name)
        self.end(pen, part, upper, ends[upper_at], max(top + 0.05, 0.0), edge, up=True)
        down = min(bottom - 0.05, low - 0.12) if self.use(part, lower) is Use.GIVES else bottom - 0.05
        self.end(pen, part, lower, ends[lower_at], down, edge, up=False)
        self.side_pin(pen, part, control, (0.0, 0.0), right=False)

    def end(self, pen: Pen, part: Part, pin: str, at: Point, y: float, edge: float, *, up: bool) -> None:
        """Lead the upper or lower end of a device to its rail, to ground, or out to the side."""
        net, use, weight = part.pins[pin], self.use(part, pin), self.weight(part, pin)
        if use is Use.RAIL or (use is Use.EARTH and up):
            pen.rail(at, net, weight, down=not up)
        elif use is Use.EARTH:
            pen.earth(at, net, weight)
        else:
            right = use is Use.GIVES
            side = (edge if right else 0.0, y)
            pen.line(at, (at[0], y), side, weight=weight)
            self.side_pin(pen, part, pin, side, right=right)

    def optocoupler(self, pen: Pen, part: Part) -> None:
        """Draw an optocoupler: its diode on the left, its transistor on the right."""
        drawn = symbol("Optocoupler", weight=self.facts.weight(part.pin("C"), part.pin("E")))
        ends = pen.put(drawn, (0.1, 0.0), "anode", part.name)
        lines = self.label(part)
        x = ends["anode"][0] + 0.5
        _, low = pen.lines((x, min(box.bottom for box in pen.boxes) - 0.2), lines)
        self.extras(pen, part, (x, low))
        edge = max(box.right for box in pen.boxes) + 0.15
        self.broken_ring(pen, part.name)
        for pin, anchor, right in (
            ("A", "anode", False), ("K", "cathode", False), ("C", "collector", True), ("E", "emitter", True),
        ):  # fmt: skip
            at = ends[anchor]
            if right and self.use(part, pin) is Use.TAKES:
                y = min(box.bottom for box in pen.boxes) - 0.15
                pen.line(at, (edge + 0.1, at[1]), (edge + 0.1, y), (0.0, y), weight=self.weight(part, pin))
                pen.port(part.pins[pin], (0.0, y), right=False, terminals=(part.pin(pin),))
                continue
            side = (edge if right else 0.0, at[1])
            pen.line(at, side, weight=self.weight(part, pin))
            self.side_pin(pen, part, pin, side, right=right)

    # ---- duals -----------------------------------------------------------------------------------------------

    def dual(self, pen: Pen, part: Part) -> None:
        """Draw two diodes in one package: the legs on one side, what they share on the other."""
        kind = getattr(part, "dual", None)
        common = {"common-anode": "A", "common-cathode": "K"}.get(str(kind), "M")
        legs = [pin for pin in part.pins if pin != common]
        legs_right = self.use(part, common) is Use.TAKES and any(self.use(part, leg) is Use.GIVES for leg in legs)
        spread = 0.55
        name = DIODES.get(str(getattr(part, "type", "")), part.symbol)
        near, far = 0.35, 1.05
        for leg, y in zip(legs, (spread, -spread), strict=True):
            anode_leg = leg.startswith("A")
            flows_right = anode_leg is not legs_right
            drawn = symbol(name, 0 if flows_right else 180, weight=self.weight(part, leg))
            left_anchor, right_anchor = ("start", "end") if flows_right else ("end", "start")
            ends = pen.put(drawn, (near, y), left_anchor, part.name)
            outer, inner = (0.0, far) if not legs_right else (1.4, near - 0.1)
            leg_end, common_end = (left_anchor, right_anchor) if not legs_right else (right_anchor, left_anchor)
            pen.line((outer, y), ends[leg_end], weight=self.weight(part, leg))
            pen.line(ends[common_end], (inner, y), (inner, 0.0), weight=self.weight(part, leg))
        join = far if not legs_right else near - 0.1
        edge = 1.4 if not legs_right else 0.0
        pen.line((join, 0.0), (edge, 0.0), weight=self.weight(part, common))
        pen.dot((join, 0.0))
        top = max(box.top for box in pen.boxes)
        word = self.facts.words.get(part.name, "")
        self.heading(pen, (0.0, top + 0.2), part.name, " ".join(["", *short_values(part), word]).rstrip())
        y = min(box.bottom for box in pen.boxes) - 0.02
        for mark in self.facts.broken.get(part.name, ()):
            y = pen.text((0.0, y - 0.2), f"✗ {mark}", SMALL, bold=True).bottom
        self.extras(pen, part, (0.0, y))
        self.broken_ring(pen, part.name)
        for leg, y in zip(legs, (spread, -spread), strict=True):
            self.side_pin(pen, part, leg, (1.4 if legs_right else 0.0, y), right=legs_right)
        self.side_pin(pen, part, common, (edge, 0.0), right=not legs_right)

    # ---- chips -----------------------------------------------------------------------------------------------

    def gate(self, pen: Pen, part: Part) -> None:
        """Draw a gate or comparator by its shape; its supply stands in its label."""
        inputs = [pin for pin in part.pins if pin not in ("Y", "OUT", "VCC", "GND")]
        if part.kind == "comparator":
            drawn, inputs = symbol("Opamp", scale=0.55), ["INN", "INP"]
        else:
            drawn = symbol({"buffer": "Buf"}.get(part.kind, part.symbol), inputs=max(len(inputs), 2))
        ends = pen.put(
            drawn,
            (LEAD + 0.1, 0.0) if "in2" not in drawn.anchors else (LEAD, drawn.anchors["in1"][1]),
            "in1",
            part.name,
        )
        output = "Y" if "Y" in part.pins else "OUT"
        shape = _around(pen.boxes)
        edge = shape.right + 0.1
        lines = self.label(part)
        supply = part.pins.get("VCC")
        if supply is not None and self.use(part, "VCC") is Use.RAIL:
            lines[1:1] = [(f"on {supply}", SMALL, False)]
        x = shape.left + 0.1
        _, low = pen.lines((x, shape.bottom - 0.22), lines)
        self.extras(pen, part, (x, low))
        self.broken_ring(pen, part.name)
        if supply is not None and self.use(part, "VCC") is Use.TAKES:
            middle = (shape.left + shape.right) / 2
            y = shape.top + 0.15
            pen.line((middle, shape.top - 0.1), (middle, y), (0.0, y), weight=self.weight(part, "VCC"))
            pen.port(supply, (0.0, y), right=False, terminals=(part.pin("VCC"),))
        for k, pin in enumerate(inputs, start=1):
            at = ends[f"in{k}"]
            pen.line((0.0, at[1]), at, weight=self.weight(part, pin))
            self.side_pin(pen, part, pin, (0.0, at[1]), right=False)
        pen.line(ends["out"], (edge, ends["out"][1]), weight=self.weight(part, output))
        self.side_pin(pen, part, output, (edge, ends["out"][1]), right=True)

    def chip(self, pen: Pen, part: Part) -> None:
        """Draw a chip as a box: what it takes on the left, what it gives on the right, its supply above."""
        right = [pin for pin in part.pins if self.use(part, pin) is Use.GIVES]
        above = [pin for pin in ("VCC", "RAIL") if pin in part.pins and self.use(part, pin) is Use.RAIL]
        hidden = [pin for pin in ("GND",) if self.use(part, pin) is Use.EARTH]
        # what lies on ground comes last, so that no wire crosses its symbol
        left = sorted(
            (pin for pin in part.pins if pin not in (*right, *above, *hidden)),
            key=lambda pin: self.use(part, pin) is Use.EARTH,
        )
        lines = self.label(part)
        inside = max(
            [text_width(text, size, bold=bold) + 0.3 for text, size, bold in lines]
            + [_row_width(left, right, k) for k in range(max(len(left), len(right)))]
        )
        rows = max(len(left), len(right), 1)
        head = lines_height(lines) + 0.12
        x0, x1 = 0.2, 0.2 + max(inside, 1.0)
        top, bottom = head + 0.2, -(rows - 1) * ROW - 0.3
        frame = rectangle(x0, bottom, x1, top)
        self.frame(pen, part, frame)
        pen.lines((x0 + 0.12, top - 0.24), lines)
        self.extras(pen, part, (x0, bottom))
        self.broken_ring(pen, part.name)
        for pins, edge, on_right in ((left, x0, False), (right, x1, True)):
            for k, pin in enumerate(pins):
                y = -k * ROW
                sign = 1 if on_right else -1
                align = Align.RIGHT if on_right else Align.LEFT
                pen.text((edge - sign * 0.08, y), pin, SMALL * 0.9, align=align)
                pen.line((edge, y), (edge + sign * 0.2, y), weight=self.weight(part, pin))
                self.side_pin(pen, part, pin, (edge + sign * 0.2, y), right=on_right)
        for k, pin in enumerate(above):
            x = (x0 + x1) / 2 + k * 0.6
            pen.rail((x, top), part.pins[pin], self.weight(part, pin))

    def frame(self, pen: Pen, part: Part, corners: Sequence[Point]) -> None:
        """Draw the outline of a chip."""
        outline = Area(tuple(corners), None, 1.4)
        pen.items.append(outline)
        pen.box(part.name, "symbol", [outline])


def _row_width(left: Sequence[str], right: Sequence[str], row: int) -> float:
    texts = [pins[row] for pins in (left, right) if row < len(pins)]
    return sum(text_width(text, SMALL * 0.9) for text in texts) + 0.2 + GAP


def _around(boxes: Sequence[Box]) -> Box:
    return Box(
        boxes[0].owner, "symbol",
        min(box.left for box in boxes), min(box.bottom for box in boxes),
        max(box.right for box in boxes), max(box.top for box in boxes),
    )  # fmt: skip
