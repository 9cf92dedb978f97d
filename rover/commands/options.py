"""Options and arguments that several commands take, and what they mean."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from rover.devices.camera.keys import SCHEMES
from rover.devices.registry import allow_folders
from rover.errors import A_LOOP, UserError, is_loop
from rover.files.driver_keys import look_in
from rover.files.given import FAULT_OPTION, OPTION
from rover.files.yaml_source import read_text
from rover.quantities import TIME, QuantityError, parse

FOLDERS = f"{__name__}.folders"
NEAR = "127.0.0.1:8765"
F = TypeVar("F", bound=Callable[..., Any])


def _settings(context: click.Context, option: click.Parameter, texts: Iterable[str]) -> dict[str, Any]:
    """Return the settings given as ``KEY=VALUE``, values read as in a file."""
    pairs = _pairs(texts, "--set", "a setting and its value, such as --set near='20 cm'")
    return {name.strip(): read_text(value, Path(), f"--set {name}").values for name, value in pairs}


def _given(context: click.Context, option: click.Parameter, texts: Iterable[str]) -> dict[str, Any]:
    """Return the values given as ``KEY=VALUE``, read as in a file."""
    pairs = _pairs(texts, OPTION, f"a key and its value, such as {OPTION} bench.floor.slip='3 %'")
    return {name.strip(): read_text(value, Path(), f"{OPTION} {name}").values for name, value in pairs}


def _ports(context: click.Context, option: click.Parameter, texts: Iterable[str]) -> dict[str, str]:
    """Return the ports given as ``LINK=PATH``, by link."""
    return dict(_pairs(texts, "--port", "a link of the robot file and its port, such as --port main=/dev/ttyUSB1"))


def time_since_start(context: click.Context, option: click.Parameter, text: str | None) -> float | None:
    """Return a time since a run began (s), written with its unit; None where it is not given."""
    if text is None:
        return None
    try:
        quantity = parse(text)
    except QuantityError as error:
        raise click.BadParameter(str(error)) from None
    if quantity.dimension != TIME or quantity.value < 0.0:
        raise click.BadParameter(f"'{text}' is no time since the run began; write one such as '120 s' or '2 min'")
    return quantity.value


def _pairs(texts: Iterable[str], option: str, what: str) -> Iterator[tuple[str, str]]:
    for text in texts:
        name, _, value = text.partition("=")
        if not (name and value):
            raise UserError(f"{option} {text}: write {what}")
        yield name, value


def _page(context: click.Context, option: click.Parameter, text: str | None) -> tuple[str, int] | None:
    """Return host and port of ``HOST:PORT``; an address of IPv6 stands in square brackets."""
    if text is None:
        return None
    host, _, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not (host and port.isascii() and port.isdecimal() and int(port) < 65536):
        raise UserError(f"--page {text}: write where it is to be served, such as --page={NEAR}, or leave that out")
    return host, int(port)


class PathType(click.Path):
    """A path as `click.Path` takes it; one that is a loop of links is called that."""

    def __init__(self, *, exists: bool = False, file_okay: bool = True) -> None:
        super().__init__(exists=exists, file_okay=file_okay, path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path.

        Raises:
            UserError: it is a loop of links.
        """
        if is_loop(Path(value)):
            raise UserError(f"{value} {A_LOOP}; name a path that leads somewhere")
        return super().convert(value, param, ctx)


class SourceType(PathType):
    """A path as before, or a network camera's address, which stays a text."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path, or the text."""
        return value if str(value).startswith(SCHEMES) else super().convert(value, param, ctx)


class WholeNumber(click.IntRange):
    """A whole number within bounds; one that is none, or lies outside, is called that."""

    name = "whole number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            ends = [f"{self.min} or more" if self.min is not None else "", f"{self.max} at most" if self.max else ""]
            due = ", ".join(["a whole number", *filter(None, ends)])
            self.fail(f"'{value}': {due} is due here.", param, ctx)


A_PATH = PathType()
AN_ERRAND = click.argument("errand", type=A_PATH)
A_ROBOT = click.argument("robot", type=A_PATH)
MAYBE_A_ROBOT = click.argument("robot", required=False, type=A_PATH)
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
SETTINGS = click.option(
    *("--set", "settings"),
    multiple=True,
    metavar="KEY=VALUE",
    callback=_settings,
    help="Override one of the behaviour's settings.",
)
GIVEN = click.option(
    *(OPTION, "values"),
    multiple=True,
    metavar="KEY=VALUE",
    callback=_given,
    help="Let a value stand in place of the errand's, the robot's or the bench file's: bench.floor.slip='3 %'.",
)
FAULTS = click.option(
    *(FAULT_OPTION, "faults"),
    multiple=True,
    metavar="LINE",
    help="A fault besides those of the bench file: 'at 12 s: heading silent for 3 s'.",
)
PORTS = click.option(
    *("--port", "ports"),
    multiple=True,
    metavar="LINK=PATH",
    callback=_ports,
    help="Take another port for a link, such as that of `rover emulate`.",
)
PAGE = click.option(
    "--page",
    is_flag=False,
    flag_value=NEAR,
    metavar="[HOST:PORT]",
    callback=_page,
    help=f"Serve the operator page, by default to this machine alone, at {NEAR}.",
)
GUARD = click.option(
    "--guard",
    type=PathType(file_okay=False),
    metavar="DIR",
    help="Folder of this robot's motor guard; by default one of this user's.",
)


def _drivers(use: Callable[[click.Context, Sequence[Path]], None], what: str) -> Callable[[F], F]:
    return click.option(
        "--drivers",
        multiple=True,
        metavar="DIR",
        type=PathType(exists=True, file_okay=False),
        callback=lambda context, option, folders: use(context, folders),
        expose_value=False,
        help=what,
    )


def _allow(context: click.Context, folders: Sequence[Path]) -> None:
    context.meta[FOLDERS] = tuple(folders)
    allow_folders(folders)


def folders_of_drivers() -> tuple[Path, ...]:
    """Return the folders that ``--drivers`` names in the present command."""
    found: tuple[Path, ...] = click.get_current_context().meta[FOLDERS]
    return found


def _allow_for_one(context: click.Context, folders: Sequence[Path]) -> None:
    """Have what is declared there read; run it only where ``--driver`` names what."""
    (look_in if context.params.get("driver") is None else allow_folders)(folders)


DRIVERS = _drivers(_allow, "Folder from which drivers and activities named in the files may be imported.")
DRIVERS_UNOPENED = _drivers(
    _allow_for_one, "Folder with drivers named in the files; what they declare is read, their code is not run."
)


def seed(what: str) -> Callable[[F], F]:
    """Return the option for the seed of something."""
    return click.option("--seed", type=WholeNumber(0), default=1, show_default=True, help=f"Seed of {what}.")
