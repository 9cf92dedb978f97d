"""Has Python take rover's compiled modules, for as long as every source is still what was compiled.

`tools/compile.sh` has the Python of .venv import this at its start. One edited source is enough for all to run
interpreted: compiled modules rely on each other's insides.
"""

import os
import sys
from importlib.machinery import EXTENSION_SUFFIXES

INTERPRETED = "ROVER_INTERPRETED"
"""An environment variable: where it is set, the compiled modules are left alone."""


def digest(file):
    """Return what tells a file's content from any other."""
    from hashlib import blake2b

    with open(file, "rb") as content:
        return blake2b(content.read(), digest_size=16).hexdigest()


class CompiledModules:
    """Finds the compiled modules for Python's import.

    Args:
        build: the folder with these, each under its full name, and the file ``sources``: a line for each source, its
            digest, two blanks, and its path in the project.
        project: the tree that was compiled; a copy of it elsewhere is left alone.
    """

    def __init__(self, build, project):
        self._build, self._project = build, os.path.realpath(project)
        self._are_usable = None

    def find_spec(self, name, path=None, target=None):
        """Return where a module is, if it is one of these; None has Python look elsewhere."""
        file = os.path.join(self._build, name + EXTENSION_SUFFIXES[0])
        folder = os.path.join(self._project, *name.split(".")[:-1])
        if not path or os.path.realpath(next(iter(path))) != folder or not os.path.exists(file) or not self._usable():
            return None
        from importlib.util import spec_from_file_location

        return spec_from_file_location(name, file)

    def _usable(self):
        """Tell whether they are of the present sources; the answer holds for this process and those that it starts."""
        if self._are_usable is None:
            is_wanted = not os.environ.get(INTERPRETED)
            edited = self._first_edited() if is_wanted else ""
            if edited:
                os.environ[INTERPRETED] = "1"
                said = "is not what was compiled, so that all runs interpreted; tools/compile.sh compiles it"
                print(f"{edited} {said}", file=sys.stderr)
            self._are_usable = is_wanted and not edited
        return self._are_usable

    def _first_edited(self):
        """Return the first source that is no longer what was compiled; '' if there is none."""
        with open(os.path.join(self._build, "sources"), encoding="utf-8") as lines:
            for line in lines:
                was, _, source = line.rstrip("\n").partition("  ")
                file = os.path.join(self._project, source)
                if not os.path.exists(file) or digest(file) != was:
                    return source
        return ""


def put_first(build, project):
    """Have Python look for modules there first."""
    sys.meta_path.insert(0, CompiledModules(build, project))
