"""Minimal Boolean expressions by sympy, as words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Row = tuple[bool, ...]


@dataclass(frozen=True)
class Expression:
    """A Boolean function of named inputs.

    ``formula`` is sympy's, over the symbols x0, x1 … in the order of ``names``; ``text`` writes it with the names.
    ``used`` are the names that it depends on, ``senses`` how each of them acts: 1 rising, -1 falling, 0 both.
    """

    names: tuple[str, ...]
    formula: Any
    text: str
    used: tuple[str, ...]
    senses: Mapping[str, int]

    def __call__(self, **values: bool) -> bool:
        """Return the value for inputs that are given by name."""
        import sympy

        chosen = {sympy.Symbol(f"x{k}"): values[name] for k, name in enumerate(self.names)}
        return bool(self.formula.subs(chosen)) if self.used else bool(self.formula)


def minimal(names: Sequence[str], true: Sequence[Row], free: Sequence[Row] = ()) -> Expression:
    """Return the shortest expression that is true on the rows ``true``, false on others, and as it likes on ``free``.

    A sum of products, a product of sums, or an exclusive or, whichever has the fewest literals; inputs on which
    nothing depends are dropped first, since the work grows with 2 to their number.
    """
    import sympy

    wanted, open_ = set(true), set(free)
    kept = [k for k in range(len(names)) if _matters(k, len(names), wanted, open_)]
    symbols = [sympy.Symbol(f"x{k}") for k in kept]

    def reduced(rows: set[Row]) -> list[list[int]]:
        return [list(row) for row in sorted({tuple(int(each[k]) for k in kept) for each in rows})]

    ones = reduced(wanted)
    anything = [row for row in reduced(open_) if row not in ones]
    if not kept:
        formula: Any = sympy.true if ones else sympy.false
    else:
        candidates = [sympy.SOPform(symbols, ones, anything), sympy.POSform(symbols, ones, anything)]
        if not anything:
            candidates += _parity(symbols, ones)
        formula = min(candidates, key=_literals)
    used = tuple(names[k] for k in kept if sympy.Symbol(f"x{k}") in formula.free_symbols)
    senses = {name: _sense(list(names).index(name), len(names), wanted, open_) for name in used}
    return Expression(tuple(names), formula, _text(formula, names), used, senses)


def _matters(k: int, count: int, wanted: set[Row], free: set[Row]) -> bool:
    """Tell whether two rows that differ in one input alone must differ in value."""
    for number in range(1 << count):
        row = tuple(bool(number >> (count - 1 - i) & 1) for i in range(count))
        other = (*row[:k], not row[k], *row[k + 1 :])
        if not row[k] and (row in wanted) != (other in wanted) and row not in free and other not in free:
            return True
    return False


def _sense(k: int, count: int, wanted: set[Row], free: set[Row]) -> int:
    """Return how the value follows one input: 1 with it, -1 against it, 0 both."""
    found = set()
    for number in range(1 << count):
        row = tuple(bool(number >> (count - 1 - i) & 1) for i in range(count))
        other = (*row[:k], not row[k], *row[k + 1 :])
        if not row[k] and (row in wanted) != (other in wanted) and row not in free and other not in free:
            found.add(1 if other in wanted else -1)
    return found.pop() if len(found) == 1 else 0


def _parity(symbols: list[Any], ones: list[list[int]]) -> list[Any]:
    """Return the exclusive or of all symbols, or its opposite, where the rows are that."""
    import sympy

    if len(symbols) < 2 or len(ones) != 1 << (len(symbols) - 1):
        return []
    odd = {sum(row) % 2 for row in ones}
    if len(odd) != 1:
        return []
    exclusive = sympy.Xor(*symbols)
    return [exclusive if odd == {1} else sympy.Not(exclusive, evaluate=False)]


def _literals(formula: Any) -> tuple[int, int]:
    """Return how long a formula reads: names, then operators."""
    import sympy

    atoms = sum(1 for each in sympy.preorder_traversal(formula) if each.is_Symbol)
    return atoms, sum(1 for each in sympy.preorder_traversal(formula) if not each.is_Symbol)


def _text(formula: Any, names: Sequence[str], *, inner: bool = False) -> str:
    import sympy

    if formula in (sympy.true, sympy.false):
        return "always" if formula == sympy.true else "never"
    if formula.is_Symbol:
        return str(names[int(formula.name[1:])])
    if isinstance(formula, sympy.Not):
        return f"not {_text(formula.args[0], names, inner=True)}"
    word = {sympy.And: " and ", sympy.Or: " or ", sympy.Xor: " xor "}[formula.func]
    ordered = sorted(formula.args, key=lambda each: min(int(s.name[1:]) for s in each.free_symbols))
    text = word.join(_text(each, names, inner=True) for each in ordered)
    return f"({text})" if inner else text
