"""Options and arguments that several commands take, and what they mean."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click

from rover.devices.registry import allow_folders
from rover.errors import UserError
from rover.files.yaml_source import read_text

F = TypeVar("F", bound=Callable[..., Any])


def _settings(context: click.Context, option: click.Parameter, texts: Iterable[str]) -> dict[str, Any]:
    """Return the settings given as ``KEY=VALUE``, values read as in a file."""
    pairs = _pairs(texts, "--set", "a setting and its value, such as --set near='20 cm'")
    return {name.strip(): read_text(value, Path(), f"--set {name}").values for name, value in pairs}


def _ports(context: click.Context, option: click.Parameter, texts: Iterable[str]) -> dict[str, str]:
    """Return the ports given as ``LINK=PATH``, by link."""
    return dict(_pairs(texts, "--port", "a link of the robot file and its port, such as --port main=/dev/ttyUSB1"))


def _pairs(texts: Iterable[str], option: str, what: str) -> Iterator[tuple[str, str]]:
    for text in texts:
        name, _, value = text.partition("=")
        if not (name and value):
            raise UserError(f"{option} {text}: write {what}")
        yield name, value


def _allowed(context: click.Context, option: click.Parameter, folders: Iterable[Path]) -> None:
    allow_folders(folders)


AN_ERRAND = click.argument("errand", type=click.Path(path_type=Path))
A_ROBOT = click.argument("robot", type=click.Path(path_type=Path))
MAYBE_A_ROBOT = click.argument("robot", required=False, type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
SETTINGS = click.option(
    *("--set", "settings"),
    multiple=True,
    metavar="KEY=VALUE",
    callback=_settings,
    help="Override one of the behaviour's settings.",
)
PORTS = click.option(
    *("--port", "ports"),
    multiple=True,
    metavar="LINK=PATH",
    callback=_ports,
    help="Take another port for a link, such as that of `rover emulate`.",
)
GUARD = click.option(
    "--guard",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder of this robot's motor guard; by default one of this user's.",
)
DRIVERS = click.option(
    "--drivers",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    callback=_allowed,
    expose_value=False,
    help="Folder from which drivers and activities named in the files may be imported.",
)


def seed(what: str) -> Callable[[F], F]:
    """Return the option for the seed of something."""
    return click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help=f"Seed of {what}.")
