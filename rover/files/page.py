"""The keys of the operator page in the robot file."""

from rover.files.types import Model, YesOrNo


class PageKeys(Model):
    """The operator page, where a command is told to serve it (`--page`)."""

    read_without_token: YesOrNo = False
    """Whoever reaches the page may watch; to act, and it alone, still needs the token."""
