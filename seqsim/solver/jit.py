"""Compilation of the kernel, kept on disk for the next run.

Numba looks at a function's own file to see whether its cache is stale, not at the files of the functions that it
calls; so the folder's name carries a hash of all that is compiled and all that it imports here, and a change of any
of these files starts a new folder.
"""

from __future__ import annotations

import hashlib
import logging
import re
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba import njit
from numpy.typing import NDArray
from platformdirs import user_cache_path

LOG = logging.getLogger("seqsim")
KEPT = 3
"""Folders of compiled code that are kept, the newest ones."""

Function = TypeVar("Function", bound=Callable[..., object])


@cache
def cache_folder() -> Path:
    """Return the folder in the user's cache that holds the code compiled from these sources."""
    name = hashlib.sha256((_sources() + numba.__version__).encode()).hexdigest()[:16]
    return user_cache_path("seqsim") / "compiled" / name


def _sources() -> str:
    """Return the text of the files with compiled functions, and of those that they import from this package."""
    texts = {path.stem: path.read_text(encoding="utf-8") for path in sorted(Path(__file__).parent.glob("*.py"))}
    wanted = {name for name, text in texts.items() if re.search(r"^@(compiled|inlined)", text, re.MULTILINE)}
    waiting = list(wanted)
    while waiting:
        for name in re.findall(r"^from seqsim\.solver\.(\w+) import", texts[waiting.pop()], re.MULTILINE):
            if name not in wanted:
                wanted.add(name)
                waiting.append(name)
    return "".join(texts[name] for name in sorted(wanted))


def is_compiled(module: str) -> bool:
    """Tell whether compiled code of a module of this package is on disk, so that nobody waits for the compiler."""
    folder = cache_folder()
    return folder.is_dir() and any(folder.rglob(f"{module}.*.nbc"))


@cache
def announce(module: str) -> None:
    """Log, once, that a module of this package is compiled first, where it is not yet."""
    if not is_compiled(module):
        LOG.info("compiling the solver, once for this version; this takes about a minute")


def compiled(function: Function) -> Function:
    """Compile a function when it is first called, or take it from the cache."""
    return _compiled(function)


def borrowing(function: Function) -> Function:
    """Compile a function that makes no arrays of its own.

    It does not count who holds the arrays that it is given, which in small functions takes longer than their work.
    """
    return _compiled(function, _nrt=False)


def inlined(function: Function) -> Function:
    """Compile such a function into each of its callers, since a call hands over every array."""
    return _compiled(function, _nrt=False, inline="always")


def _compiled(function: Function, **options: Any) -> Function:
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = str(_prepared())
    try:
        return cast("Function", njit(cache=True, nogil=True, error_model="numpy", **options)(function))
    finally:
        config.CACHE_DIR = before


@cache
def _prepared() -> Path:
    """Make the folder, and clear away what older versions left."""
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        others = sorted((path for path in folder.parent.iterdir() if path != folder), key=lambda p: p.stat().st_mtime)
        for stale in others[: max(len(others) - KEPT + 1, 0)]:
            shutil.rmtree(stale, ignore_errors=True)
    except OSError:  # a read-only home: numba then finds a place of its own, or compiles anew
        pass
    return folder


@inlined
def put(target: NDArray[Any], source: NDArray[Any]) -> None:
    """Copy numbers one by one: a slice on the left might first be copied elsewhere, into an array of its own."""
    for k in range(len(source)):
        target[k] = source[k]
