"""What is held against what: the table of the cross-checks. ``python -m rover.core.pairs`` prints it for the docs."""

import math
from typing import NamedTuple

from rover.core.askew import ASIDE, LOOKS, SPREAD
from rover.core.askew import SIGMAS as SIGMAS_ASIDE
from rover.core.beyond import ALIKE, BEYOND, ECHOES, WITHIN_WAY
from rover.core.beyond import SIGMAS as SIGMAS_BEYOND
from rover.core.closing import COUNTED, STRETCH, STRETCHES
from rover.core.drive_curve import SIGMAS
from rover.core.due import SETTLED, SURE
from rover.core.lag import BIN_S, BINS, EXPLAINED, UNCOUNTED, UNLIKE
from rover.core.sameness import (
    BEHIND,
    BEHIND_FROM,
    BEHIND_SHARE,
    LOAD_CHANGE,
    SAME_ECHOES,
    SAME_SIGHTINGS,
    SAME_TURN,
    SAME_VOLTS,
    SAME_WAY,
    SIGHTINGS_TURN,
    UNHEARD,
    UNHEARD_WAY,
)
from rover.core.scale import ABOUT, BOTH_SCALES, IN_QUESTION, LEAST_SCALE, LINE_SCALES, MOST_SCALE, SCALE_WAY
from rover.core.side import AGAINST_WAY, ROLL_WAY, RUN_OUT, STILL_COUNTS, STILL_WAY
from rover.core.sides import MOST_KNOWN, SHORT_TURN
from rover.core.turn_factor import FACTOR_CHANGE
from rover.core.turns import APART, APART_S, BOTH_WAYS, DRIFT_S, FROZEN, REVERSED, SCATTERS, WANDERS
from rover.estimate.contradictions import ALIKE as ALIKE_OFF
from rover.estimate.contradictions import ENOUGH, LEAST, MOST
from rover.estimate.contradictions import SIGMAS as SIGMAS_OFF
from rover.estimate.source import WAY_OF_ONE


class Pair(NamedTuple):
    """A row of the table.

    Attributes:
        what: is held against what.
        judged: when it can be.
        speaks: what is too much, and within what way or angle that shows.
        follows: who is blamed, and what follows.
    """

    what: str
    judged: str
    speaks: str
    follows: str


PAIRS = (
    Pair(
        "one side's counts and its duty: none",
        f"duty above {SURE:g} dead bands for {SETTLED:g} s",
        f"not one count where {STILL_WAY * 100:g} cm and {STILL_COUNTS:g} counts are due",
        "the heading does not turn as one standing side would have it: these counts are doubted. It does: the side "
        "stands, and the limits see to it. No heading: stop",
    ),
    Pair(
        "both sides' counts and their duties: none",
        "the same",
        "the same on both sides, for the second time without a count between",
        "stop: whether wheels or counts stand still, nobody knows where the robot goes",
    ),
    Pair(
        "one side's counts and its duty: direction",
        "the same",
        f"{AGAINST_WAY * 100:g} cm and {STILL_COUNTS:g} counts the wrong way",
        "the heading contradicts: these counts are doubted. It agrees, or there is none, or both sides do: stop",
    ),
    Pair(
        "one side's counts and its duty: none given",
        f"duty zero for {RUN_OUT:g} s",
        f"{ROLL_WAY * 100:g} cm and {STILL_COUNTS:g} counts",
        "stop: the drive does what it is not told. Nothing in software may reach it; the hard-wired stop does",
    ),
    Pair(
        "counts and duties: scale",
        f"over {SCALE_WAY:g} m",
        f"more than {MOST_SCALE:g} times what the duty makes at the most, whatever the dead band, or less than "
        f"{LEAST_SCALE:g} times what it makes at the least while the heading turns as if the base had become "
        f"{FACTOR_CHANGE:g} times narrower",
        "one side: its counts are doubted. Both: stop",
    ),
    Pair(
        "counts and what the duties made of them before",
        f"both sides together, by the line that was learned of both on straights or in turns on the spot, within "
        f"{SIGMAS:g} sigmas; one by its own line, where both together are off by {ABOUT:.0%}, "
        "since the ground couples them, or it alone is left",
        f"over {SCALE_WAY:g} m more than {LINE_SCALES[1]:g} times that (both: {BOTH_SCALES[1]:g}), or less than "
        f"{LINE_SCALES[0]:g} times and as much as was told; beyond {IN_QUESTION[0]:g} to {IN_QUESTION[1]:g} times the "
        "position is less sure meanwhile",
        "one side: its counts are doubted, where they are too few only once the heading turns "
        f"{math.degrees(SHORT_TURN):g} deg farther. "
        "Both, or the one that was left: stop; a floor that holds the robot back so much stops it as well",
    ),
    Pair(
        "heading and counts: none",
        "counts turn, on wheels that slip by nothing or by half",
        f"{math.degrees(FROZEN):g} deg at least by the counts, and the heading stays",
        "the heading is doubted",
    ),
    Pair(
        "heading and counts: direction",
        "the same",
        f"both turn {math.degrees(REVERSED):g} deg, against each other, and by more than a burst of slip",
        "the heading is doubted",
    ),
    Pair(
        "heading and counts: unexplained",
        "the same",
        f"{math.degrees(BOTH_WAYS):g} deg that neither slip nor track explains",
        "stop: a side is off the ground, or somebody has turned the robot",
    ),
    Pair(
        "heading and counts: lag",
        "the same",
        f"told turns differ from those of the counts by {math.degrees(UNLIKE):g} deg, {math.degrees(UNCOUNTED):g} deg "
        f"of them come where none is counted, and turns of up to {BINS * BIN_S:g} s before explain "
        f"all but {EXPLAINED:.0%}",
        "the heading is doubted",
    ),
    Pair(
        "heading's angle and its turn rate",
        "both are told",
        f"{math.degrees(APART):g} deg and three sigmas of difference, and {SCATTERS:g} of those found, within "
        f"{APART_S:g} s",
        "the counts agree with the angle: the rate is doubted. They agree with the rate, and the angle stays: the "
        "angle is doubted. Else stop: it may have been turned",
    ),
    Pair(
        "heading's angle and its turn rate, slowly",
        "the same",
        f"{math.degrees(WANDERS):g} deg, twice the field's heading error and three sigmas within {2.0 * DRIFT_S:g} s",
        "the rate tells a turn at rest: the rate is doubted. Else stop: nobody knows since when the angle drifts",
    ),
    Pair(
        "echo and the robot's own way",
        "nothing is held before the range finder",
        f"{SAME_ECHOES} echoes equal to the last digit on {SAME_WAY * 100:g} cm along them or "
        f"{math.degrees(SAME_TURN):g} deg of turning",
        "the range finder is doubted: what it says counts no more, the robot goes as without it",
    ),
    Pair(
        "echo and known walls",
        "a wall of the map should be heard",
        f"{UNHEARD} times nothing heard at all, on {UNHEARD_WAY * 100:g} cm or more",
        "the same",
    ),
    Pair(
        "echoes and both sides' counts: scale",
        "straight on, nothing is held before the range finder, and what it hears comes nearer or falls back evenly; "
        "no turn before a wall aslant may explain it",
        f"{STRETCHES} times {STRETCH * 100:g} cm, one after the other, of which more than {COUNTED[1]:g} times as much "
        f"was counted, or less than {COUNTED[0]:g} times",
        f"duties say the same of both sides, by {100 * (MOST_KNOWN - 1):.0f}% or more: stop. Else what is heard may "
        "move: the position is as unsure as they differ",
    ),
    Pair(
        "echoes and known walls on two sides",
        f"walls of the map on two sides should be heard, within {WITHIN_WAY * 100:g} cm of way",
        f"{ECHOES} echoes that come {BEYOND * 100:g} cm and {SIGMAS_BEYOND:g} sigmas from beyond them; of walls that "
        f"meet in a corner from as far beyond, give or take {ALIKE * 100:g} cm",
        "the same: the robot cannot stand so that both are right",
    ),
    Pair(
        "sightings and the robot's own turn",
        "something is seen, nothing is held",
        f"{SAME_SIGHTINGS} frames with sightings equal to the last digit on {math.degrees(SIGHTINGS_TURN):g} deg",
        "the camera is doubted. (Pictures that are equal bit by bit are no report at all)",
    ),
    Pair(
        "sightings and the robot's turn on the spot",
        f"something is seen alone of its kind, farther off than {BEHIND_FROM * 100:g} cm",
        f"{math.degrees(BEHIND):g} deg and {BEHIND_SHARE:.0%} of the turn, by which it goes otherwise",
        "the camera is doubted: its frames come late",
    ),
    Pair(
        "sightings and the robot's own way",
        f"something is seen alone of its kind from {LOOKS} places on {SPREAD * 100:g} cm, nothing is held",
        f"{math.degrees(ASIDE):g} deg and {SIGMAS_ASIDE:g} sigmas, by which all sights are turned, of two things or of "
        "the last few, each to the same side",
        "the camera is doubted, and a place that was fixed by the tray's marker is less sure: its mount was knocked",
    ),
    Pair(
        "one wall, or the marker, and the position",
        "it is heard or sighted, and walls not nearer than they are due",
        f"{ENOUGH} in all that are {LEAST * 100:g} cm and {SIGMAS_OFF:g} sigmas off, alike to {ALIKE_OFF * 100:g} cm",
        f"nobody is blamed: the position is as unsure as that, up to {MOST * 100:g} cm, until another agrees along the "
        f"same line; it is moved once another contradicts, too, or none has agreed for {WAY_OF_ONE:g} m",
    ),
    Pair(
        "battery and load",
        "the load has changed",
        f"{SAME_VOLTS} equal voltages where it should have made {LOAD_CHANGE:g} V",
        "the battery is doubted",
    ),
)
"""What is held against what."""


def table() -> str:
    """Return the table as it stands in the docs."""
    head = "| what | when | speaks at | what follows |\n|---|---|---|---|"
    return "\n".join([head, *(f"| {' | '.join(pair)} |" for pair in PAIRS)])


if __name__ == "__main__":
    print(table())
