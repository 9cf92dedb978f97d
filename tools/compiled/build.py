"""Compiles the modules in which a step spends its time; called by tools/compile.sh, which says what for.

A copy of the package is compiled, into build/compiled: nothing comes to lie beside the sources. `rover_compiled`, which
is put into .venv, has its Python look there.

What is not in `MODULES` stays as it is: what people inherit from (activities, hosts, simulations, drivers), models of
files, and what takes no time.
"""

import argparse
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path

from rover_compiled import digest

ROOT = Path(__file__).resolve().parents[2]
BUILD = ROOT / "build" / "compiled"
FINDER = Path(__file__).with_name("rover_compiled.py")
PACKAGES = Path(sysconfig.get_path("purelib"))
HOOK = PACKAGES / "rover_compiled.pth"
GROUP = "_rover"
"""Names the library that holds all the compiled code; the compiled modules themselves only point into it."""
MODULES = {
    ".": "geometry",
    "bench": "bench crowd devices draws faults floor gripper happenings line lips motors objects orientation "
    "rendered_camera report_faults reporter sight sonar",
    "core": "angle_noise beyond closing course cross_checks drive_curve due health lag position_fixes possible "
    "sameness scale senses side sides signals step stopping targeting together turn_factor turns",
    "errand": "ledger obstacles",
    "estimate": "contradictions covariance dead_reckoning doubt field fixes grip history jump looked_at motion_noise "
    "odometry pose slip source turning unseen walls_heard",
    "motion": "carriage contact disc_ways echo explored free_space goal heard hold_backs keep_clear lattice legs "
    "limits narrows outline planner profile stall wheels",
    "record": "schema",
    "session": "driver drivers recorder truth without",
    "vision": "clear_view location targets",
}
"""By folder of the package."""
SAME_ARITHMETIC = "-ffp-contract=off"
"""Has the C compiler round as the interpreter does; one that joins product and sum (ARM) has other last digits."""
LOST = "Unsupported default attribute value"
"""What mypyc says where it leaves out what a class body sets: that has to be declared a ClassVar."""
SETUP = """
import sys
from mypyc.build import mypycify
from setuptools import setup

group, *files = sys.argv[1:]
sys.argv[1:] = ["--quiet", "build_ext", "--inplace"]
setup(name=group, packages=[], ext_modules=mypycify(files, group_name=group, multi_file=True))
"""


def modules():
    """Return the paths of the modules to compile, in the project."""
    return [Path("rover") / folder / f"{name}.py" for folder, names in MODULES.items() for name in names.split()]


def what_is_missing():
    """Return what this computer lacks for compiling, in a sentence; '' if nothing."""
    compiler = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc").split()[0]
    if shutil.which(compiler) is None:
        return f"needs a C compiler, and there is no '{compiler}': on Debian, apt install gcc"
    headers = Path(sysconfig.get_path("include"))
    if not (headers / "Python.h").exists():
        return f"needs Python's headers, and {headers} has no Python.h: on Debian, apt install python3-dev"
    return ""


def misread():
    """Return where mypy takes what can be reached for unreachable, a line each: compiled, it would be left out."""
    command = [sys.executable, "-m", "mypy", "--warn-unreachable", "--no-error-summary"]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True).stdout
    return [line for line in found.splitlines() if Path(line.partition(":")[0]) in modules()]


def compiled_in(folder):
    """Compile a copy of the package in a folder; return the files made, by the names under which Python finds them."""
    shutil.copytree(ROOT / "rover", folder / "rover", ignore=shutil.ignore_patterns("__pycache__"))
    environment = {**os.environ, "CFLAGS": f"{os.environ.get('CFLAGS', '')} {SAME_ARITHMETIC}".strip()}
    command = [sys.executable, "-c", SETUP, GROUP, *map(str, modules())]
    ended = subprocess.run(
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    if ended.returncode or LOST in ended.stdout:
        sys.exit(f"{ended.stdout}\nThis failed (above); nothing has changed.")
    suffix = EXTENSION_SUFFIXES[0]
    made = {".".join(path.with_suffix("").parts) + suffix: folder / path.with_suffix(suffix) for path in modules()}
    return {**made, f"{GROUP}__mypyc{suffix}": folder / f"{GROUP}__mypyc{suffix}"}


def clean():
    """Go back to the interpreter."""
    for file in (HOOK, PACKAGES / FINDER.name):
        file.unlink(missing_ok=True)
    shutil.rmtree(BUILD, ignore_errors=True)


def build():
    """Compile, and put what was made in the place of what was there before."""
    sources = sorted(path.relative_to(ROOT) for path in (ROOT / "rover").rglob("*.py"))
    lines = [f"{digest(ROOT / source)}  {source}\n" for source in sources]
    with tempfile.TemporaryDirectory(prefix="rover-compile-") as folder:
        made = compiled_in(Path(folder))
        clean()
        BUILD.mkdir(parents=True)
        for name, file in made.items():
            shutil.copy(file, BUILD / name)
    (BUILD / "sources").write_text("".join(lines), encoding="utf-8")
    have_python_look()


def have_python_look():
    """Have the Python of .venv look for the compiled modules; where there are none (any more) it goes on without."""
    shutil.copy(FINDER, PACKAGES)
    here = f"{str(BUILD)!r}, {str(ROOT)!r}"
    HOOK.write_text(f"{BUILD}\nimport rover_compiled; rover_compiled.put_first({here})\n", encoding="utf-8")


def main():
    parser = argparse.ArgumentParser(prog="tools/compile.sh", description="Compile the modules that take the time.")
    parser.add_argument("--clean", action="store_true", help="go back to the interpreter alone")
    if parser.parse_args().clean:
        clean()
        print("All runs interpreted.")
        return
    if missing := what_is_missing():
        sys.exit(missing)
    if lines := misread():
        sys.exit(
            "\n".join([*lines, "mypy takes this for unreachable, and it would be compiled so: nothing was compiled"])
        )
    print(f"Compiling {len(modules())} modules; this takes some minutes ...", flush=True)
    build()
    print("Compiled. An edited source has all run interpreted, and says so, until this is run again.")


if __name__ == "__main__":
    main()
