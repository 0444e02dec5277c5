"""The library of circuit files that comes with seqsim."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import seqsim
from seqsim.circuit.names import suggest
from seqsim.errors import CircuitError

SUFFIX = ".yaml"
READINGS_SUFFIX = ".readings.yaml"


def library() -> Mapping[str, Path]:
    """Return the circuits of the library by name, sorted."""
    return library_of(Path(seqsim.__file__).parent)


def library_of(package: Path) -> Mapping[str, Path]:
    """Return the circuits that come with a package.

    An installed package carries them inside, a source checkout has them beside the package.
    """
    for folder in (package / "circuits", package.parent / "circuits"):
        found = {
            path.name.removesuffix(SUFFIX): path
            for path in sorted(folder.glob(f"*{SUFFIX}"))
            if not path.name.endswith(READINGS_SUFFIX)
        }
        if found:
            return found
    return {}


def find_circuit(name: str | Path) -> Path:
    """Return the file that a name means: a path if it has a `/` or a suffix, else a circuit of the library.

    Raises
    ------
    CircuitError
        If there is no such file or library circuit.
    """
    text = str(name)
    if not text.strip():
        raise CircuitError("the name of the circuit is empty; name a file or a library circuit (`seqsim list`)")
    path = Path(text)
    if isinstance(name, Path) or "/" in text or "\\" in text or path.suffix:
        if not path.exists():
            known = [str(item) for item in _beside(path)]
            raise CircuitError(f"there is no file '{text}'{_tail(text, known)}", file=text, got=text)
        return path
    known_circuits = library()
    if text in known_circuits:
        return known_circuits[text]
    message = f"the library has no circuit '{text}'{suggest(text, known_circuits)}"
    if path.exists():
        message = f"the library has no circuit '{text}'; for the file of that name write ./{text}"
    raise CircuitError(message, got=text)


def _beside(path: Path) -> list[Path]:
    """Files of the same suffix in the folder of a path that does not exist."""
    try:
        return sorted(path.parent.glob(f"*{path.suffix}"))[:200] if path.suffix else []
    except OSError:
        return []


def _tail(text: str, known: list[str]) -> str:
    hint = suggest(text, known)
    return hint if hint.startswith("; did") else "; check the path"
