"""Every sensor tells every lie, at a moment that the seed draws, on three floors: what the robot makes of it.

    python tools/honesty/lies.py [--seeds 20] [--lie heading] [--floor open] [--without SAFEGUARD] [--into FILE]

What must not be: the body more than half a metre outside the field, deliveries counted that are not there, a clean
result with something left. The table tells of each lie how often that was, the largest error of the believed place with
the sigma that was stated then, the most sigmas that an error was, and how long and how far it took from the beginning
of the lie to the verdict: the first event that names the device as wrong, or a stop. Exit code 1 where something was
that must not be.
"""

import math
import statistics
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from rehearsing import FLOORS, STOP, Alarm, Runs, alarm_of, arguments, rehearsed

from rover.events import Health, HealthChange
from rover.files.given import Given
from rover.quantities import wrap
from rover.trials.campaign import command_of
from rover.trials.trial import Trial, WatchedRehearsal
from rover.trials.words import aligned

EARLIEST_S, LATEST_S = 5.0, 90.0
"""A lie begins between these; the shortest errands take 110 s."""
GIVEN_UP_NS = 1_500_000_000_000
"""An errand that has not ended by then has no end; the behaviour gives up after 10 minutes, and goes home."""
OUTSIDE_M = 0.5
MATTERS_M = 0.1
SAMPLE_EVERY = 5
"""Steps between two looks at how wrong the believed place is."""


class Lie(NamedTuple):
    """What a device says that is not so.

    Attributes:
        device: the one that lies, as the robot file calls it.
        words: as a fault's line has it.
        given: what the robot needs to have it.
    """

    device: str
    words: str
    given: Mapping[str, Any] = {}

    @property
    def is_silence(self) -> bool:
        """Nothing comes: that the device is overdue is all that there is to say."""
        return self.words.endswith(("silent", "dark"))


SWITCH = {"robot.devices.gripper.feedback": "switch"}
LIES = (
    Lie("counts", "left counts stuck"),
    Lie("counts", "right counts stuck"),
    Lie("counts", "counts stuck"),
    Lie("counts", "left counts reversed"),
    Lie("counts", "right counts reversed"),
    Lie("counts", "counts reversed"),
    Lie("counts", "left counts doubled"),
    Lie("counts", "right counts scaled by 0.5"),
    Lie("counts", "counts doubled"),
    Lie("counts", "counts scaled by 0.5"),
    Lie("counts", "counts silent"),
    Lie("heading", "heading stuck"),
    Lie("heading", "heading reversed"),
    Lie("heading", "heading biased by 60 deg"),
    Lie("heading", "heading noisy by 40 deg"),
    Lie("heading", "heading lagging by 1 s"),
    Lie("heading", "heading biased by 15 deg"),
    Lie("heading", "heading drifting by 0.5 deg/s"),
    Lie("heading", "heading silent"),
    Lie("range", "range stuck"),
    Lie("range", "range silent"),
    Lie("range", "range no echo"),
    Lie("range", "range says 12 cm"),
    Lie("camera", "camera frozen"),
    Lie("camera", "camera dark"),
    Lie("camera", "camera lagging by 1 s"),
    Lie("gripper", "gripper reversed", SWITCH),
    Lie("gripper", "gripper says held", SWITCH),
    Lie("gripper", "gripper says empty", SWITCH),
    Lie("battery", "battery stuck"),
    Lie("battery", "battery sagging by 2 V"),
    Lie("battery", "battery biased by 2 V"),
)


class Told(NamedTuple):
    """A lie that is told in a rehearsal, from ``at_s`` on."""

    trial: Trial
    lie: Lie
    at_s: float


@dataclass(frozen=True)
class Row:
    """What came of a lie.

    Attributes:
        command: shows the run.
        lie, floor: in words.
        result, reason: of the errand.
        was_told: the errand had not ended before.
        outside_m: the farthest that a corner of the body was outside the field.
        not_there: deliveries counted that are not there.
        is_clean: the result is done, and something was left.
        error_m, sigma_m: the largest error of the believed place, and the standard deviation stated then.
        sigmas: the most of those that an error was, leaving aside errors of less than 10 cm.
        verdict: the device, or a stop, with which the lie came to an end; '' for none.
        after_s, driven_s, way_m, turned_rad: from its beginning to that; of the time, while the wheels were commanded.
        blamed: other devices that were named as wrong.
        error: why there is no run.
    """

    command: str
    lie: str = ""
    floor: str = ""
    result: str = ""
    reason: str = ""
    was_told: bool = False
    outside_m: float = 0.0
    not_there: int = 0
    is_clean: bool = False
    error_m: float = 0.0
    sigma_m: float = 0.0
    sigmas: float = 0.0
    verdict: str = ""
    after_s: float = 0.0
    driven_s: float = 0.0
    way_m: float = 0.0
    turned_rad: float = 0.0
    blamed: Sequence[str] = field(default_factory=list)
    error: str = ""

    @property
    def wrong(self) -> str:
        """What was that must not be, in words; '' for nothing."""
        said = {
            f"{self.outside_m:.2f} m outside": self.outside_m > OUTSIDE_M,
            f"{self.not_there} counted and not there": self.not_there > 0,
            f"{self.result} ({self.reason}), and not all is in": self.is_clean,
            self.error: bool(self.error),
        }
        return ", ".join(words for words, is_so in said.items() if is_so)


class LiedTo(WatchedRehearsal):
    """A rehearsal that is held against the truth from the moment at which a device begins to lie.

    Attributes:
        verdict: what ended the lie.
        blamed: devices that were named and do not lie.
        error_m, sigma_m, sigmas: as in `Row`.
        driven_s, way, turned: since the beginning (s, m, rad); they stand still from the verdict on.
    """

    def __init__(self, told: Told, *given: Any, **parts: Any) -> None:
        super().__init__(*given, **parts)
        self.told = told
        self.verdict: Alarm | None = None
        self.blamed: list[str] = []
        self.error_m = self.sigma_m = self.sigmas = self.driven_s = self.way = self.turned = 0.0
        self.was_told = False
        self.ends_ns = GIVEN_UP_NS
        self._steps = 0
        self._before = self.bench.pose

    def after_step(self, given, decided):
        """Hold what is believed against what is so."""
        super().after_step(given, decided)
        before, self._before = self._before, self.bench.pose
        at_s = given.now_ns * 1e-9
        if at_s < self.told.at_s:
            return
        self.was_told = True
        if self.verdict is None:
            self.way += math.dist(before[:2], self._before[:2])
            self.turned += abs(wrap(self._before[2] - before[2]))
            self.driven_s += self._period_ns * 1e-9 if any((decided.drive.left, decided.drive.right)) else 0.0
        for event in decided.events:
            self._listen(event, at_s)
        self._steps += 1
        if self._steps % SAMPLE_EVERY == 0:
            self._measure()

    def _listen(self, event: Any, at_s: float) -> None:
        alarm, lie = alarm_of(event, at_s), self.told.lie
        if lie.is_silence and isinstance(event, HealthChange) and event.health is Health.OVERDUE:
            alarm = Alarm(at_s, event.device, "overdue")
        if alarm is None or self.verdict is not None:
            return
        if alarm.what in (lie.device, STOP):
            self.verdict = alarm
        elif not lie.is_silence and alarm.what not in self.blamed:
            self.blamed.append(alarm.what)

    def _measure(self) -> None:
        pose, (x, y, _) = self.core.pose, self.bench.pose
        error = math.hypot(pose.x - x, pose.y - y)
        if error <= self.error_m and error < MATTERS_M:
            return
        xx, xy, _, yy, _, _ = self.core.covariance()
        sigma = math.sqrt(0.5 * (xx + yy) + math.hypot(0.5 * (xx - yy), xy))
        if error > self.error_m:
            self.error_m, self.sigma_m = error, sigma
        if error >= MATTERS_M:
            self.sigmas = max(self.sigmas, error / sigma)


def tell(told: Told) -> Row:
    """Rehearse with a lie, and return what came of it."""
    run, result = rehearsed(partial(LiedTo, told), told.trial)
    truth, verdict = result.truth, run.verdict
    assert truth is not None
    return Row(
        command_of(told.trial),
        told.lie.words,
        told.trial.errand.stem,
        result.result,
        result.reason,
        run.was_told,
        truth.farthest_outside_m,
        max(result.delivered - truth.delivered, truth.empty_deliveries),
        result.is_clean and truth.delivered < truth.objects,
        run.error_m,
        run.sigma_m,
        run.sigmas,
        "" if verdict is None else verdict.what,
        0.0 if verdict is None else verdict.at_s - told.at_s,
        run.driven_s,
        run.way,
        run.turned,
        run.blamed,
        run.error,
    )


def lies_told(seeds: Iterable[int], floors: Iterable[Path], lies: Iterable[Lie], without: str) -> Iterator[Told]:
    """Yield every lie on every floor with every seed; all lies of a seed begin at the same moment."""
    lies, floors = list(lies), list(floors)
    for seed in seeds:
        at_s = round(Random(f"{seed}/lie").uniform(EARLIEST_S, LATEST_S), 1)
        for floor in floors:
            for lie in lies:
                given = Given(lie.given, (f"at {at_s} s: {lie.words}",))
                yield Told(Trial(0, "", floor, seed, given, without=without), lie, at_s)


HEADS = (
    *(
        "lie",
        "+runs",
        "+outside",
        "+not there",
        "+left",
        "+error (m)",
        "+sigma",
        "+sigmas",
        "+told",
        "+s half",
        "+s most",
    ),
    *("+s driven", "+m most", "+deg most", "others blamed"),
)


def table(rows: Iterable[Row]) -> Iterator[str]:
    """Yield a line for each lie, under `HEADS`."""
    by_lie: dict[str, list[Row]] = {}
    for row in rows:
        if row.was_told:
            by_lie.setdefault(row.lie, []).append(row)
    yield from aligned(HEADS, [_cells(lie, by_lie[lie]) for lie in (one.words for one in LIES) if lie in by_lie])


def _cells(lie: str, rows: Sequence[Row]) -> list[str]:
    worst = max(rows, key=lambda row: row.error_m)
    noticed = [row for row in rows if row.verdict]
    stops = sum(row.verdict == STOP for row in noticed)
    blamed = Counter(device for row in rows for device in row.blamed)
    return [
        lie,
        str(len(rows)),
        str(sum(row.outside_m > OUTSIDE_M for row in rows)),
        str(sum(row.not_there > 0 for row in rows)),
        str(sum(row.is_clean for row in rows)),
        f"{worst.error_m:.2f}",
        f"{worst.sigma_m:.2f}",
        f"{max(row.sigmas for row in rows):.1f}",
        f"{len(noticed)}" + (f" ({stops} stops)" if stops else ""),
        *(_until_noticed(noticed) if noticed else ("-",) * 5),
        ", ".join(f"{device} {count}" for device, count in blamed.most_common()),
    ]


def _until_noticed(rows: Sequence[Row]) -> Iterator[str]:
    yield f"{statistics.median(row.after_s for row in rows):.1f}"
    yield f"{max(row.after_s for row in rows):.1f}"
    yield f"{max(row.driven_s for row in rows):.1f}"
    yield f"{max(row.way_m for row in rows):.2f}"
    yield f"{math.degrees(max(row.turned_rad for row in rows)):.0f}"


def main(words: Sequence[str] | None = None) -> int:
    parser = arguments(__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="how many")
    parser.add_argument("--lie", action="append", default=[], help="only those with these words in them")
    parser.add_argument("--floor", action="append", default=[], choices=[path.stem for path in FLOORS])
    parser.add_argument("--errand", action="append", type=Path, default=[], help="a floor of your own")
    given = parser.parse_args(words)
    floors = given.errand or [path for path in FLOORS if not given.floor or path.stem in given.floor]
    lies = [lie for lie in LIES if not given.lie or any(one in lie.words for one in given.lie)]
    told = list(lies_told(range(given.seed, given.seed + given.seeds), floors, lies, given.without))
    rows = list(Runs(given.into, Row).rows(told, tell, given.jobs))
    print("\n".join(table(rows)))
    early = sum(not row.was_told and not row.error for row in rows)
    wrong = [row for row in rows if row.wrong]
    print(f"\n{len(rows)} runs, {early} of them over before the lie; {len(wrong)} with what must not be")
    for row in sorted(wrong, key=lambda row: (row.lie, row.floor)):
        print(f"{row.lie}, {row.floor}: {row.wrong}\n    {row.command}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
