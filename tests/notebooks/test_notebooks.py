from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
RUN = """\
import sys
import nbformat
from nbclient import NotebookClient

notebook = nbformat.read(sys.argv[1], as_version=4)
NotebookClient(notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": sys.argv[2]}}).execute()
nbformat.validate(notebook)
print(sum(len(cell.get("outputs", ())) for cell in notebook.cells))
"""


def test_there_are_notebooks() -> None:
    """The folder is where the tests look for it."""
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs_to_its_last_check(path: Path, tmp_path: Path) -> None:
    """Every cell runs in its order in a fresh kernel, in an empty folder, and shows something."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(path), str(tmp_path)], capture_output=True, check=False, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert int(done.stdout.split()[-1]) > 0


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_outputs(path: Path) -> None:
    """What a cell shows is made anew, so that it cannot be out of date."""
    import json

    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    assert all(not cell.get("outputs") and cell.get("execution_count") is None for cell in cells)
    assert "assert" in "".join(cells[-1]["source"])
