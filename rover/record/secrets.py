"""Keeps passwords out of records: a record is handed on, to whoever helps to find out what went wrong."""

import os
import re
from collections.abc import Mapping

HIDDEN = "***"
_WORDS = r"(?:password|passwd|passphrase|secret|token|api[_-]?key)"
_KEY = rf"[\"']?(?:\w+[_-])*{_WORDS}[\"']?"
_OPEN = r"(?:yes|no|true|false|null|none)\b"
_BLOCK = re.compile(rf"(?im)^(?P<indent>[ ]*)(?P<key>{_KEY}\s*:\s*[|>][-+]?[ ]*\n)(?:(?P=indent)[ ]+\S.*\n?|\s*\n)+")
_VALUE = re.compile(
    rf"(?im)(?P<key>(?<![\w-]){_KEY}[ \t]*[:=][ \t]*)(?!{_OPEN}|[|>][-+]?\s*$|[{{\[]|$)"
    r"(?:\"[^\"\n]*\"|'[^'\n]*'|[^\s,}\]#\"'][^,}\]#\n\"']*)"
)
_IN_ADDRESS = re.compile(r"(?P<scheme>\b[a-z][a-z0-9+.-]*://)[^/\s@\"']+@", re.IGNORECASE)
_NAMES = re.compile(rf"(?i)(?:^|_){_WORDS}$")
LEAST = 4
"""What is shorter than so many characters is in too many other texts to be hidden wherever it stands."""


class Hiding:
    """Hides what is secret in texts: values under keys that say so, in addresses, and those of environment variables.

    Args:
        environment: variables by name; those whose names end in a word for a secret have one.
    """

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        found = {value for name, value in environment.items() if _NAMES.search(name) and len(value) >= LEAST}
        self._values = sorted(found, key=len, reverse=True)

    def __call__(self, text: str) -> str:
        """Return a text without what is secret in it."""
        text = self.in_reading(text)
        if ":" not in text and "=" not in text:
            return text
        text = _BLOCK.sub(rf"\g<indent>\g<key>\g<indent>  {HIDDEN}\n", text)
        return _VALUE.sub(rf"\g<key>{HIDDEN}", text)

    def in_reading(self, text: str) -> str:
        """Return a reading's text without what is secret; keys are left alone: they name what a device reports."""
        for value in self._values:
            text = text.replace(value, HIDDEN)
        return _IN_ADDRESS.sub(rf"\g<scheme>{HIDDEN}@", text) if "://" in text else text
