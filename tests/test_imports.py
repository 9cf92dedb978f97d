"""Imports point one way, and files and functions stay short: read from the package's own source."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BROKEN = ROOT / "tests" / "broken"

FOUNDATION = {"files", "quantities", "geometry", "events"}
VALUES = {*FOUNDATION, "devices.readings"}
"""What every part may stand on: units, geometry, files, events, and the values that devices report."""

ALLOWED = {
    "quantities": set[str](),
    "geometry": set[str](),
    "events": set[str](),
    "files": {"quantities"},
    "devices": {"files", "quantities", "link"},
    "link": {"files", "quantities", "devices.readings"},
    "guard": {"files", "quantities", "devices", "link"},
    "bench": {"files", "quantities", "geometry", "devices", "link"},
    "estimate": VALUES,
    "vision": {*VALUES, "estimate"},
    "motion": {*VALUES, "estimate"},
    "behaviour": VALUES,
    "errand": {*VALUES, "estimate"},
    "activities": {*VALUES, "behaviour", "motion", "estimate", "vision", "errand"},
    "core": {*VALUES, "behaviour", "motion", "estimate", "vision", "errand", "activities"},
    "record": {*VALUES, "core"},
    "report": {*FOUNDATION, "record", "estimate"},
    "session": {
        *VALUES,
        *("behaviour", "motion", "estimate", "vision", "errand", "activities", "core"),
        *("devices", "link", "guard", "bench", "record", "readiness"),
    },
    "readiness": {*VALUES, "behaviour", "motion", "session", "guard", "devices", "link"},
    "calibrate": {*VALUES, "motion", "estimate", "vision", "devices", "bench", "session"},
    "commands": {
        *VALUES,
        *("readiness", "session", "calibrate", "bench", "record", "report", "devices", "link"),
    },
    "__main__": {"commands"},
}
"""Part of the package -> what it may import besides itself; a dotted name is one module of a part."""

PURE = ("core", "activities", "errand", "behaviour", "motion", "estimate", "vision", "events", "quantities", "geometry")
IMPURE = {
    *("time", "datetime", "socket", "sqlite3", "threading", "os", "numpy"),
    *("secrets", "subprocess", "select", "signal", "uuid", "asyncio", "multiprocessing", "tempfile", "serial"),
}
"""The core reads no clock, draws nothing from outside and does no I/O; neither does what it imports of the package.

`rover.files` is left out: it reads the files, before a run.
"""

MODULES = sorted((ROOT / "rover").rglob("*.py"))


def part_of(path: Path) -> str:
    """Return the part a file belongs to: the folder below ``rover``, or the module itself."""
    return path.relative_to(ROOT / "rover").with_suffix("").parts[0]


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) of every import in a file, also of those inside functions."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: a relative import"
            yield from ((node.lineno, f"{node.module}.{name.name}") for name in node.names)


def is_allowed(name: str, part: str) -> bool:
    """Tell whether a part may import a name such as ``rover.files.load``."""
    own = name.removeprefix("rover.")
    return own == "__version__" or any(own == near or own.startswith(f"{near}.") for near in (part, *ALLOWED[part]))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_one_way(path: Path) -> None:
    part = part_of(path)
    names = [(line, name) for line, name in imported(path) if name.startswith("rover.")]
    backwards = [f"{path.relative_to(ROOT)}:{line}: {name}" for line, name in names if not is_allowed(name, part)]
    assert not backwards


def test_every_part_of_the_package_has_its_place() -> None:
    assert {part_of(path) for path in MODULES} - {"__init__"} <= set(ALLOWED)


def test_the_parts_stand_in_an_order_but_for_devices_and_link() -> None:
    """No ring of arrows; the two that lean on each other do so by the values that devices report alone."""
    open_parts = {part: {name.partition(".")[0] for name in near} - {"link"} for part, near in ALLOWED.items()}
    placed: set[str] = {"link"}
    while ready := {part for part, near in open_parts.items() if part not in placed and near <= placed}:
        placed |= ready
    assert placed == set(ALLOWED)


@pytest.mark.parametrize(
    "path", [path for path in MODULES if part_of(path) in PURE], ids=lambda path: str(path.relative_to(ROOT))
)
def test_the_core_reads_no_clock_and_draws_nothing_from_outside(path: Path) -> None:
    assert {name.partition(".")[0] for _, name in imported(path)}.isdisjoint(IMPURE)


def random_uses(tree: ast.AST) -> Iterator[str]:
    """Yield the names that a file takes from the module `random`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "random":
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "random":
            yield node.attr


@pytest.mark.parametrize(
    "path",
    [path for path in MODULES if part_of(path) in (*PURE, "bench")],
    ids=lambda path: str(path.relative_to(ROOT)),
)
def test_chance_comes_from_a_generator_with_a_seed(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    assert set(random_uses(tree)) <= {"Random"}
    seedless = [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and ast.unparse(node.func) in ("Random", "random.Random") and not node.args
    ]
    assert not seedless


def loaded_by(code: str, *arguments: str) -> set[str]:
    """Return the top-level packages, outside the standard library, that a process has loaded after some code."""
    report = (
        "; import sys; print('\\n'.join(sorted({name.partition('.')[0] for name in sys.modules})), file=sys.stderr)"
    )
    command = [sys.executable, "-c", f"{code}{report}", *arguments]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=ROOT, check=True)
    before = subprocess.run([sys.executable, "-c", report[2:]], capture_output=True, text=True, check=True).stderr
    new = set(ended.stderr.split()) - set(before.split()) - set(sys.stdlib_module_names)
    return {name for name in new if not name.startswith("_")}


CHECK = (
    "import sys; from rover.commands.main import commands; commands.main(['check', sys.argv[1]], standalone_mode=False)"
)
HELPERS = {"annotated_types", "typing_extensions", "typing_inspection", "pydantic_core", "org", "cython_runtime"}
"""What pydantic and PyYAML bring; ``org`` is a name under which the standard library looks for another interpreter."""


def test_the_commands_start_without_what_only_some_of_them_need() -> None:
    assert loaded_by("import rover.commands.main") <= {"rover", "click"}


@pytest.mark.parametrize("kind", ["behaviour", "robot", "bench", "errand"])
def test_a_check_loads_no_more_than_it_needs(kind: str) -> None:
    """Neither numpy, the state machine and the serial port, nor anything that a file names."""
    assert loaded_by(CHECK, str(BROKEN / "good" / f"{kind}.yaml")) <= {"rover", "click", "pydantic", "yaml", *HELPERS}


WRITTEN_BY_HAND = [
    path
    for folder in ("rover", "behaviours", "config", "tools", "tests")
    for pattern in ("*.py", "*.yaml", "*.sh", "*.h", "*.c")
    for path in sorted((ROOT / folder).rglob(pattern))
]


@pytest.mark.parametrize("path", WRITTEN_BY_HAND, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_is_longer_than_seven_hundred_lines(path: Path) -> None:
    assert len(path.read_text("utf-8", "replace").splitlines()) <= 700


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_function_is_longer_than_sixty_lines(path: Path) -> None:
    functions = [
        node
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    lengths = {f"{path.name}:{node.lineno} {node.name}": (node.end_lineno or 0) - node.lineno + 1 for node in functions}
    assert {name: length for name, length in lengths.items() if length > 60} == {}
