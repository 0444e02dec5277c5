"""What a part's class refuses, as one sentence for the user."""

from __future__ import annotations

import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from seqsim.circuit.names import close
from seqsim.errors import SeqsimError


@dataclass(frozen=True, slots=True)
class Refusal:
    """The ``key`` of the file that is meant (None for the whole), and one sentence without the part's name."""

    key: str | None
    sentence: str


def refusals(error: ValidationError, cls: type[BaseModel]) -> tuple[Refusal, ...]:
    """Word each thing that a class refused; of several about one key, the first."""
    found: dict[str | None, Refusal] = {}
    for item in error.errors(include_url=False):
        refusal = _refusal(item, cls)
        found.setdefault(refusal.key, refusal)
    return tuple(found.values())


def _refusal(item: Mapping[str, Any], cls: type[BaseModel]) -> Refusal:
    key = str(item["loc"][0]) if item["loc"] else None
    got = item.get("input")
    match item["type"]:
        case "value_error":
            cause = item["ctx"]["error"]
            sentence = cause.message if isinstance(cause, SeqsimError) else str(cause)
            key = getattr(cause, "key", None) or key
            if key is not None and key not in sentence:
                sentence = f"{key}: {sentence}"
        case "missing":
            field = cls.model_fields.get(key or "")
            meaning = f" ({field.description})" if field is not None and field.description else ""
            sentence = f"{key}{meaning} is missing; add it, or write `{key}: ?` if it is unknown"
        case "literal_error" | "enum":
            words = [str(word) for word in _words(cls.model_fields[key or ""].annotation)]
            like = close(str(got), words, 1)
            hint = f"; did you mean {like[0]}?" if like and len(words) > 2 else ""
            sentence = f"{key} is '{got}', but it must be {' or '.join(words)}{hint}"
        case "bool_parsing" | "bool_type":
            sentence = f"{key} is '{got}', but it must be true or false"
        case _:
            shown = f"'{got}'" if isinstance(got, str | float | int) else "not of the right form"
            sentence = f"{key} is {shown}, which has no meaning there ({item['msg'][:1].lower()}{item['msg'][1:]})"
    return Refusal(key, sentence)


def _words(annotation: Any) -> tuple[Any, ...]:
    """Words of a `Literal`, also of one that may be left out."""
    if get_origin(annotation) in (Union, types.UnionType):
        return tuple(word for item in get_args(annotation) if item is not type(None) for word in _words(item))
    return get_args(annotation)


def takes_several(annotation: Any) -> bool:
    """Tell whether a field can hold a list or mapping."""
    origin = get_origin(annotation)
    if origin in (Union, types.UnionType):
        return any(takes_several(item) for item in get_args(annotation))
    kind = origin or annotation
    return isinstance(kind, type) and issubclass(kind, Sequence | Mapping | set | frozenset) and kind is not str
