"""Reports that stay the same to the last digit while the robot moves: no healthy sensor says so, for all have noise."""

import math
from collections.abc import Sequence

from rover.devices.battery.keys import BatteryKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import BatteryValue, Detection
from rover.quantities import wrap

SAME_ECHOES, SAME_WAY, SAME_TURN = 8, 0.3, math.radians(45.0)
"""So many echoes that are equal to the last digit while the robot goes so far (m) along them, or turns so far (rad). As
much between two of them tells nothing: something was held before the range finder."""
UNHEARD, UNHEARD_WAY = 20, 0.5
"""So many times nothing heard where a known wall should be, on so long a way (m), and nothing else heard either."""
AT_AN_END = 4.0
"""An echo at one end of what the range finder can say must stay so many times as long: nearer is told as this near."""
SAME_SIGHTINGS, SIGHTINGS_TURN = 4, math.radians(15.0)
BEHIND, BEHIND_SHARE = math.radians(20.0), 0.3
"""What a frame shows moves against the robot's turn on the spot, but for this (rad) and a share of the turning ..."""
BEHIND_WAY, BEHIND_FROM, BEHIND_STEP = 0.02, 0.6, math.radians(10.0)
"""... with less way than this in all (m), farther off than this (m), and by less from one frame to the next (rad)."""
TIMES_BEHIND = 2
"""... so many times: once may be two objects of one kind that were taken for one."""
SAME_VOLTS, LOAD_CHANGE = 60, 0.1
"""So many equal voltages while the load should have changed them by so much (V)."""


class Echoes:
    """One range finder's echoes against the robot's own way, and against walls that it should hear."""

    def __init__(self, keys: RangeKeys) -> None:
        self._ends = keys.least, keys.most
        self._last: float | None = None
        self._equal, self._way, self._turn = 0, 0.0, 0.0
        self._heard_way = self._heard_turn = 0.0
        self._unheard, self._unheard_way = 0, 0.0

    def move(self, along: float, way: float, turn: float) -> None:
        """Account for the robot's motion: m along where the range finder looks, m in all, and rad."""
        self._way += along
        self._turn += turn
        self._unheard_way += way

    def hear(self, distance: float | None, expected: float | None) -> str:
        """Take an echo in (m) where nothing is held before it; return what is wrong with it, or ''.

        ``expected`` is the distance (m) of a known wall that it should hear, None where that is not plain.
        """
        if distance is None:
            self._unheard += expected is not None
            if self._unheard >= UNHEARD and self._unheard_way > UNHEARD_WAY:
                return "hears nothing where known walls should be heard"
            return ""
        self._unheard, self._unheard_way = 0, 0.0
        moved, turned = abs(self._way - self._heard_way), abs(self._turn - self._heard_turn)
        self._heard_way, self._heard_turn = self._way, self._turn
        if distance != self._last or moved > SAME_WAY or turned > SAME_TURN:
            self._heard_way = self._heard_turn = 0.0
            self._last, self._equal, self._way, self._turn = distance, 0, 0.0, 0.0
            return ""
        self._equal += 1
        times = 1.0 if self._ends[0] < distance < self._ends[1] else AT_AN_END
        moves = abs(self._way) > times * SAME_WAY or abs(self._turn) > times * SAME_TURN
        if self._equal >= SAME_ECHOES and moves:
            return f"says {distance:.2f} m again and again while the robot moves"
        return ""


class Sightings:
    """What a camera's frames show against the robot's own turning: they stay, or they turn later than it does."""

    def __init__(self) -> None:
        self._last: Sequence[Detection] = ()
        self._equal, self._turn = 0, 0.0
        self._heading = self._way = self._behind = self._turned_behind = 0.0
        self._times_behind = 0

    def move(self, way: float) -> None:
        """Account for the robot's way (m)."""
        self._way += way

    def see(self, objects: Sequence[Detection], heading: float) -> str:
        """Take in what a frame shows, where nothing is held before the camera; return what is wrong with it, or ''.

        ``heading`` is what is believed of the robot's (rad) when the frame was taken.
        """
        turned, self._heading = wrap(heading - self._heading), heading
        return self._stay(objects, turned) or self._come_late(objects, turned)

    def _come_late(self, objects: Sequence[Detection], turned: float) -> str:
        """Follow what is seen alone of its kind from frame to frame, while the robot turns on the spot."""
        before, self._last = self._last, objects
        moved = _moved(before, objects)
        if moved is None or self._way > BEHIND_WAY:
            self._behind = self._turned_behind = self._way = 0.0
            return ""
        self._behind += moved + turned
        self._turned_behind += abs(turned)
        if abs(self._behind) > BEHIND + BEHIND_SHARE * self._turned_behind:
            behind, self._behind, self._turned_behind = self._behind, 0.0, 0.0
            self._times_behind += 1
            if self._times_behind < TIMES_BEHIND:
                return ""
            return f"goes on {math.degrees(behind):.0f} deg otherwise than the robot turns: its frames come late"
        return ""

    def _stay(self, objects: Sequence[Detection], turned: float) -> str:
        if not objects or objects != self._last:
            self._equal, self._turn = 0, 0.0
            return ""
        self._equal += 1
        self._turn += turned
        if self._equal >= SAME_SIGHTINGS and abs(self._turn) > SIGHTINGS_TURN:
            return "shows the same again and again while the robot turns"
        return ""


def _moved(before: Sequence[Detection], now: Sequence[Detection]) -> float | None:
    """Return by how much (rad) something went on to the left from one frame to the next; None where nothing is seen
    alone of its kind in both, far enough off for the robot's turning alone to count."""
    for one in now:
        same = [other for other in before if other.kind == one.kind]
        alone = len(same) == 1 and sum(other.kind == one.kind for other in now) == 1
        if alone and one.distance > BEHIND_FROM and abs(one.bearing - same[0].bearing) < BEHIND_STEP:
            return one.bearing - same[0].bearing
    return None


class Volts:
    """A battery's voltage against the load that the duties make."""

    def __init__(self, keys: BatteryKeys) -> None:
        self._drop = keys.load_at_full_duty * keys.inner_resistance
        self._last, self._equal = math.nan, 0
        self._least = self._most = 0.0

    def measure(self, value: BatteryValue, duty: float) -> str:
        """Take a voltage in, under the mean duty (0 to 1) of both sides; return what is wrong with it, or ''."""
        if value.volts != self._last:
            self._last, self._equal, self._least, self._most = value.volts, 0, duty, duty
            return ""
        self._equal += 1
        self._least, self._most = min(self._least, duty), max(self._most, duty)
        if self._equal >= SAME_VOLTS and (self._most - self._least) * self._drop > LOAD_CHANGE:
            return f"says {value.volts:.2f} V again and again under changing load"
        return ""
