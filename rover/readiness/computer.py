"""`rover check` without a file: is this computer ready? Versions, extras, permissions, ports and cameras."""

import grp
import importlib.metadata
import os
import platform
import sys
from pathlib import Path

from rover import __version__
from rover.errors import to_install
from rover.readiness.finding import Finding, Verdict, judged

BASE = ("click", "numpy", "pydantic", "pyserial", "pyyaml", "transitions")
EXTRAS = {
    "gpio": "gpiod",
    "vision": "opencv-python-headless",
    "report": "matplotlib",
    "trials": "scipy",
    "page": "aiohttp",
    "cluster": "distributed",
}
MAY_BE_OPENED = "may be opened"


def survey() -> list[Finding]:
    """Return all findings about this computer. Opens no port and moves nothing."""
    return [*_versions(), *(_extra(*each) for each in EXTRAS.items()), *_ports(), *_cameras(), _pins()]


def _versions() -> list[Finding]:
    python = f"{platform.python_version()} on {platform.machine()}"
    found = [judged("rover", True, __version__, ""), judged("python", True, python, "")]
    for name in BASE:
        version = _version(name)
        found.append(
            judged(
                name, version is not None, version or "missing", "installed", f"{sys.executable} -m pip install {name}"
            )
        )
    return found


def _version(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _optional(name: str, fits: bool, measured: str, expected: str, advice: str) -> Finding:
    """Return a finding about what only some robots need."""
    return judged(name, fits, measured, expected, advice, otherwise=Verdict.NOTED)


def _extra(extra: str, package: str) -> Finding:
    version, advice = _version(package), to_install(extra)
    return _optional(f"extra {extra}", version is not None, version or "not installed", "where it is used", advice)


def _ports() -> list[Finding]:
    from serial.tools.list_ports import comports

    ports = [Path(port.device) for port in comports()]
    if not ports:
        return [_optional("serial ports", False, "none found", MAY_BE_OPENED, "plug the co-processor in")]
    return [_access("serial port", port) for port in sorted(ports)]


def _cameras() -> list[Finding]:
    cameras = sorted(Path("/dev").glob("video*"))
    if not cameras:
        return [_optional("cameras", False, "none found", MAY_BE_OPENED, "plug the camera in")]
    return [_access("camera", camera) for camera in cameras]


def _access(name: str, device: Path) -> Finding:
    if os.access(device, os.R_OK | os.W_OK):
        return judged(name, True, str(device), MAY_BE_OPENED)
    try:
        group = grp.getgrgid(device.stat().st_gid).gr_name
    except (OSError, KeyError):
        group = "its group"
    advice = f"sudo usermod -aG {group} $USER, then log in again"
    return _optional(name, False, f"{device}, permission denied", MAY_BE_OPENED, advice)


def _pins() -> Finding:
    chips = sorted(Path("/dev").glob("gpiochip*"))
    if not chips:
        return _optional("pins", False, "no GPIO character device", MAY_BE_OPENED, "only boards with pins have one")
    return _access("pins", chips[0])
