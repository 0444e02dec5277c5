"""The circuits of the library and the kinds of parts."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from pydantic import ValidationError

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.circuit.model import Level
from seqsim.errors import UnknownPlaceError
from seqsim.parts import KINDS, Part
from seqsim.parts.part import UNKNOWN, Mode, Source
from seqsim.quantity import Unit, format_quantity
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from pathlib import Path

    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class CircuitList(Result):
    """The circuits that can be named without a path; ``paths`` maps names to files."""

    circuits: Mapping[str, Circuit]
    paths: Mapping[str, Path]

    def to_dict(self) -> dict[str, Any]:
        """Return name, title, level, number of parts, file and file of readings of each circuit."""
        return {
            "schema": SCHEMA,
            "circuits": [
                {
                    "name": name,
                    "title": circuit.title,
                    "about": circuit.about,
                    "level": circuit.level,
                    "parts": len(circuit.parts),
                    "file": str(self.paths[name]),
                    "readings": _readings(self.paths[name]),
                }
                for name, circuit in self.circuits.items()
            ],
        }

    def renderable(self) -> RenderableType:
        """Return one line for each circuit."""
        from seqsim.wording.catalogue import circuits_text

        return circuits_text(self.to_dict())


@dataclass(frozen=True, slots=True)
class KindList(Result):
    """Kinds of parts; one alone is shown in full."""

    kinds: Mapping[str, type[Part]]

    def to_dict(self) -> dict[str, Any]:
        """Return pins, values, device types and failure modes of each kind."""
        return {"schema": SCHEMA, "kinds": [_kind(name, family) for name, family in self.kinds.items()]}

    def renderable(self) -> RenderableType:
        """Return one line for each kind, or all that is known of a single one."""
        from seqsim.wording.catalogue import kind_text, kinds_text

        fields = self.to_dict()
        return kind_text(fields["kinds"][0]) if len(self.kinds) == 1 else kinds_text(fields)


def list_circuits() -> CircuitList:
    """Return the circuits of the library, the easy ones first."""
    paths = library()
    circuits = {name: read_circuit(path) for name, path in paths.items()}
    ordered = sorted(circuits, key=lambda name: (_rank(circuits[name]), len(circuits[name].parts), name))
    return CircuitList({name: circuits[name] for name in ordered}, {name: paths[name] for name in ordered})


def _rank(circuit: Circuit) -> int:
    levels = get_args(Level)
    return len(levels) if circuit.level is None else levels.index(circuit.level)


def list_kinds(kind: str | None = None) -> KindList:
    """Return the kinds of parts, or one of them.

    Raises
    ------
    UnknownPlaceError
        If there is no such kind.
    """
    if kind is None:
        return KindList(KINDS)
    if kind not in KINDS:
        close = difflib.get_close_matches(kind, KINDS, n=3, cutoff=0.5)
        mend = f"did you mean {' or '.join(close)}?" if close else "`seqsim list --parts` shows all of them"
        raise UnknownPlaceError(f"there is no kind of part called '{kind}'; {mend}", place=kind, got=kind)
    return KindList({kind: KINDS[kind]})


def _readings(path: Path) -> str | None:
    beside = path.with_suffix(".readings.yaml")
    return str(beside) if beside.exists() else None


def _kind(name: str, family: type[Part]) -> dict[str, Any]:
    return {
        "kind": name,
        "title": family.title,
        "pins": list(family.pin_names),
        "optional_pins": sorted(family.optional_pins),
        "values": [_value(family, value) for value in family.values()],
        "options": _options(family),
        "default_model": family.default_model,
        "models": [
            {"name": model, "values": dict(values), **_source(family.model_sources.get(model))}
            for model, values in family.models.items()
        ],
        "modes": [{"name": mode.name, "share": mode.share, **_source(mode.source)} for mode in _modes(name, family)],
        "rate": {"relative": family.rate.relative, **_source(family.rate.source)},
    }


def _source(source: Source | None) -> dict[str, str | None]:
    if source is None:
        return {"source": None, "standing": None}
    return {"source": source.text, "standing": source.standing.value}


def _options(family: type[Part]) -> list[dict[str, Any]]:
    """What the file may say of a part besides its values: which of several types it is, conditions, yes or no."""
    return [
        {
            "name": name,
            "choices": _choices(field.annotation),
            "default": field.default if isinstance(field.default, str | bool) else None,
            "required": field.is_required(),
        }
        for name, field in family.model_fields.items()
        if name not in Part.model_fields and name not in family.values()
    ]


def _choices(annotation: Any) -> list[str]:
    """The words that an option can be, empty for free text."""
    if annotation is bool:
        return ["true", "false"]
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for arm in get_args(annotation) for word in _choices(arm)]


def _value(family: type[Part], name: str) -> dict[str, Any]:
    known = family.values()[name]
    field = family.model_fields[name]
    default = None if field.is_required() else field.default
    from_model = family.models.get(family.default_model or "", {}).get(name)
    if from_model is not None:
        default = from_model
    return {
        "name": name,
        "unit": known.unit.value,
        "meaning": known.meaning,
        "default": default if isinstance(default, int | float | str) else None,
        "required": field.is_required() and from_model is None,
        "shown_default": _shown(default, known.unit, required=field.is_required() and from_model is None),
        "spread": known.spread,
        "shown_spread": _spread(known.spread, known.unit, absolute=known.absolute),
        **_source(known.source),
    }


def _shown(default: object, unit: Unit, *, required: bool) -> str:
    if required:
        return "must be given"
    if default is None:
        return "none"
    if isinstance(default, bool) or not isinstance(default, int | float):
        return str(default)
    return format_quantity(default, unit)


def _spread(spread: float, unit: Unit, *, absolute: bool) -> str:
    if not spread:
        return ""
    return f"± {format_quantity(spread, unit)}" if absolute else f"± {spread * 100:.3g} %"


def _modes(name: str, family: type[Part]) -> tuple[Mode, ...]:
    """Failure modes of a sample of the family; none where they depend on what the file says."""
    given = {value: UNKNOWN for value in family.values() if family.model_fields[value].is_required()}
    known = family.base_values(given)
    given = {value: unknown for value, unknown in given.items() if value not in known}
    pins = {pin: pin for pin in family.pins_for(given | {"pins": {}})}
    try:
        return family(name="X", kind=name, pins=pins, **given).modes()
    except ValidationError:
        return ()
