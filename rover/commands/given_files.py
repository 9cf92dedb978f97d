"""The files that a command is given, loaded as its options say; what is imported for them is said.

Commands that use these run code of the person's own and drive hardware, so that a signal ends them for sure.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from rover.activities.activity import Activity
from rover.feasibility.impossible import impossible
from rover.feasibility.layout import layout_of
from rover.files.given import NOTHING, Given
from rover.files.load import Loaded, load
from rover.files.problems import warnings_of
from rover.files.robot import Robot
from rover.session.assembly import Assembly, loads, user_drivers, with_user_activities
from rover.session.hard_end import HardEnd
from rover.session.hardware import with_ports


def assembled(
    errand: Path,
    settings: Mapping[str, Any],
    imported: Callable[[Assembly], Iterable[str]] = loads,
    given: Given = NOTHING,
) -> tuple[Assembly, Mapping[str, type[Activity]]]:
    """Return an errand with all that it names, and the activities; warnings are said, and what is ``imported``.

    Raises:
        UserError: there are mistakes, the errand cannot work on its field, or an activity cannot be imported.
    """
    click.get_current_context().with_resource(HardEnd())
    assembly, activities = with_user_activities(errand, settings, given)
    found = impossible(layout_of(assembly.errand, assembly.robot), assembly.sources)
    for warning in warnings_of([*assembly.warnings, *found]):
        click.echo(str(warning), err=True)
    say_loading(imported(assembly))
    return assembly, activities


def robot_at_hand(robot: Path, ports: Mapping[str, str]) -> Loaded[Robot]:
    """Return a robot file with other ports for some of its links.

    Raises:
        UserError: the file has mistakes, or no such link.
    """
    click.get_current_context().with_resource(HardEnd())
    loaded = load(robot, "robot")
    loaded = replace(loaded, model=with_ports(loaded.model, ports))
    say_loading(user_drivers(loaded.model))
    return loaded


def say_loading(names: Iterable[str]) -> None:
    """Say which code of the person's own is imported."""
    for name in names:
        click.echo(f"loading {name}", err=True)
