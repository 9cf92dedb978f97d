"""Compiled modules are taken as long as every source is what was compiled; an edit is never without effect."""

import os
import runpy
import shutil
import subprocess
import sys
import sysconfig
from hashlib import blake2b
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path

import pytest

COMPILED = Path(__file__).parents[2] / "tools" / "compiled"
HEADERS = Path(sysconfig.get_path("include"))
MODULE = """
#include <Python.h>
static struct PyModuleDef described = {PyModuleDef_HEAD_INIT, "part", NULL, -1, NULL};
PyMODINIT_FUNC PyInit_part(void) {
    PyObject *part = PyModule_Create(&described);
    PyModule_AddStringConstant(part, "MADE", "compiled");
    return part;
}
"""
SOURCES = ("__init__.py", "part.py")
IMPORT = """
import sys, rover_compiled
rover_compiled.put_first(*sys.argv[1:])
from rover import part
print(part.MADE)
"""

pytestmark = [
    pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler: apt install gcc libc6-dev"),
    pytest.mark.skipif(not (HEADERS / "Python.h").exists(), reason="needs Python's headers: apt install python3-dev"),
]


@pytest.fixture
def tree(tmp_path):
    """A project with two sources, of which one is compiled."""
    package, build = tmp_path / "tree" / "rover", tmp_path / "tree" / "build" / "compiled"
    package.mkdir(parents=True)
    build.mkdir(parents=True)
    (package / "__init__.py").touch()
    (package / "part.py").write_text("MADE = 'interpreted'\n")
    (tmp_path / "part.c").write_text(MODULE)
    made = build / f"rover.part{EXTENSION_SUFFIXES[0]}"
    subprocess.run(["cc", "-shared", "-fPIC", f"-I{HEADERS}", "-o", made, tmp_path / "part.c"], check=True)
    digests = {one: blake2b((package / one).read_bytes(), digest_size=16).hexdigest() for one in SOURCES}
    (build / "sources").write_text("".join(f"{digest}  rover/{one}\n" for one, digest in digests.items()))
    return package.parent


def imported(tree, project, **environment):
    """Return (what a tree's module says of itself, what is said besides), where those of a project are looked for."""
    rest = {name: value for name, value in os.environ.items() if name != "ROVER_INTERPRETED"}
    path = os.pathsep.join([str(COMPILED), str(tree)])
    # Without `site`: the .venv in which this runs may have compiled modules of its own.
    command = [sys.executable, "-S", "-c", IMPORT, project / "build" / "compiled", project]
    environment = {**rest, "PYTHONPATH": path, **environment}
    ended = subprocess.run(command, cwd=tree, env=environment, capture_output=True, text=True)
    return ended.stdout.strip(), ended.stderr.strip()


def test_the_compiled_module_is_taken(tree):
    assert imported(tree, tree) == ("compiled", "")


def test_an_edit_has_all_run_interpreted_and_that_is_said(tree):
    (tree / "rover" / "__init__.py").write_text("# edited\n")
    made, said = imported(tree, tree)
    assert made == "interpreted"
    assert said.startswith("rover/__init__.py is not what was compiled")


def test_so_has_a_source_that_is_gone(tree):
    sources = tree / "build" / "compiled" / "sources"
    sources.write_text(sources.read_text() + "0123  rover/gone.py\n")
    assert imported(tree, tree)[0] == "interpreted"


def test_it_can_be_left_alone(tree):
    assert imported(tree, tree, ROVER_INTERPRETED="1") == ("interpreted", "")


def test_a_copy_of_the_project_does_not_take_those_of_another(tree, tmp_path):
    shutil.copytree(tree / "rover", tmp_path / "copy" / "rover")
    assert imported(tmp_path / "copy", tree) == ("interpreted", "")


def test_a_build_that_was_thrown_away_is_not_missed(tree):
    shutil.rmtree(tree / "build")
    assert imported(tree, tree) == ("interpreted", "")


def test_each_module_to_compile_is_there(monkeypatch):
    monkeypatch.syspath_prepend(str(COMPILED))
    paths = runpy.run_path(str(COMPILED / "build.py"))["modules"]()
    assert paths
    assert [path for path in paths if not (COMPILED.parents[1] / path).is_file()] == []
