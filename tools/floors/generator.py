"""Floors by a seed: rooms, partitions with doorways, posts that the map has and that it has not, objects anywhere.

    python tools/floors/generator.py SEED [--robot cart]

writes the errand file and the bench file of a floor into `runs/floors/`, and prints the command that rehearses it. The
same seed and robot give the same floor. Measures that a robot needs room for are its own: a doorway's free width is its
body's and 15 cm at least.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from random import Random
from typing import Any

import yaml
from floor import Floor, NoRoomError, Size, Sketch, size_of
from objects import KINDS, draw_objects
from rooms import draw_outside, draw_partition
from things import draw_hidden_post, draw_hidden_wall, draw_post, draw_start, draw_tray

from rover.files.load import load
from rover.files.robot import Body, Robot

ROOT = Path(__file__).parents[2]
INTO = ROOT / "runs" / "floors"
ROBOTS: Mapping[str, Path] = {
    "cart": ROOT / "config" / "cart.yaml",
    **{
        name: ROOT / "tools" / "floors" / "robots" / f"{name}.yaml"
        for name in ("broad", "small", "overlooking", "narrow", "unranged")
    },
}
LONGEST_MIN = 25


def generate(seed: int, body: Body) -> Floor:
    """Return the floor of a seed, for a robot of this body."""
    size = size_of(body)
    for attempt in range(1000):
        try:
            return _drawn(Random(f"{seed}/{attempt}/floor"), size)
        except NoRoomError:
            continue
    raise NoRoomError(f"no floor for a robot that needs {size.turning:.2f} m to turn")


def _drawn(draws: Random, size: Size) -> Floor:
    """Draw a floor.

    Raises:
        NoRoomError: this one has no room for something.
    """
    sketch = Sketch(draws, size)
    draw_outside(sketch)
    for number in range(1, 1 + draws.choice((0, 1, 1, 2, 2, 3))):
        draw_partition(sketch, number)
    draw_tray(sketch)
    draw_start(sketch)
    for number in range(1, 1 + draws.choice((0, 0, 1, 2))):
        draw_post(sketch, number)
    for _ in range(draws.choice((0, 0, 1, 2))):
        draw_hidden_post(sketch)
    if draws.random() < 0.3:
        draw_hidden_wall(sketch)
    draw_objects(sketch)
    return sketch.floor


def _length(metres: float) -> str:
    return f"{round(100.0 * metres, 1):g} cm"


def _point(point: Sequence[float]) -> list[str]:
    return [_length(one) for one in point]


def errand_of(floor: Floor, title: str, robot: str, bench: str) -> dict[str, Any]:
    """Return the errand file: its title, and the paths of robot and bench file in it."""
    tray, (x, y, heading) = floor.tray, floor.start
    zone = {
        "x": _length(0.5 * (tray.west + tray.east)),
        "y": _length(0.5 * (tray.south + tray.north)),
        "width": _length(tray.east - tray.west),
        "depth": _length(tray.north - tray.south),
        "entry": f"{floor.entry} deg",
        **({} if floor.marker is None else {"marker": _point(floor.marker)}),
    }
    return {
        "errand": title,
        "files": {"robot": robot, "behaviour": "../../behaviours/collect.yaml", "bench": bench},
        "field": {
            "boundary": [_point(one) for one in floor.boundary],
            "start": {"x": _length(x), "y": _length(y), "heading": f"{heading} deg"},
            "walls": {name: [_point(one) for one in ends] for name, ends in floor.walls.items()},
            "zone": zone,
        },
        "kinds": {kind: {"lid": kind, "height": "60 mm", "width": "50 mm"} for kind in KINDS},
        **({} if floor.expect is None else {"expect": floor.expect}),
        "settings": {"longest": f"{LONGEST_MIN} min"},
    }


def bench_of(floor: Floor, title: str) -> dict[str, Any]:
    """Return the bench file, of the mild kind: what is not on the map, and the objects."""
    return {
        "bench": title,
        "objects": [{"kind": kind, "x": _length(x), "y": _length(y)} for kind, x, y in floor.objects],
        "walls": [[_point(one) for one in ends] for ends in floor.hidden_walls],
        "obstacles": [
            {"x": _length(x), "y": _length(y), "radius": _length(radius)} for x, y, radius in floor.hidden_posts
        ],
    }


def robot_named(name: str) -> Robot:
    """Return one of the six robots."""
    model = load(ROBOTS[name], "robot").model
    assert isinstance(model, Robot)
    return model


def write(seed: int, robot: str, into: Path = INTO) -> Path:
    """Write the files of a floor, and return the errand's path."""
    floor = generate(seed, robot_named(robot).body)
    into.mkdir(parents=True, exist_ok=True)
    title = f"Floor {seed} for {robot}"
    errand, bench = into / f"{robot}-{seed}.yaml", into / f"{robot}-{seed}-bench.yaml"
    of_robot = Path(*[".."] * len(into.relative_to(ROOT).parts)) / ROBOTS[robot].relative_to(ROOT)
    _put(errand, errand_of(floor, title, str(of_robot), bench.name))
    _put(bench, {key: value for key, value in bench_of(floor, title).items() if value})
    return errand


def _put(path: Path, tree: Mapping[str, Any]) -> None:
    """Write a file at once: others may be reading it."""
    new = path.with_suffix(".new")
    new.write_text(yaml.safe_dump(tree, sort_keys=False, default_flow_style=None, width=120))
    new.replace(path)


def command_to_make(seed: int, robot: str) -> str:
    """Return the command that writes a floor's files."""
    return f"python tools/floors/generator.py {seed} --robot {robot}"


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seed", type=int)
    parser.add_argument("--robot", choices=list(ROBOTS), default="cart")
    given = parser.parse_args(words)
    errand = write(given.seed, given.robot)
    print(f"rover rehearse {errand.relative_to(ROOT)} --seed {given.seed}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
