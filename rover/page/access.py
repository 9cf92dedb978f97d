"""Who may do what at the page: a token for all that acts and reads, nobody's leave for a stop, no other site's pages.

The token is made once and kept in a file that its user alone may read. It is no encryption: beyond the machine itself
that is the business of a tunnel or a proxy.
"""

import hmac
import os
import secrets
import stat
from collections import OrderedDict, deque
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit

from rover.errors import UserError

TOKEN_BYTES = 24
SHORTEST = 16
MOST_PEERS = 256


def token_file(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where the token is kept: with the state of the service, or with that of the user."""
    folder = environment.get("STATE_DIRECTORY", "").partition(":")[0]
    if folder:
        return Path(folder) / "page-token"
    state = environment.get("XDG_STATE_HOME") or str(Path(environment.get("HOME", "/")) / ".local" / "state")
    return Path(state) / "rover" / "page-token"


def read_token(path: Path) -> str:
    """Return the token, made with its file where there is none yet.

    Raises:
        UserError: it cannot be read or made, others may read it, or it is too short.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            _make(path)
        mode = stat.S_IMODE(path.stat().st_mode)
        token = path.read_text("ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"{path}: the page's token cannot be read or made: {error}") from error
    if mode & 0o077:
        raise UserError(f"{path}: others may read the page's token (mode {mode:o}); chmod 600 it, or delete it")
    if len(token) < SHORTEST:
        raise UserError(f"{path}: the page's token is too short to be one; delete the file, and a new one is made")
    return token


def _make(path: Path) -> None:
    """Write a new token; a program that does the same at this moment wins."""
    own = path.with_name(f".{path.name}-{os.getpid()}")
    descriptor = os.open(own, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(TOKEN_BYTES) + "\n")
        try:
            os.link(own, path)
        except FileExistsError:
            return
    finally:
        own.unlink()


def is_right(token: str, given: str) -> bool:
    """Tell whether a token is the right one; how long that takes says nothing of it."""
    return hmac.compare_digest(token.encode(), given.encode("utf-8", "surrogatepass"))


def bearer(header: str) -> str:
    """Return the token of an ``Authorization`` header, '' if it has none (RFC 6750, 2.1)."""
    scheme, _, token = header.partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""


def is_foreign(origin: str | None, host: str) -> bool:
    """Tell whether a request was made by a page of another site: a browser says so by ``Origin`` (RFC 6454, 7).

    Who says nothing is no page in a browser.
    """
    if origin is None:
        return False
    try:
        return urlsplit(origin).netloc.lower() != host.lower() or not host
    except ValueError:
        return True


class RateLimit:
    """So many events in a time, by whom they come from. Time is passed in."""

    def __init__(self, most: int, seconds: float) -> None:
        self._most, self._seconds = most, seconds
        self._times: OrderedDict[str, deque[float]] = OrderedDict()

    def is_over(self, who: str, now_s: float) -> bool:
        """Tell whether one more would be too many."""
        times = self._times.get(who)
        return times is not None and len(times) >= self._most and now_s - times[0] < self._seconds

    def count(self, who: str, now_s: float) -> None:
        """Count an event; of many who come, the one not heard of for longest is forgotten."""
        times = self._times.setdefault(who, deque(maxlen=self._most))
        times.append(now_s)
        self._times.move_to_end(who)
        if len(self._times) > MOST_PEERS:
            self._times.popitem(last=False)
