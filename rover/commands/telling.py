"""Notices of a run or rehearsal: what is said of them at the command line, before and after."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rover.files.errand import Errand
from rover.notices.post import Post
from rover.notices.ways import what_is_missing
from rover.session.loop import Tell, to_nobody

MARK = "Rehearsal: "
NOT_IN_REHEARSAL = "a rehearsal sends no notices; --notices has it send them, each marked as a rehearsal's"


@contextmanager
def telling(
    file: Path, errand: Errand | None, record: Path, say: Callable[[str], None], mark: str = ""
) -> Iterator[Tell]:
    """Give what tells a run's events to whom the errand file names, nobody where it names none.

    Args:
        file: the errand file.
        errand: what it says; None: nobody is told.
        record: of the run.
        say: says a line to the person at the command line.
        mark: what every subject begins with.
    """
    if errand is None or errand.notices is None:
        yield to_nobody
        return
    say(f"notices {errand.notices.in_words}")
    for lacking in what_is_missing(errand.notices):
        say(f"notices will wait: {lacking}")
    post = Post(file, errand, errand.notices, record, mark)
    try:
        yield post.take
    finally:
        if line := post.close():
            say(line)
