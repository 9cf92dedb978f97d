"""The package as it is built and installed has what it needs with it."""

import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest
import setuptools

pytestmark = pytest.mark.skipif(
    int(setuptools.__version__.split(".")[0]) < 77,
    reason="needs setuptools 77: pip install -c constraints.txt -e '.[dev]'",
)
ROOT = Path(__file__).parents[1]
SOURCES = ("rover", "behaviours", "pyproject.toml", "README.md", "LICENSE")
ERRAND = """
errand: Bring the jars in
files: {robot: cart.yaml, behaviour: collect}
field:
  boundary: [[0 m, 0 m], [3 m, 0 m], [3 m, 2.5 m], [0 m, 2.5 m]]
  start: {x: 1.5 m, y: 1 m}
  zone: {x: 60 cm, y: 60 cm, width: 80 cm, depth: 80 cm}
kinds: {amber: {lid: amber, height: 60 mm, width: 50 mm}}
"""


def built(what: str, project: Path, into: Path) -> Path:
    """Return what the build backend makes of a project's folder: a ``wheel`` or an ``sdist``."""
    code = f"from setuptools import build_meta; print(build_meta.build_{what}({str(into)!r}))"
    said = subprocess.run([sys.executable, "-c", code], cwd=project, capture_output=True, text=True, check=False)
    assert said.returncode == 0, said.stderr
    return into / said.stdout.splitlines()[-1]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a wheel that was built from a source distribution, unpacked."""
    folder = tmp_path_factory.mktemp("built")
    project = folder / "project"
    project.mkdir()
    for name in SOURCES:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, project / name, symlinks=True, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, project)
    with tarfile.open(built("sdist", project, folder)) as sdist:
        # Our own archive. Python 3.11.2, as Debian 12 has it, knows no filters yet.
        sdist.extraction_filter = lambda member, _: member
        sdist.extractall(folder / "sdist")
    (unpacked,) = (folder / "sdist").iterdir()
    with zipfile.ZipFile(built("wheel", unpacked, folder)) as wheel:
        wheel.extractall(folder / "installed")
    return folder / "installed"


def rover(installed: Path, folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    said = subprocess.run(
        [sys.executable, "-m", "rover", *arguments],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 0, said.stderr
    return said


def test_behaviours_come_along_and_an_errand_anywhere_names_them(installed, tmp_path):
    shutil.copy(ROOT / "config/cart.yaml", tmp_path)
    (tmp_path / "errand.yaml").write_text(ERRAND, encoding="utf-8")
    said = rover(installed, tmp_path, "check", "errand.yaml")
    assert f"behaviour  {installed}/rover/behaviours/collect.yaml, which comes with rover" in said.stdout
    assert f"part       {installed}/rover/behaviours/parts/seek.yaml, which comes with rover" in said.stdout


def test_every_behaviour_comes_along(installed):
    there = {path.relative_to(installed / "rover") for path in installed.glob("rover/behaviours/**/*.yaml")}
    assert there == {path.relative_to(ROOT) for path in ROOT.glob("behaviours/**/*.yaml")}


def test_a_project_of_ones_own_is_started_from_it(installed, tmp_path):
    rover(installed, tmp_path, "new", "mine", "--yes")
    rover(installed, tmp_path / "mine", "check", "config/errand.yaml", "--drivers", ".")
