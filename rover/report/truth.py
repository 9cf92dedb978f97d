"""What truly happened in a rehearsal, beside what the robot believed: of a run on the robot there is nothing."""

import math
from bisect import bisect_right
from itertools import pairwise

from rover.record.run import Incident, RecordedRun, TrueBump, TrueFigures
from rover.report.numbers import UNKNOWN, metres, millimetres
from rover.report.table import Cell, Table, Time


def truth_table(run: RecordedRun, truth: TrueFigures) -> Table:
    """Return the table of figures."""
    deliveries, found = len(run.counted), sum(find.number in run.true_finds for find in run.finds)
    rows = [
        ("objects in the tray", str(deliveries), str(truth.delivered)),
        ("finds with an object in the jaws", str(len(run.finds)), str(found)),
        ("deliveries that brought an object", str(deliveries), str(deliveries - truth.empty_deliveries)),
        ("objects let go of outside the tray", UNKNOWN, str(truth.let_go_outside)),
        ("objects knocked over", UNKNOWN, str(truth.fallen)),
        ("objects touched and not gripped", UNKNOWN, str(truth.touched)),
        ("the same in the tray", UNKNOWN, str(truth.touched_in_tray)),
        ("bumps", UNKNOWN, str(truth.bumps)),
        ("the fastest, m/s", UNKNOWN, f"{truth.fastest_bump_m_s:.2f}" if truth.bumps else UNKNOWN),
        ("time with a corner outside the field, s", UNKNOWN, f"{truth.outside_s:.1f}"),
        ("the farthest, m", UNKNOWN, metres(truth.farthest_outside_m) if truth.outside_s else UNKNOWN),
        ("driven, m", f"{_believed_way(run):.1f}", f"{truth.driven_m:.1f}"),
    ]
    return Table(("", "+as the robot believed", "+truly"), rows)


def incidents_table(run: RecordedRun) -> Table:
    """Return the table of bumps and touches."""
    heads = ("+time / min:s", "what", "+x / m", "+y / m", "+speed / m/s", "+moved it by / mm", "in state")
    rows: list[list[Cell]] = [
        [Time(one.at_ns - run.started_ns), *_in_words(one), _state_at(run, one.at_ns)] for one in run.incidents
    ]
    return Table(heads, rows, "Nothing was bumped into or touched that was not to be.")


def _in_words(incident: Incident) -> list[str]:
    what = incident.what
    place = [metres(what.x), metres(what.y)]
    if isinstance(what, TrueBump):
        return ["bump, the robot here", *place, f"{what.speed:.2f}", UNKNOWN]
    name = f"{what.kind} {what.id}, touched{' in the tray' if what.in_tray else ''}"
    return [name, *place, UNKNOWN, millimetres(what.moved)]


def _state_at(run: RecordedRun, at_ns: int) -> str:
    """Return the state of the last track point up to a time."""
    at = bisect_right(run.track, at_ns, key=lambda sample: sample.at_ns)
    return run.track[at - 1].point.state if at else ""


def _believed_way(run: RecordedRun) -> float:
    places = [(sample.point.x, sample.point.y) for sample in run.track]
    return sum(math.dist(a, b) for a, b in pairwise(places))
