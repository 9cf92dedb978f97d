"""The operator page of a command that has one: started before all else, and said where it is."""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rover.errors import UserError
from rover.session.watched import ByHandPage, NoByHandPage, NoPage, Page

if TYPE_CHECKING:
    from rover.page.process import PageProcess

IN_THE_CLEAR = "all in this network may read along: it is not encrypted; a tunnel is better (README, the operator page)"


@contextmanager
def run_page(
    address: tuple[str, int] | None, about: Mapping[str, str], guard: Path | None = None, *, may_read: bool = False
) -> Iterator[Page]:
    """Serve the page of a run, where one is asked for; with a motor guard, a stop there goes to it at once.

    Raises:
        UserError: the address is not to be had, or something is missing.
    """
    if address is None:
        yield NoPage()
        return
    from rover.page.run_page import RunPage

    with served(address, guard, may_read=may_read) as process:
        page = RunPage(process, about)
        with _refusals_told_by(page.end):
            yield page


@contextmanager
def page_by_hand(
    address: tuple[str, int] | None, what: str, guard: Path, *, may_read: bool = False
) -> Iterator[ByHandPage]:
    """Serve the page of a session without an errand, where one is asked for; at that of ``jog`` people drive.

    Raises:
        UserError: the address is not to be had, or something is missing.
    """
    if address is None:
        yield NoByHandPage()
        return
    from rover.page.by_hand_page import ShownByHand

    with served(address, guard, may_read=may_read) as process:
        page = ShownByHand(process, drives=what == "jog")
        with _refusals_told_by(page.end):
            yield page
        page.end(f"{what} was ended")


@contextmanager
def _refusals_told_by(tell: Callable[[str], None]) -> Iterator[None]:
    try:
        yield
    except UserError as error:
        tell(str(error))
        raise


@contextmanager
def served(address: tuple[str, int], guard: Path | None, *, may_read: bool) -> "Iterator[PageProcess]":
    """Serve the page, and say where.

    Raises:
        UserError: the address is not to be had, or something is missing.
    """
    from rover.page.process import Address, PageProcess

    with closing(PageProcess(Address(*address), guard, may_read=may_read)) as process:
        # A terminal is one person's; what a service says is kept in a log.
        if sys.stderr.isatty():
            click.echo(f"page: {process.address.url(process.token)}", err=True)
        else:
            click.echo(f"page: {process.address.url()}   (its token: {process.token_file})", err=True)
        if not process.address.is_loopback:
            click.echo(IN_THE_CLEAR, err=True)
        yield process
