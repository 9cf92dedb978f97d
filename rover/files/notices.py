"""The errand file's `notices:`, which tell a person who is elsewhere: when, by what, and in which words."""

import re
from collections.abc import Mapping
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from rover.files.problems import nearest
from rover.files.types import Due, Model, Name, Text, ValueMistakeError, WholeNumber

FIND, STOP, END = "find", "stop", "end"
OCCASIONS = (FIND, STOP, END)

ALWAYS = {
    "errand": "the errand's title",
    "time": "date and time of the computer's clock",
    "after": "time since the run began, min:s",
    "delivered": "how many were delivered by then, at the end also of how many",
    "record": "the run record's path",
}
PLACEHOLDERS: dict[str, Mapping[str, str]] = {
    FIND: ALWAYS
    | {
        "number": "the find's number",
        "kind": "the object's kind",
        "x": "where it stood, with its unit",
        "y": "the same",
        "major": "longer semi-axis of the 95 % ellipse, with its unit",
        "minor": "the shorter one",
        "angle": "of the longer one from the x axis, with its unit",
    },
    STOP: ALWAYS
    | {
        "cause": "why it stopped",
        "state": "what the behaviour was at",
        "x": "where the robot is, as it believes, with its unit",
        "y": "the same",
    },
    END: ALWAYS
    | {
        "result": "`done`, `failed` or `stopped`",
        "reason": "why",
        "account": "how the deliveries are known, and what is left",
        "table": "table of the finds",
    },
}
"""By occasion, what a template may name in braces, and what stands there then."""

USUAL: dict[str, tuple[str, str]] = {
    FIND: (
        "{errand}: found {kind}, number {number}",
        "{kind}, number {number}, stood at x = {x}, y = {y}.\n"
        "95 % ellipse: semi-axes {major} and {minor}, the longer one at {angle} from the x axis.\n"
        "{time}, {after} into the run; {delivered} delivered so far.\n",
    ),
    STOP: (
        "{errand}: stopped",
        "Stopped: {cause}.\n"
        "It stands at about x = {x}, y = {y}, was at '{state}', and does not move again by itself.\n"
        "{time}, {after} into the run; {delivered} delivered so far.\n",
    ),
    END: (
        "{errand}: {result}, {delivered} delivered",
        "{result}: {reason}. {delivered} delivered after {after} ({account}).\n{time}\n\n{table}\n\nRecord: {record}\n",
    ),
}
"""By occasion, subject and text where the errand has none of its own."""

_HOST = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?|\[[0-9A-Fa-f:.]+\]")
_ADDRESS = re.compile(r"[!-?A-~]+@[A-Za-z0-9.-]+")  # printable ASCII without blanks
NEARBY = ("localhost", "127.0.0.1", "[::1]")
"""Servers on this computer, on whose way nobody listens."""


def _host(value: Any) -> str:
    if not isinstance(value, str) or not _HOST.fullmatch(value):
        raise ValueError("the name of a mail server is due here, such as mail.example.org")
    return value


def _address(value: Any) -> str:
    if not isinstance(value, str) or not _ADDRESS.fullmatch(value):
        raise ValueError("a mail address is due here, such as someone@example.org")
    return value


def _occasions(value: Any) -> Any:
    chosen = [value] if isinstance(value, str) else value
    if isinstance(chosen, tuple):
        return chosen
    if not isinstance(chosen, list) or not chosen:
        raise ValueError(f"a list of occasions is due here, some of {', '.join(OCCASIONS)}")
    for index, word in enumerate(chosen):
        if word not in OCCASIONS:
            raise ValueMistakeError((index,), f"'{word}' is no occasion for a notice{nearest(str(word), OCCASIONS)}")
    return tuple(chosen)


def _addresses(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Address = Annotated[str, BeforeValidator(_address), Due("mail address")]
PASSWORD_ELSEWHERE = (
    "no password stands in an errand file, which every run record has a copy of; put it into the environment "
    "variable ROVER_MAIL_PASSWORD, or under 'passwords:' in ~/.config/rover/person.yaml"
)
PORTS = {"starttls": 587, "tls": 465, "none": 25}


class Mail(Model):
    """A mail server, and whom it is to bring notices to."""

    server: Annotated[str, BeforeValidator(_host), Due("mail server")]
    """Of the server that takes mail from you."""
    security: Literal["starttls", "tls", "none"] = "starttls"
    """How the way there is kept private. The server's certificate is checked; `none` goes without, and without `user`
    unless the server is `localhost`."""
    port: Annotated[WholeNumber, Field(ge=1, le=65535)] | None = None
    """By default 587, 465 or 25, by `security`."""
    user: Text | None = None
    """Name to log in by; without it nobody logs in. The password stands elsewhere, see below."""
    sender: Address
    """Address that the notices come from; the server may insist on one of yours."""
    to: Annotated[list[Address], BeforeValidator(_addresses), Due("mail addresses")] = Field(min_length=1)
    """Address, or list of addresses; each is sent a mail of its own."""

    @classmethod
    def why_unknown(cls, key: str) -> str:
        """Return what is to be said of a key that such a block does not have."""
        return PASSWORD_ELSEWHERE if "pass" in key.lower() else super().why_unknown(key)

    @model_validator(mode="after")
    def _keeps_the_password(self) -> "Mail":
        if self.security == "none" and self.user is not None and self.server not in NEARBY:
            why = "with a user, a password goes over the network: write starttls or tls, as the server offers"
            raise ValueMistakeError(("security",), why)
        return self

    @property
    def port_taken(self) -> int:
        """The port: the one given, or the usual one."""
        return PORTS[self.security] if self.port is None else self.port


class Template(Model):
    """Words of a person's own for one occasion."""

    subject: Text | None = None
    """One line; by default a line of rover's."""
    text: Text | None = None
    """What stands below it; by default rover's."""


class Templates(Model):
    """By occasion, words of a person's own."""

    find: Template = Field(default_factory=Template)
    """Of a find."""
    stop: Template = Field(default_factory=Template)
    """Of a stop."""
    end: Template = Field(default_factory=Template)
    """Of the end. The plan's picture goes along, whatever it says."""

    @model_validator(mode="after")
    def _names_what_there_is(self) -> "Templates":
        for occasion in OCCASIONS:
            for part, text in self.of(occasion).items():
                if why := why_no_template(text, PLACEHOLDERS[occasion]):
                    raise ValueMistakeError((occasion, part), why)
        return self

    def of(self, occasion: str) -> dict[str, str]:
        """Return subject and text for an occasion, as far as they are a person's own."""
        own: Template = getattr(self, occasion)
        return {part: text for part, text in (("subject", own.subject), ("text", own.text)) if text is not None}


def why_no_template(text: str, known: Mapping[str, str]) -> str:
    """Return what is wrong with a template that may name ``known`` in braces, or ''."""
    try:
        pieces = list(Formatter().parse(text))
    except ValueError:
        return "a brace without its other one; a brace that is meant as one is written twice: {{ or }}"
    for _, name, form, conversion in pieces:
        if name is not None and (name not in known or form or conversion):
            whole = name + (f"!{conversion}" if conversion else "") + (f":{form}" if form else "")
            return f"there is no '{{{whole}}}' here{nearest(whole, known)}"
    return ""


class Notices(Model):
    """What to tell a person who is elsewhere."""

    on: Annotated[tuple[str, ...], BeforeValidator(_occasions), Due("list of occasions")] = OCCASIONS
    """What to tell of: each find, a stop of the robot, the end of the run."""
    mail: Mail | None = None
    """By mail."""
    command: Name | None = None
    """By a program of yours: its name under `commands:` in your own file, see below."""
    templates: Templates = Field(default_factory=Templates)
    """Words of your own."""

    @classmethod
    def why_unknown(cls, key: str) -> str:
        """Return what is to be said of a key that such a block does not have."""
        return PASSWORD_ELSEWHERE if "pass" in key.lower() else super().why_unknown(key)

    @model_validator(mode="after")
    def _goes_somewhere(self) -> "Notices":
        if self.mail is None and self.command is None:
            raise ValueError("'mail:' or 'command:' has to say how notices are sent")
        return self

    @model_validator(mode="before")
    @classmethod
    def _command_by_name(cls, values: Any) -> Any:
        if isinstance(values, dict) and not isinstance(values.get("command"), (str, type(None))):
            why = (
                "no program is named in an errand file, which may come from anybody: the name is due here that it has "
                "under 'commands:' in ~/.config/rover/person.yaml"
            )
            raise ValueMistakeError(("command",), why)
        return values

    @property
    def in_words(self) -> str:
        """What is sent how, for a person: ``on find, stop and end by mail to someone@example.org``."""
        ways = [f"by mail to {', '.join(self.mail.to)}"] if self.mail else []
        ways += [f"by the command '{self.command}'"] if self.command else []
        *first, last = self.on
        return f"on {', '.join(first)}{' and ' * bool(first)}{last} {' and '.join(ways)}"
