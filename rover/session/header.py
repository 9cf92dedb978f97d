"""What a record begins with, whoever writes it: what ran, and every file and setting that it was given."""

import json
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import rover
from rover.core import Core
from rover.files.errand import Kind
from rover.files.given import NOTHING
from rover.session.assembly import Assembly, loads_in_rehearsal
from rover.session.clocks import is_synchronised
from rover.session.program import computer, digests_of, own_program


def header_of(title: str, host: str, texts: Mapping[str, str]) -> dict[str, str]:
    """Return what every record begins with; ``texts`` are the files used, by path as shown."""
    about = {
        "title": title,
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": rover.__version__,
        "host": host,
        "program": own_program(),
        "computer": computer(),
    }
    return about | {f"file:{name}": text for name, text in texts.items()}


def run_header(core: Core, assembly: Assembly, seed: int, host: str) -> dict[str, str]:
    """Return the header of a run: as `header_of`, with the seed, the settings of the command line, field and kinds.

    A replay puts the errand together again from it: which file names which, the drivers that were put in for others,
    and hashes of a person's own code, which is not in the record.
    """
    given = {
        "seed": str(seed),
        "settings": json.dumps(assembly.overrides, default=str),
        "field": json.dumps(_drawn(core, assembly, host)),
        "kinds": json.dumps({name: _lid(assembly, kind) for name, kind in assembly.errand.kinds.items()}),
    }
    if assembly.errand.allowance is not None:
        given["allowance"] = repr(assembly.errand.allowance)
    files = {"errand": assembly.sources["errand"].name, "named": assembly.named}
    drivers = {name: device.driver for name, device in core.known.robot.devices.fitted().items()}
    given |= {"files": json.dumps(files), "drivers": json.dumps(drivers), "without": assembly.without}
    given["code"] = json.dumps(digests_of(loads_in_rehearsal(assembly)))
    if assembly.given != NOTHING:
        given["given"] = json.dumps({"values": assembly.given.values, "faults": assembly.given.faults}, default=str)
    return header_of(assembly.errand.errand, host, assembly.texts) | given


def _drawn(core: Core, assembly: Assembly, host: str) -> dict[str, object]:
    """Return what a plan is drawn on (m, rad, field frame); on a bench also what the map does not have."""
    field = assembly.errand.field
    zone = field.zone
    drawn: dict[str, object] = {
        "boundary": field.boundary,
        "walls": field.walls,
        "zone": zone and {"x": zone.x, "y": zone.y, "width": zone.width, "depth": zone.depth},
        "start": {"x": field.start.x, "y": field.start.y, "heading": field.start.heading or 0.0},
        "slots": [(slot.x, slot.y) for slot in core.known.ledger.ground.slots],
        "places": {name: (place.x, place.y, place.heading) for name, place in field.places.items()},
        "marker": zone and zone.marker,
        "north": field.north,
    }
    if host != "robot" and (bench := assembly.bench) is not None:
        posts = [(post.x, post.y, post.radius) for post in bench.obstacles]
        drawn["off_the_map"] = {"posts": posts, "walls": bench.walls}
    return drawn


def _lid(assembly: Assembly, kind: Kind) -> dict[str, object]:
    """Return what a kind looks like: its width (m), and its lid's hue and saturation as the robot file has them."""
    colour = assembly.robot.colours.get(kind.lid)
    seen = {} if colour is None else {"hue": colour.hue, "saturation": colour.saturation}
    return {"width": kind.width, **seen}


def robot_header(core: Core, assembly: Assembly, seed: int, saved: Mapping[str, Any] | None) -> dict[str, str]:
    """Return the header of a run on the robot, taken up again from ``saved`` or not."""
    # Monotonic and wall time of one moment, and whether the latter can be trusted.
    clock = {"monotonic_ns": time.monotonic_ns(), "wall_ns": time.time_ns(), "synchronised": is_synchronised()}
    here = {"boot": _boot_id(), "clock": json.dumps(clock)}
    resumed = {} if saved is None else {"resumed": json.dumps(saved)}
    return run_header(core, assembly, seed, "robot") | here | resumed


def _boot_id() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except OSError:
        return ""
