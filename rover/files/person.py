"""The person file: what is a person's own on this computer, and in no errand. `config/README.md` explains every key."""

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, SecretStr

from rover.files.types import Due, Model, Name, Text


def _secret(value: Any) -> Any:
    if isinstance(value, SecretStr):
        return value
    if not isinstance(value, str) or not value:
        raise ValueError("a text is due here; put it in quotes")
    return SecretStr(value)


def _command(value: Any) -> Any:
    if (
        not isinstance(value, list)
        or not value
        or not all(isinstance(word, str) and "\0" not in word for word in value)
    ):
        raise ValueError("a list of texts is due here, the program first: [/usr/local/bin/tell, --loud]")
    return value


class PersonFile(Model):
    """The whole person file."""

    HAS_SECRETS = True

    person: Text
    """Whose it is; it says that this is a person file."""
    passwords: Annotated[
        dict[str, Annotated[SecretStr, BeforeValidator(_secret), Due("text")]], Due("texts by server")
    ] = Field(default_factory=dict)
    """By mail server, the password of the `user` there. No other server is told it."""
    commands: Annotated[
        dict[Name, Annotated[list[str], BeforeValidator(_command), Due("list of texts")]], Due("lists by name")
    ] = Field(default_factory=dict)
    """By name, a program and its arguments. No shell reads them; a notice comes to its standard input."""
