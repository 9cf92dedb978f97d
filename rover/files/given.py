"""Values given for one rehearsal in place of what the files say: ``bench.floor.slip='3 %'``, ``near='25 cm'``."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rover.files.problems import Problem, nearest
from rover.files.yaml_source import KeyPath, Source

OPTION, FAULT_OPTION = "--given", "--fault"
FILES = ("errand", "robot", "bench")


@dataclass(frozen=True)
class Given:
    """What is given for one rehearsal.

    Attributes:
        values: by key: which file, and the keys that lead there, as in ``bench.camera.missed``, ``bench.objects.0.x``;
            a name without a dot is one of the behaviour's settings. Values are as they are read from a file.
        faults: lines added to those of the bench file.
        options: by key, the option that gave it, where it is not `OPTION`.
    """

    values: Mapping[str, Any] = field(default_factory=dict)
    faults: tuple[str, ...] = ()
    options: Mapping[str, str] = field(default_factory=dict, compare=False)

    def problems(self) -> list[Problem]:
        """Return what is wrong with the keys themselves."""
        return [
            Problem(
                self.options.get(key, OPTION),
                1,
                1,
                key,
                f"a key begins with errand, robot or bench{nearest(key.split('.')[0], FILES)}",
            )
            for key in self.values
            if _place(key)[0] not in FILES
        ]

    def needs(self, kind: str) -> bool:
        """Whether anything is given for a kind of file."""
        return bool(kind == "bench" and self.faults) or any(_place(key)[0] == kind for key in self.values)

    def put_into(self, source: Source, kind: str) -> None:
        """Put what is given for this file in its place; mistakes are then told of what was given."""
        for key, value in self.values.items():
            file, where = _place(key)
            if file == kind:
                source.put(where, value, self.options.get(key, OPTION), key)
        if kind == "bench" and self.faults and isinstance(source.values, dict):
            standing = source.values.get("faults")
            first = len(standing) if isinstance(standing, list) else 0
            for number, line in enumerate(self.faults, first):
                source.put(("faults", number), line, FAULT_OPTION, line)


NOTHING = Given()


def _place(key: str) -> tuple[str, KeyPath]:
    """Return the kind of file that a key leads into, and its place there."""
    first, *others = key.split(".")
    if not others:
        return "errand", ("settings", first)
    return first, tuple(int(part) if part.isdecimal() else part for part in others)
