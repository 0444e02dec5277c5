"""Names of circuits find a file of the library or of the user."""

from __future__ import annotations

from pathlib import Path

import pytest

import seqsim
from seqsim.circuit import find_circuit, library, library_of
from seqsim.errors import CircuitError


def test_library_names_find_their_file() -> None:
    """Every circuit of the library is found by its bare name; files of readings are no circuits."""
    assert library()
    for name, path in library().items():
        assert find_circuit(name) == path
        assert path.is_file()
        assert "." not in name


def test_an_installed_package_carries_its_library_inside(tmp_path: Path) -> None:
    """In a wheel the circuits lie in the package, in a checkout beside it; those inside are looked at first."""
    package = tmp_path / "seqsim"
    beside, inside = tmp_path / "circuits", package / "circuits"
    for folder in (beside, inside):
        folder.mkdir(parents=True)
        (folder / "stage.yaml").write_text("format: 1\n")
        (folder / "stage.readings.yaml").write_text("format: 1\n")
    assert library_of(package) == {"stage": inside / "stage.yaml"}
    (inside / "stage.yaml").unlink()
    assert library_of(package) == {"stage": beside / "stage.yaml"}
    assert library_of(tmp_path / "none" / "seqsim") == {}
    assert library() == library_of(Path(seqsim.__file__).parent)


def test_a_slash_or_a_suffix_makes_a_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`board.yaml` and `./board` are files, `board` is a library circuit."""
    monkeypatch.chdir(tmp_path)
    Path("board.yaml").write_text("format: 1\n")
    Path("board").write_text("format: 1\n")
    assert find_circuit("board.yaml") == Path("board.yaml")
    assert find_circuit("./board") == Path("./board")
    with pytest.raises(CircuitError, match=r"for the file of that name write \./board"):
        find_circuit("board")


def test_unknown_names_get_close_matches(tmp_path: Path) -> None:
    """A misspelt library name and a misspelt path each name what comes close."""
    name = next(iter(library()))
    with pytest.raises(CircuitError, match=f"did you mean {name}"):
        find_circuit(name[:-1])
    (tmp_path / "board.yaml").write_text("format: 1\n")
    with pytest.raises(CircuitError, match=r"did you mean .*board\.yaml"):
        find_circuit(str(tmp_path / "bord.yaml"))
    with pytest.raises(CircuitError, match="check the path"):
        find_circuit(str(tmp_path / "none" / "x.yaml"))
    with pytest.raises(CircuitError, match="is empty"):
        find_circuit(" ")
