"""Behaviours that tests of several files put together."""


def leaving_by(exits: str) -> str:
    """Return a behaviour whose start state has these exits to another one."""
    return f"""
start: a
states:
  a: {{does: stand_still, exits: [{exits}]}}
  b: {{does: stand_still}}
"""
