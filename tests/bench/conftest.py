"""A cart, a bay and a bench without any effect, from which each test switches on what it is about."""

from types import SimpleNamespace
from typing import Any

import pytest

from rover.bench.bench import Bench
from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.devices.registry import SIMULATED, load_driver
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.robot import Robot

ROBOT: dict[str, Any] = {
    "robot": "Test cart",
    "body": {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"},
    "links": {"main": {"port": "/dev/null"}},
    "devices": {
        "drive": {"driver": "simulated"},
        "counts": {"driver": "simulated", "link": "main"},
        "heading": {"driver": "simulated", "link": "main"},
        "range": {"driver": "simulated"},
        "camera": {"driver": "simulated"},
        "gripper": {"driver": "simulated", "feedback": "position"},
        "battery": {"driver": "simulated", "link": "main"},
        "stop_input": {"driver": "simulated"},
    },
}
ERRAND: dict[str, Any] = {
    "errand": "Test errand",
    "files": {"robot": "robot.yaml", "behaviour": "behaviour.yaml"},
    "field": {
        "boundary": [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]],
        "start": {"x": "2 m", "y": "2 m", "heading": "0 deg"},
        "zone": {"x": "60 cm", "y": "60 cm", "width": "1.2 m", "depth": "1.2 m"},
    },
    "kinds": {name: {"lid": name, "height": "60 mm", "width": "50 mm"} for name in ("amber", "teal", "violet")},
}
# Every effect at nothing: the closed forms hold.
QUIET: dict[str, dict[str, Any]] = {
    "floor": {
        "track_factor": 1.0,
        "turn_ahead": "0 m",
        "turn_wander": "0 m",
        "turn_left": "0 m",
        "slip": 0,
        "slip_every": "0 s",
        "heading_bias": "0 deg",
        "bias_step": "0 deg",
    },
    "off_the_map": {"start": "0 m", "turned": "0 deg", "walls": "0 m", "marker": "0 m"},
    "motors": {"mismatch": 0, "dead_band": 0, "lag": "1 us"},
    "battery": {"charge": 1, "resistance_factor": 0, "lasts": "1000000 h", "idle": "0 A"},
    "counts": {"missed": 0, "added": 0},
    "heading": {"noise": "0 deg", "rate_noise": "0 deg/s", "drift": "0 deg"},
    "range": {"noise": "0 m", "missing": 0, "stray": 0, "specular_beyond": "30 deg"},
    "camera": {
        "latency": "0 s",
        "pitch_noise": "0 deg",
        "dip": "0 deg",
        "bearing_noise": "0 deg",
        "blur_at": "100000 deg/s",
        "missed": 0,
        "false": 0,
        "flicker_every": "0 s",
        "nearest": "10 cm",
        "farthest_factor": 1.0,
    },
    "link": {"latency": "0 s", "stall_every": "0 s"},
    "gripper": {"missed": 0, "dropped": 0},
}
FOREVER = 1 << 62


def bench_file(**changes: Any) -> BenchFile:
    """Return the quiet bench file; a section's keys replace those of the same name only."""
    merged = {key: QUIET[key] | value if key in QUIET else value for key, value in changes.items()}
    return BenchFile.model_validate({"bench": "Test"} | QUIET | merged)


def robot(**devices: Any) -> Robot:
    """Return the test cart, with changed keys of some devices."""
    changed = {name: keys | devices.get(name, {}) for name, keys in ROBOT["devices"].items()}
    return Robot.model_validate(ROBOT | {"devices": changed})


def errand(**field: Any) -> Errand:
    """Return the test errand, with changed keys of its field."""
    return Errand.model_validate(ERRAND | {"field": ERRAND["field"] | field})


def quiet_bench(seed: int = 1, **changes: Any) -> Bench:
    """Return a bench on which only what ``changes`` says goes wrong."""
    return Bench(bench_file(**changes), robot(), errand(), seed)


def jar(x: float, y: float, kind: str = "amber") -> dict[str, str]:
    """Return an entry of ``objects``."""
    return {"kind": kind, "x": f"{x} m", "y": f"{y} m"}


def seconds(time: float) -> int:
    """Return a time in nanoseconds."""
    return round(time * 1e9)


def run(bench: Bench, left: float, right: float, lasts: float) -> None:
    """Drive with fixed duties for a time (s) from now."""
    bench.drive(left, right, FOREVER)
    bench.advance(bench.now_ns + seconds(lasts))
    bench.drive(0.0, 0.0, FOREVER)


def device(bench: Bench, family: str) -> Any:
    """Return the stand-in of a device on a bench, with the options of the robot file."""
    options = bench.robot.devices.fitted()[family].options
    return load_driver(family, SIMULATED)(options, DriverContext(bench.robot, bench.seed, {}, bench))


def linked_drive(bench: Bench) -> Any:
    """Return the stand-in of the drive, on the link."""
    options = bench.robot.devices.drive.options | {"link": "main"}
    return load_driver("drive", SIMULATED)(options, DriverContext(bench.robot, bench.seed, {}, bench, name="drive"))


def reports(bench: Bench, family: str, lasts: float) -> list[Reading]:
    """Return what a device reports when it is polled every 20 ms for a time (s)."""
    driver = device(bench, family)
    times = range(bench.now_ns, bench.now_ns + seconds(lasts) + 1, 20_000_000)
    return [reading for now_ns in times for reading in driver.poll(now_ns)]


@pytest.fixture(scope="session")
def bay() -> SimpleNamespace:
    """The helpers above, by name."""
    helpers = (bench_file, robot, errand, quiet_bench, jar, seconds, run, device, linked_drive, reports)
    return SimpleNamespace(FOREVER=FOREVER, **{helper.__name__: helper for helper in helpers})
