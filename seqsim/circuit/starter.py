"""The circuit file that `check --new` writes for its user to change."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from seqsim.errors import CircuitError


def starter_text() -> str:
    """Return a commented circuit file of an invented scenario; it checks clean."""
    return files(__package__).joinpath("starter.yaml").read_text(encoding="utf-8")


def write_starter(path: str | Path) -> None:
    """Write the starter to a new file.

    Raises
    ------
    CircuitError
        If the file exists already or cannot be written.
    """
    file = str(path)
    try:
        with Path(path).open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(starter_text())
    except FileExistsError:
        raise CircuitError("this file exists already and is left alone; name a new one", file=file) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CircuitError(f"the file cannot be written ({reason}); check its folder and rights", file=file) from None
