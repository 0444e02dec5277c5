"""Any part of a kind, invented by Hypothesis from what its family declares: device types, options and values."""

from __future__ import annotations

import math
from typing import Any, Literal, get_args, get_origin

from hypothesis import strategies as st
from pydantic import ValidationError
from single_part import NEEDED, part

from seqsim.parts import KINDS, Part

DECADES = 2.0
"""How far a value lies from the usual one at most, in powers of ten."""
LEAST, MOST = 1e-15, 1e3
"""Values where a family sets no limit."""
SHAPES = ("pins", "name", "kind", "model", "package", "spread", "pin_order", "unknown", "dual")
"""Fields that say what a part is joined to, not how it behaves, or that ask for other pins."""


@st.composite
def parts_of(draw: st.DrawFn, kind: str) -> Part:
    """Draw a part of a kind; where what was drawn does not fit together, the last values drawn are left out again."""
    family = KINDS[kind]
    given: dict[str, Any] = {}
    models = sorted(family.models)
    if models:
        given["model"] = draw(st.sampled_from(models))
    made = _fitting(kind, given)
    for name, choices in sorted(_options(family).items()):
        if draw(st.booleans()):
            made = _fitting(kind, given, name, draw(st.sampled_from(choices))) or made
    for name in draw(st.permutations(sorted(family.values()))):
        if draw(st.integers(0, 3)) == 0:
            made = _fitting(kind, given, name, draw(_number(family, name, made))) or made
    if made is None:
        made = part(kind)
    return made


def _fitting(kind: str, given: dict[str, Any], name: str = "", value: Any = None) -> Part | None:
    """Return the part with a value more, and note it in ``given``; None if it does not fit."""
    tried = given | ({name: value} if name else {})
    needed = NEEDED.get(kind, {})
    if kind == "load" and "ohms" in tried:
        needed = {}  # ohms or amperes, not both
    try:
        made = part(kind, **(needed | tried))
    except ValidationError:
        return None
    given.update(tried)
    return made


def _options(family: type[Part]) -> dict[str, list[Any]]:
    """Return the words and switches of a family."""
    found: dict[str, list[Any]] = {}
    for name, field in family.model_fields.items():
        if name in family.values() or name in SHAPES:
            continue
        if field.annotation is bool:
            found[name] = [False, True]
        elif get_origin(field.annotation) is Literal:
            found[name] = list(get_args(field.annotation))
    return found


def _number(family: type[Part], name: str, made: Part | None) -> st.SearchStrategy[Any]:
    """Return values around the usual one, inside the family's limits."""
    known = family.values()[name]
    usual = getattr(made, name, None)
    if isinstance(usual, tuple):
        return st.tuples(st.floats(0.7, 0.98), st.floats(1.02, 1.3))
    if name == "quiescent":
        return st.sampled_from(["90k", "1mA"])
    lowest, highest = max(known.least, LEAST), min(known.most, MOST)
    usual = abs(float(usual)) if isinstance(usual, int | float) and usual else math.sqrt(lowest * highest)
    least, most = max(lowest, usual * 10**-DECADES), min(highest, usual * 10**DECADES)
    return st.floats(math.log(least), math.log(most)).map(lambda x: min(max(math.exp(x), least), most))
