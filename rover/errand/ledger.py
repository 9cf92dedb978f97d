"""The errand's bookkeeping: what was found, delivered and put off, and which slots of the tray are filled."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from rover.errand.entries import Account, Counted, Filled, Grip, LetGo, PutOff, SettingDown, Standing, stood_at
from rover.errand.obstacles import Obstacles
from rover.errand.stories import Stories
from rover.estimate.field import Ground, Slot
from rover.estimate.looked_at import LookedAt
from rover.events import BELIEVED, SEEN, TAKEN_OUT, Delivery, Event, Find, GivenUp, ObjectEvent
from rover.files.errand import Errand
from rover.geometry import XY, Pose

NEWEST = 0.3
"""What stands in a slot is seen in each frame to stand by so much nearer to where this one shows it."""
SAME_STANDING = 0.12
"""What is seen in the tray this near (m) to something that stands there is that again."""


@dataclass
class Ledger:
    """What has been done so far. It is changed by its methods alone, which note in ``events`` what happened.

    Attributes:
        carried: kind of the object in the jaws, or None.
        grip: the last closing of the jaws: an object found is where it was gripped, not where it is looked at.
        finds: how many objects have been found; one that is gripped again is the same find.
        delivered: kinds of the objects that are counted as left in the tray; ``seen``: how many were seen there.
        believed: kinds of those on which nothing could tell.
        setting_down: the object that the jaws have just been opened on.
        filled: slots in which something stands, in the order of filling.
        standing: what else was seen in the tray: nobody knows since when, and it is not counted.
        seen_in_slots: by a filled slot's number, where what stands there was seen (m) from where the robot was.
        perhaps_in_tray: where something stands (m) in the tray or just beside, as far as the position is known now.
        put_off: objects left for later.
        let_go: objects lost on their way, and not gripped again yet.
        obstacles: what was met and is on no map.
        tried: where objects were that were gone for (m), and in which headings (rad), since the last one was held.
        vanished: places where something was seen from afar, and nothing was there.
        events: of the present step, for the run record.
        stories: of the objects, each with its number.
    """

    errand: Errand
    ground: Ground
    looked_at: LookedAt
    carried: str | None = None
    grip: Grip | None = None
    finds: int = 0
    delivered: list[str] = field(default_factory=list)
    seen: int = 0
    believed: list[str] = field(default_factory=list)
    setting_down: SettingDown | None = None
    filled: list[Filled] = field(default_factory=list)
    standing: list[Standing] = field(default_factory=list)
    seen_in_slots: dict[int, XY] = field(default_factory=dict)
    perhaps_in_tray: list[XY] = field(default_factory=list)
    put_off: list[PutOff] = field(default_factory=list)
    let_go: list[LetGo] = field(default_factory=list)
    obstacles: Obstacles = field(init=False)
    tried: list[Pose] = field(default_factory=list)
    vanished: list[XY] = field(default_factory=list)
    visited_places: int = 0
    events: list[Event] = field(default_factory=list)
    stories: Stories = field(init=False)
    _carried_find: LetGo | None = None
    _stood_before: int = 0
    _counted: dict[int, Counted] = field(default_factory=dict)
    _gripped: int = 0
    _taken_out: int = 0

    def __post_init__(self) -> None:
        """Begin the objects' stories; nothing has been met."""
        self.stories, self.obstacles = Stories(self.events), Obstacles(self.events)

    def go_for(self, place: Pose) -> None:
        """Note that an object is gone for where ``place`` says, in its heading."""
        self.tried.append(place)
        self.stories.happens("tried", place.x, place.y, f"heading {math.degrees(place.heading):.0f} deg")

    def gripped(self, grip: Grip) -> None:
        """Note on what the jaws closed, and where; nobody can look any more at what was set down before."""
        self._believe_set_down()
        self.grip = grip
        self._gripped = self.stories.close_jaws(grip.x, grip.y)

    def found(self, grip: Grip) -> None:
        """Enter the object in the jaws as found, and as carried from now on; the search begins afresh.

        What is carried already has been found. An object that was lost, and is gripped again, keeps its number; its
        find is where it was gripped last, unless it had been brought away from there. So does one that had been counted
        as left in the tray, and stands beside it: it is counted no more.
        """
        self._believe_set_down()
        if self.carried is not None:
            return
        self.carried = grip.kind
        self._stood_before = len(self.standing)
        again = self._take_out(grip) or self._lost(grip)
        self.tried.clear()
        self.looked_at.clear()
        place = (grip.x, grip.y)
        if again is None:
            self.finds += 1
            self._carried_find = LetGo(self.finds, grip, place, place)
        else:
            self.let_go = [one for one in self.let_go if one is not again]
            find = grip if again.is_where_found else again.find
            self._carried_find = LetGo(again.number, find, place, place)
        number = self.stories.find(self._carried_find.number, grip.kind, *place)
        if again is not None and not again.is_where_found:
            self.events.append(ObjectEvent(number, grip.kind, "gripped again", *place, f"find {again.number}"))
        else:
            self.events.append(Find(self._carried_find.number, *grip, object=number))

    def _lost(self, grip: Grip) -> LetGo | None:
        """Return which of the lost objects is between the jaws, by its place or else by its story; None for none."""
        by_place = (one for place in stood_at(grip, self.tried) for one in self.let_go if one.may_be(place))
        by_story = (one for one in reversed(self.let_go) if one.is_told_of(grip, self._gripped))
        return next(by_place, None) or next(by_story, None)

    def _take_out(self, grip: Grip) -> LetGo | None:
        """Return the find of what is between the jaws if it had been counted; it is no more, and its slot is free."""
        counted = self._counted.get(self._gripped)
        if counted is None or counted.filled not in self.filled or not counted.find.may_be(grip):
            return None
        find, filled, known_by = self._counted.pop(self._gripped)
        self.filled.remove(filled)
        (self.believed if known_by == BELIEVED else self.delivered).remove(filled.kind)
        self.seen -= known_by == SEEN
        self._taken_out += 1
        why = f"it had been counted as left in slot {filled.slot.number}"
        self.events.append(ObjectEvent(self._gripped, filled.kind, TAKEN_OUT, grip.x, grip.y, why))
        return find

    def held(self, x: float, y: float) -> None:
        """Note where (m) what is carried was known to be in the jaws; nothing without it."""
        if self._carried_find is not None:
            self._carried_find = self._carried_find._replace(held_at=(x, y))

    def lost(self, x: float, y: float, why: str = "lost on the way") -> None:
        """Enter what was carried, if anything was, as left at a place (m), or on the way there."""
        self._believe_set_down()
        if self.carried is not None:
            story, known_of = self.stories.let_go(x, y), len(self.stories)
            self.events.append(GivenUp(self.carried, x, y, why, story))
            if self._carried_find is not None:
                self.let_go.append(self._carried_find._replace(missed_at=(x, y), story=story, known_of=known_of))
                self._look_for_lost()
            self.carried = self._carried_find = None

    def set_down(self, slot: Slot, x: float, y: float, chance: float) -> None:
        """Enter a slot as filled: the jaws are opened at (x, y) in m. Whether something is left there is to be seen.

        ``chance`` is that of its lying wholly inside the tray.
        """
        self.filled.append(Filled(slot, self.carried or "object"))
        self.seen_in_slots.pop(slot.number, None)
        self.setting_down = SettingDown(self.carried or "object", slot, x, y, chance)
        if self.carried is not None:
            self.stories.happens("set down", x, y, f"in slot {slot.number}")

    def delivered_by(self, known_by: str, why: str = "") -> None:
        """Enter the object set down as left in the tray, known by being `SEEN`, by being `FELT`, or only `BELIEVED`."""
        kind, slot, x, y, chance = self._settled()
        if self.carried is None:
            return  # what stands there now was never found
        find, self.carried, self._carried_find = self._carried_find, None, None
        (self.believed if known_by == BELIEVED else self.delivered).append(kind)
        self.seen += known_by == SEEN
        number = len(self.delivered) + len(self.believed) + self._taken_out
        object_number = self.stories.let_go(x, y)
        if find is not None and object_number:
            stands = find._replace(held_at=(x, y), missed_at=(x, y))
            self._counted[object_number] = Counted(stands, self.filled[-1], known_by)
        self.events.append(Delivery(number, kind, slot.number, x, y, chance, known_by, object_number, why))

    def kept(self) -> None:
        """Enter the slot as free again: what was to be set down is still in the jaws."""
        del self.filled[-1]
        self._settled()

    def not_left(self) -> None:
        """Enter the slot as free again: nothing stands there, and nothing is in the jaws."""
        del self.filled[-1]
        _, _, x, y, _ = self._settled()
        self.lost(x, y, "not there after it was set down")

    def _believe_set_down(self) -> None:
        """Enter what the jaws were opened on, and nobody could look at since, as believed to stand there."""
        if self.setting_down is not None:
            self.delivered_by(BELIEVED)

    def _settled(self) -> SettingDown:
        setting_down, self.setting_down = self.setting_down, None
        assert setting_down is not None
        return setting_down

    def stands_in_tray(self, one: Standing) -> None:
        """Enter something seen in the tray that was not set down there; seen again, where it was seen last.

        What was lost on its way into the tray lies there: it is not counted, and nobody need look for it.
        """
        again = next((n for n, other in enumerate(self.standing) if _apart(one, other) < SAME_STANDING), None)
        if again is not None:
            self.standing[again] = one
            return
        self.standing.append(one)
        self.stories.stands_in_tray(*one)
        self._look_for_lost()

    def _look_for_lost(self) -> None:
        """Take what was first seen in the tray after an object was found for that object, if it was lost there."""
        for one in self.standing[self._stood_before :]:
            place = Grip(*one, 0.0, 0.0, 0.0)
            lost = next((other for other in self.let_go if other.find.kind == one.kind and other.may_be(place)), None)
            if lost is not None:
                self.let_go.remove(lost)

    def leave(self, kind: str, x: float, y: float, why: str = "put off") -> None:
        """Put an object off: it stays where it is (m) for now."""
        self.put_off.append(PutOff(kind, x, y))
        self.events.append(GivenUp(kind, x, y, why, self.stories.leave(x, y)))

    def recall(self) -> list[PutOff]:
        """Take up again all that was put off, and return it."""
        recalled, self.put_off = self.put_off, []
        return recalled

    def missed(self, place: XY) -> None:
        """Enter a place (m) where something had been seen from afar, and nothing was there."""
        self.vanished.append(place)

    def visit(self) -> int:
        """Return the number of the place to visit now; the next call returns the next."""
        self.visited_places += 1
        return self.visited_places - 1

    @property
    def lying(self) -> list[LetGo]:
        """What lies on the floor, should the jaws go limp now; what they were just opened on may be in the tray."""
        in_jaws = [self._carried_find] if self._carried_find and self.setting_down is None else []
        return [*self.let_go, *in_jaws]

    @property
    def free_slots(self) -> list[Slot]:
        """Slots in which nothing stands, and that are driven into past nothing that does, in the order of filling."""
        things, filled = self.in_tray, {one.slot for one in self.filled}
        return [slot for slot in self.ground.slots if slot not in filled and self.ground.is_open(slot, things)]

    @property
    def known_in_tray(self) -> list[Standing]:
        """What stands in the tray: what was set down there, in the middles of its slots, and what was seen to stand."""
        return [Standing(one.kind, one.slot.x, one.slot.y) for one in self.filled] + self.standing

    @property
    def in_tray(self) -> list[XY]:
        """Where things stand in the tray (m), perhaps: where they were seen last, as the position was believed then."""
        return (
            [self.place_in(one.slot) for one in self.filled]
            + [(x, y) for _, x, y in self.standing]
            + self.perhaps_in_tray
        )

    def place_in(self, slot: Slot) -> XY:
        """Return where what is in a slot stands (m): where it was seen last, else in the slot's middle."""
        return self.seen_in_slots.get(slot.number, (slot.x, slot.y))

    def see_in_slot(self, slot: Slot, place: XY) -> None:
        """Note where what stands in a filled slot was seen now (m): by that the next is set down beside it, and not by
        where the robot believed to be when it set this one down."""
        x, y = self.place_in(slot)
        self.seen_in_slots[slot.number] = x + NEWEST * (place[0] - x), y + NEWEST * (place[1] - y)

    def left(self, known: int) -> int:
        """Return how many objects are not in the tray yet: counted, where the errand says how many there are.

        Otherwise those that are known of, or were lost on their way and not found again; at least one until the field
        has been searched with nothing found. Only kinds that are to be fetched count, in ``known`` too.
        """
        if self.errand.expect is not None:
            return max(0, self.errand.expect - len(self.delivered) - len(self.believed))
        put_off = sum(self.errand.fetches(one.kind) for one in self.put_off)
        let_go = sum(self.errand.fetches(one.find.kind) for one in self.let_go)
        open_ones = max(known + put_off, let_go) + (1 if self.carried else 0)
        return open_ones if open_ones or self.looked_at.all else 1

    def account(self, known: int) -> Account:
        """Return what is to be said of the errand at its end; ``known`` as for `left`.

        What the jaws were opened on last, and nobody has looked at, is believed to stand there.
        """
        open_now = self.setting_down is not None and self.carried is not None
        left = None if self.ground.zone is None else self.left(known) - (1 if open_now else 0)
        return Account(len(self.delivered), self.seen, len(self.believed) + open_now, left, self.unseen)

    @property
    def unseen(self) -> float:
        """Share of the field that can be looked at from no lookout in reach; 0 once all that are expected are in."""
        are_all_in = self.errand.expect is not None and self.left(known=0) == 0
        return 0.0 if are_all_in else self.looked_at.unseen

    def kinds_now(self) -> Sequence[str] | None:
        """Return the kinds to fetch now, first come first, by the errand's order; None for any."""
        order: Any = self.errand.order
        if isinstance(order, list):
            return [str(kind) for kind in order]
        if order == "in turn" and self.errand.kinds:
            kinds = list(self.errand.kinds)
            start = (len(self.delivered) + len(self.believed)) % len(kinds)
            return kinds[start:] + kinds[:start]
        return None


def _apart(one: Standing, other: Standing) -> float:
    return math.dist((one.x, one.y), (other.x, other.y))
