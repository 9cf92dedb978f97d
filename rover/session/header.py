"""What all run records have in common, whoever writes them: the header, and how often the track is kept."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime

import rover
from rover.core import Core
from rover.session.assembly import Assembly

TRACK_EVERY = 5
"""A track point is recorded every so many steps: ten a second at 50 Hz."""


def header_of(title: str, host: str, texts: Mapping[str, str]) -> dict[str, str]:
    """Return what every record begins with; ``texts`` are the files used, by path as shown."""
    about = {
        "title": title,
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": rover.__version__,
        "host": host,
    }
    return about | {f"file:{name}": text for name, text in texts.items()}


def errand_header(core: Core, assembly: Assembly, seed: int, host: str) -> dict[str, str]:
    """Return the header of an errand's record: as `header_of`, with the seed and the field."""
    field = assembly.errand.field
    zone = field.zone
    drawn = {
        "boundary": field.boundary,
        "walls": field.walls,
        "zone": zone and {"x": zone.x, "y": zone.y, "width": zone.width, "depth": zone.depth},
        "start": {"x": field.start.x, "y": field.start.y, "heading": field.start.heading or 0.0},
        "slots": [(slot.x, slot.y) for slot in core.known.ledger.ground.slots],
    }
    return header_of(assembly.errand.errand, host, assembly.texts) | {"seed": str(seed), "field": json.dumps(drawn)}
