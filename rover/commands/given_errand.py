"""The errand that is to be run, loaded as the options say."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from rover.activities.activity import Activity
from rover.commands.output import say_loading
from rover.session.assembly import Assembly, loads, with_user_activities


def assembled(errand: Path, settings: Mapping[str, Any]) -> tuple[Assembly, Mapping[str, type[Activity]]]:
    """Return an errand with all that it names and the activities; warnings, and what is imported, are said.

    Raises:
        UserError: there are mistakes, or an activity cannot be imported.
    """
    assembly, activities = with_user_activities(errand, settings)
    for warning in assembly.warnings:
        click.echo(str(warning), err=True)
    say_loading(loads(assembly))
    return assembly, activities
