"""`rover check` without a file: is this computer ready? Versions, extras, permissions, ports and cameras."""

import grp
import importlib.metadata
import os
import platform
from dataclasses import dataclass
from pathlib import Path

from rover import __version__

BASE = ("click", "numpy", "pydantic", "pyserial", "pyyaml", "transitions")
EXTRAS = {"gpio": "gpiod", "vision": "opencv-python-headless", "report": "matplotlib"}


@dataclass(frozen=True)
class Finding:
    """One row: what was looked at, what was found, and what to do if it is not ready."""

    name: str
    finding: str
    ready: bool = True
    optional: bool = False
    mend: str = ""


def survey() -> list[Finding]:
    """Return all findings about this computer. Opens no port and moves nothing."""
    return [*_versions(), *_extras(), *_ports(), *_cameras(), _pins()]


def _versions() -> list[Finding]:
    rows = [Finding("rover", __version__), Finding("python", f"{platform.python_version()} on {platform.machine()}")]
    for name in BASE:
        version = _version(name)
        rows.append(Finding(name, version or "missing", version is not None, mend="pip install rover"))
    return rows


def _version(name: str) -> str | None:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return None


def _extras() -> list[Finding]:
    return [
        Finding(
            f"extra {extra}", version or "not installed", version is not None, True, f"pip install 'rover[{extra}]'"
        )
        for extra, version in ((extra, _version(package)) for extra, package in EXTRAS.items())
    ]


def _ports() -> list[Finding]:
    from serial.tools.list_ports import comports

    ports = [Path(port.device) for port in comports()]
    if not ports:
        return [Finding("serial ports", "none found", False, True, "plug the co-processor in")]
    return [_access("serial port", port) for port in sorted(ports)]


def _cameras() -> list[Finding]:
    cameras = sorted(Path("/dev").glob("video*"))
    if not cameras:
        return [Finding("cameras", "none found", False, True, "plug the camera in")]
    return [_access("camera", camera) for camera in cameras]


def _access(name: str, device: Path) -> Finding:
    if os.access(device, os.R_OK | os.W_OK):
        return Finding(name, f"{device}, may be opened")
    try:
        group = grp.getgrgid(device.stat().st_gid).gr_name
    except (OSError, KeyError):
        group = "its group"
    mend = f"sudo usermod -aG {group} $USER, then log in again"
    return Finding(name, f"{device}, permission denied", False, True, mend)


def _pins() -> Finding:
    chips = sorted(Path("/dev").glob("gpiochip*"))
    if not chips:
        return Finding("pins", "no GPIO character device", False, True, "only boards with pins have one")
    return _access("pins", chips[0])
