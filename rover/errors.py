"""What a person can put right: the base of all errors whose message is meant for them."""


class UserError(Exception):
    """The message is one clear line: what is wrong, where, what to do next. Any other exception is a bug in rover."""
