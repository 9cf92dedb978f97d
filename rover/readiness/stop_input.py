"""The check of the stop input: it is pressed and released."""

from functools import partial

from rover.readiness.finding import Finding, Verdict, judged
from rover.readiness.stand import RobotOnStand
from rover.session.by_hand import step_held
from rover.stopping import Phase

ADVICE = "a normally closed contact between 'pin:' and ground; look for a broken wire, and at 'bias:'"
NO_PULL = (
    "pressed, it reads closed: a wire that bypasses the contact, or a chip without pull resistors, which the kernel "
    "does not tell; fit one of 10 kohm from the pin to its supply (to ground with 'bias: pull_down'), and try again"
)
NOT_PRESSED = (
    "nothing is proven before it is pressed: on a chip without pull resistors an open contact reads closed too"
)


def check_stop_input(stand: RobotOnStand) -> Finding:
    """Have the stop input opened and closed again.

    Only that proves the pull resistor: the kernel takes a bias that the chip cannot switch on, and reports it as asked.
    """
    session, person = stand.session, stand.person
    session.wait_for(lambda: "stop_input" in session.latest, 1.0)
    at_first = _contact(stand)
    if person is None:
        found, is_closed = f"{at_first}; not pressed", at_first == "closed"
        otherwise = Verdict.NOTED if is_closed else Verdict.OTHERWISE
        advice = NOT_PRESSED if is_closed else ADVICE
        return judged("stop_input", False, found, "closed; pressed and released", advice, otherwise=otherwise)
    person.ask("Press the stop and keep it pressed; then press Enter.", partial(step_held, session))
    pressed = _pressed(stand)
    person.ask("Release the stop; then press Enter.", partial(step_held, session))
    session.watch(0.3)
    released = _contact(stand)
    if stand.phase() is Phase.STOPPED and stand.agrees("Reset the stop? That alone moves nothing."):
        session.client.reset()
        session.wait_for(lambda: stand.phase() is Phase.READY, 1.0)
    return judged(
        *("stop_input", at_first == released == "closed" and pressed in ("open", "open, stopped")),
        f"{at_first}; pressed: {pressed}; released: {released}",
        "closed; open while it is pressed, which stops; closed again",
        NO_PULL if pressed.startswith("closed") else ADVICE,
    )


def _pressed(stand: RobotOnStand) -> str:
    """Return how the contact stands, and whether the guard stops at it; one that it does not hold stops a run only."""
    stop = stand.robot.devices.stop_input
    if stop is None or stop.driver != "stop_pin":
        return _contact(stand)
    has_stopped = stand.session.wait_for(lambda: stand.phase() is Phase.STOPPED, 0.5)
    return f"{_contact(stand)}, {'stopped' if has_stopped else 'not stopped'}"


def _contact(stand: RobotOnStand) -> str:
    reading = stand.session.latest.get("stop_input")
    if reading is None:
        return "silent"
    return "closed" if reading.value.closed else "open"
