"""Which code a run is carried out by: rover's own, and what the files name of a person's own."""

import hashlib
import os
import platform
import sys
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from pathlib import Path

import rover


def digest(texts: Iterable[str]) -> str:
    """Return a short hash of some texts in their order."""
    found = hashlib.sha256()
    for text in texts:
        found.update(text.encode() + b"\0")
    return found.hexdigest()[:16]


def program_digest(folders: Sequence[Path] = ()) -> str:
    """Return a hash of the program's own code, and of that in ``folders``: other code may decide otherwise."""
    package = Path(rover.__file__).parent
    sources = (path for folder in (package, *folders) for path in sorted(_sources_in(folder)))
    return digest(path.read_text("utf-8", "replace") for path in sources)


def _sources_in(folder: Path) -> Iterator[Path]:
    """Yield the modules below a folder; not those of an environment, nor an editor's lock, a link to nowhere."""
    for path, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".") and name != "site-packages"]
        found = (Path(path, name) for name in files if name.endswith(".py"))
        yield from (one for one in found if one.is_file())


@cache
def own_program() -> str:
    """Return a hash of the program's own code, as it was when this was first asked."""
    return program_digest()


def computer() -> str:
    """Return what the last digit of a number may depend on: processor, Python, and its compiler."""
    return f"{platform.machine()}, Python {platform.python_version()} ({platform.python_compiler()})"


def digests_of(names: Iterable[str]) -> dict[str, str]:
    """Return a hash of the file of each ``package.module:Class`` that is imported by now."""
    found = {}
    for name in names:
        file = getattr(sys.modules.get(name.partition(":")[0]), "__file__", None)
        if file is not None and Path(file).is_file():
            found[name] = digest([Path(file).read_text("utf-8", "replace")])
    return found
