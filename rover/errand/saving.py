"""What of the errand's bookkeeping outlasts a change of battery, as plain values, and taking it up again."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.errand.entries import Filled, Grip, LetGo, Met, PutOff
from rover.errand.ledger import Ledger
from rover.geometry import XY

FOR_GOOD_NS = 1 << 62
"""What had been touched before is avoided to the end: when that was, the clock of another start does not say."""


class StateMismatchError(ValueError):
    """What was saved is of another errand; the message says what does not fit."""


def saved(ledger: Ledger) -> dict[str, Any]:
    """Return what outlasts a change of battery.

    What the jaws held does not: they went limp, and it lies where it was. What they had just been opened on may stand
    in the tray. Objects have other numbers afterwards: one that was counted before, and is gripped beside the tray,
    is taken for another.
    """
    opened_on = [ledger.setting_down.kind] if ledger.setting_down and ledger.carried else []
    return {
        "finds": ledger.finds,
        "delivered": list(ledger.delivered),
        "seen": ledger.seen,
        "believed": [*ledger.believed, *opened_on],
        "filled": [[filled.slot.number, filled.kind] for filled in ledger.filled],
        "put_off": [list(one) for one in ledger.put_off],
        "let_go": [[one.number, list(one.find), list(one.held_at), list(one.missed_at)] for one in ledger.lying],
        "obstacles": [[one.x, one.y] for one in ledger.obstacles.met if one.is_touched],
        "visited_places": ledger.visited_places,
        "to_look_at": [list(pair) for pair in ledger.looked_at.looks_wanted.items()],
    }


def restore(ledger: Ledger, saved: Mapping[str, Any]) -> None:
    """Take up again what `saved` returned.

    Raises:
        StateMismatchError: it is of another tray or another field.
        KeyError, TypeError, ValueError: it is not what `saved` returned.
    """
    slots = {slot.number: slot for slot in ledger.ground.slots}
    if unknown := [number for number, _ in saved["filled"] if number not in slots]:
        raise StateMismatchError(f"it has an object in slot {unknown[0]}, and the tray has {len(slots)} slots, from 0")
    ledger.filled = [Filled(slots[number], str(kind)) for number, kind in saved["filled"]]
    ledger.delivered = [str(kind) for kind in saved["delivered"]]
    ledger.believed = [str(kind) for kind in saved["believed"]]
    ledger.finds, ledger.seen = int(saved["finds"]), int(saved["seen"])
    ledger.visited_places = int(saved["visited_places"])
    ledger.put_off = [PutOff(str(kind), float(x), float(y)) for kind, x, y in saved["put_off"]]
    ledger.let_go = [
        LetGo(int(number), Grip(str(kind), *map(float, place)), _xy(held_at), _xy(missed_at))
        for number, (kind, *place), held_at, missed_at in saved["let_go"]
    ]
    ledger.obstacles.met = [Met(*_xy(place), is_touched=True, until_ns=FOR_GOOD_NS) for place in saved["obstacles"]]
    to_look_at = {int(cell): int(looks) for cell, looks in saved["to_look_at"]}
    try:
        ledger.looked_at.restore(to_look_at)
    except ValueError as error:
        raise StateMismatchError(str(error)) from error


def _xy(place: Sequence[Any]) -> XY:
    x, y = place
    return float(x), float(y)
