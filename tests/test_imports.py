"""Imports point one way; files, classes and functions stay small: read from the package's own source.

A rule lists all its offenders at once. What is still open when a rule comes in stands in `OPEN`, which only shrinks: an
entry that is no longer needed fails, as a new offender does.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GOOD = ROOT / "tests" / "broken" / "good"
DEVICES = ROOT / "rover" / "devices"

LEAVES = {
    *("devices.readings", "devices.families", "devices.family", "devices.keys", "devices.with_driver"),
    *("devices.jaws", "devices.mount", "devices.own", "devices.signals"),
    *(
        f"devices.{path.parent.name}.{path.stem}"
        for name in ("family", "keys", "values", "signals")
        for path in DEVICES.glob(f"*/{name}.py")
    ),
}
"""What devices report and are commanded, and the keys by which the robot file describes them."""
VALUES = {"files", "quantities", "kinds", "geometry", "events", "awaited", "stopping", *LEAVES}
"""What every part may stand on: units, geometry, files, events, and the leaves of the devices."""

MIDDLE = {"errand", "behaviour", "motion", "estimate", "vision"}
CORE = {"core", "activities", *MIDDLE}
HARDWARE = {"bench", "guard", "devices", "link"}

ALLOWED = {
    "errors": set[str](),
    "quantities": set[str](),
    "geometry": set[str](),
    "kinds": {"quantities"},
    "awaited": {"quantities"},
    "events": {"awaited"},
    "stopping": set[str](),
    "files": {"quantities", "geometry", "events", *LEAVES},
    "simulation": VALUES,
    "link": VALUES,
    "devices": {*VALUES, "link"},
    "guard": {*VALUES, "devices", "link"},
    "bench": {*VALUES, "devices", "link", "simulation"},
    "estimate": VALUES,
    "behaviour": VALUES,
    "vision": {*VALUES, "estimate"},
    "motion": {*VALUES, "estimate"},
    "errand": {*VALUES, "estimate"},
    "activities": {*VALUES, *MIDDLE},
    "core": {*VALUES, *MIDDLE, "activities"},
    "record": {*VALUES, "core"},
    "report": {*VALUES, "record", "estimate", "feasibility", "behaviour"},
    "notices": {*VALUES, "record", "report", "estimate"},
    "diagnosis": {*VALUES, "record", "session"},
    "session": {*VALUES, *CORE, *HARDWARE, "record", "simulation", "feasibility"},
    "page": {*VALUES, *CORE, "session", "record", "report"},
    "feasibility": {*VALUES, *MIDDLE, "activities"},
    "readiness": {
        *VALUES,
        "feasibility",
        "session",
        "testing",
        "behaviour",
        "motion",
        "guard",
        "devices",
        "link",
        "notices",
    },
    "trials": {*VALUES, *CORE, "session", "record", "report"},
    "calibrate": {*VALUES, "session", "motion", "estimate", "vision", "devices", "bench", "readiness.person"},
    "project": VALUES,
    "survey": {*VALUES, "session", "estimate", "readiness.person"},
    "commands": {
        *VALUES,
        "project",
        "survey",
        "readiness",
        "feasibility",
        "calibrate",
        "report",
        "notices",
        "diagnosis",
        "page",
        "trials",
        "session",
        "record",
        "devices",
        "link",
        "activities",
    },
    "__main__": {"commands"},
    "testing": {*VALUES, "session", "devices", "vision", "core.possible"},
    "__init__": {*VALUES, "devices", "behaviour", "motion", "activities", "session", "simulation"},
}
"""Part of the package -> what it may import besides itself; a dotted name is one module of a part, a leaf."""

OPEN = {
    "imports": set[str](),
    "files": set[str](),
    "classes": {
        "rover/activities/activity.py: Knowledge",
        "rover/bench/bench.py: Bench",
        "rover/bench/gripper.py: Jaws",
        "rover/errand/ledger.py: Ledger",
        "rover/estimate/dead_reckoning.py: DeadReckoning",
        "rover/files/bench.py: BenchFile",
    },
    "functions": set[str](),
}
"""Rule -> its offenders of today."""

PURE = {*CORE, "events", "awaited", "quantities", "geometry", "errors"}
IMPURE = {
    *("time", "datetime", "socket", "sqlite3", "threading", "os", "numpy"),
    *("secrets", "subprocess", "select", "signal", "uuid", "asyncio", "multiprocessing", "tempfile", "serial"),
}
"""The core reads no clock, draws nothing from outside and does no I/O; neither does what it imports of the package.

`rover.files` is left out: it reads the files, before a run.
"""


@cache
def modules() -> dict[str, ast.Module]:
    paths = sorted((ROOT / "rover").rglob("*.py"))
    return {str(path.relative_to(ROOT)): ast.parse(path.read_text("utf-8")) for path in paths}


def part_of(module: str) -> str:
    """Return the part a module belongs to: the folder below ``rover``, or the module itself."""
    return Path(module).with_suffix("").parts[1]


def refuse(found: Mapping[str, str], rule: str = "") -> None:
    """Fail with every offender, and what is to be said of it, that `OPEN` has not, and every one there that is well."""
    known = OPEN[rule] if rule else set()
    new = [f"{offender}: {said}" for offender, said in found.items() if offender not in known]
    gone = [f"{offender}: is well now; take it out of OPEN" for offender in sorted(known - set(found))]
    if new or gone:
        pytest.fail("\n".join(["offenders:", *new, *gone]), pytrace=False)


def imported(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) of every import in a file, also of those inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.lineno, f"{'.' * node.level}{node.module or ''}.{name.name}") for name in node.names)


def named(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) of every text in a file that names a part of the package."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from ((node.lineno, name) for name in re.findall(r"\brover\.\w[\w.]*", node.value))


def is_allowed(name: str, part: str) -> bool:
    """Tell whether a part may import a name such as ``rover.files.load``."""
    own = name.removeprefix("rover.")
    near = ("__version__", "errors", part, *ALLOWED[part])
    return any(own == one or own.startswith(f"{one}.") for one in near)


def test_imports_point_one_way() -> None:
    """What devices and link name in a text counts as well: whoever is above registers with them."""
    offenders: dict[str, str] = {}
    for module, tree in modules().items():
        part = part_of(module)
        names = [*imported(tree), *(named(tree) if part in ("devices", "link") else ())]
        for line, name in names:
            if name.startswith((".", "rover.")) and not is_allowed(name, part):
                offender = f"{module}: {'.'.join(name.split('.')[:2])}"
                offenders[offender] = f"{offenders.get(offender, '')} line {line} names {name}"
    refuse(offenders, "imports")


def test_every_part_of_the_package_has_its_place() -> None:
    assert {part_of(module) for module in modules()} <= set(ALLOWED)


def test_the_parts_stand_in_an_order() -> None:
    """No ring of arrows, but for leaves: modules that stand on nothing of their own part."""
    missing = {part: {name for name in near if "." not in name} for part, near in ALLOWED.items()}
    placed: set[str] = set()
    while ready := {part for part, near in missing.items() if part not in placed and near <= placed}:
        placed |= ready
    assert placed == set(ALLOWED)
    leaves = {name for near in ALLOWED.values() for name in near if "." in name}
    refuse(
        {
            f"{leaf}: line {line}": f"a leaf, yet it imports {name}"
            for leaf in leaves
            for line, name in imported(modules()[f"rover/{leaf.replace('.', '/')}.py"])
            if name.startswith("rover.") and not is_allowed(name, "files") and not name.startswith("rover.kinds")
        }
    )


def test_only_the_session_knows_core_and_hardware_alike() -> None:
    assert [part for part, near in ALLOWED.items() if "core" in near and near & HARDWARE] == ["session"]


FAKE = re.compile(r"rover\.(devices\.\w+\.scripted|devices\.script|link\.emulat\w*)(\.|$)")


def test_nothing_that_meets_hardware_imports_a_fake() -> None:
    """Scripted devices and the emulated co-processor: tests, the bench and those who start them do."""
    refuse(
        {
            f"{module}:{line}": name
            for module, tree in modules().items()
            if part_of(module) in HARDWARE - {"bench"}
            if not FAKE.match(module.removesuffix(".py").replace("/", "."))
            for line, name in imported(tree)
            if FAKE.match(name)
        }
    )


def test_the_core_reads_no_clock_and_draws_nothing_from_outside() -> None:
    refuse(
        {
            f"{module}:{line}": name
            for module, tree in modules().items()
            if part_of(module) in PURE
            for line, name in imported(tree)
            if name.partition(".")[0] in IMPURE
        }
    )


def is_free_chance(node: ast.AST) -> bool:
    """Tell whether a node takes more from `random` than the class `Random`, or makes one without a seed."""
    match node:
        case ast.ImportFrom(module="random"):
            return {name.name for name in node.names} != {"Random"}
        case ast.Attribute(value=ast.Name(id="random")):
            return node.attr != "Random"
        case ast.Call(args=[]):
            return ast.unparse(node.func) in ("Random", "random.Random")
    return False


def test_chance_comes_from_a_generator_with_a_seed() -> None:
    refuse(
        {
            f"{module}:{getattr(node, 'lineno', 0)}": ast.unparse(node)
            for module, tree in modules().items()
            if part_of(module) in {*PURE, "bench"}
            for node in ast.walk(tree)
            if is_free_chance(node)
        }
    )


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


def test_what_the_package_offers_is_loaded_when_it_is_asked_for() -> None:
    nothing = "import sys, rover; assert not [name for name in sys.modules if name.startswith('rover.')]"
    assert loaded_by(nothing) == {"rover"}
    readings = "from rover import Reading, Fault, RangeValue, WheelCounts, DriveCommand, Frame, Request"
    assert loaded_by(readings) == {"rover"}


def test_the_commands_start_without_what_only_some_of_them_need() -> None:
    assert loaded_by("import rover.commands.main") <= {"rover", "click"}


@pytest.mark.parametrize("kind", ["behaviour", "robot", "bench", "errand"])
def test_a_check_loads_no_more_than_it_needs(kind: str) -> None:
    """Neither the state machine and the serial port, nor anything that a file names; numpy for the field alone."""
    needed = {"rover", "click", "pydantic", "yaml", *HELPERS, *(["numpy"] if kind == "errand" else [])}
    assert loaded_by(CHECK, str(GOOD / f"{kind}.yaml")) <= needed


def test_no_file_is_longer_than_350_lines() -> None:
    paths = [
        path
        for folder in ("rover", "behaviours", "config", "tools", "tests")
        for pattern in ("*.py", "*.yaml", "*.sh", "*.h", "*.c")
        for path in (ROOT / folder).rglob(pattern)
    ]
    lengths = {str(path.relative_to(ROOT)): path.read_bytes().count(b"\n") for path in sorted(paths)}
    refuse({path: f"{length} lines" for path, length in lengths.items() if length > 350}, "files")


def names_of(tree: ast.ClassDef) -> set[str]:
    """Return the names that a class has: methods, fields and what methods set on ``self``; not those with ``__``."""
    names = {node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)}
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(value=ast.Name(id="self"), ctx=ast.Store()):
                names.add(node.attr)
            case ast.Assign() | ast.AnnAssign() if node in tree.body:
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names |= {target.id for target in targets if isinstance(target, ast.Name)}
    return {name for name in names if not name.startswith("__")}


def test_no_class_has_more_than_15_public_and_20_private_names() -> None:
    offenders = {}
    for module, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                private = sum(name.startswith("_") for name in names_of(node))
                public = len(names_of(node)) - private
                if public > 15 or private > 20:
                    offenders[f"{module}: {node.name}"] = f"{public} public and {private} private names"
    refuse(offenders, "classes")


def test_no_function_is_longer_than_60_lines() -> None:
    refuse(
        {
            f"{module}: {node.name}": f"{length} lines"
            for module, tree in modules().items()
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            if (length := (node.end_lineno or 0) - node.lineno + 1) > 60
        },
        "functions",
    )
