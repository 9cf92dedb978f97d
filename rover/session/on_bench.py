"""Rehearsal: the core on the bench, in simulated time as fast as it goes, or wired to an emulated co-processor."""

import math
import time
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

from rover.activities.activity import Activity
from rover.bench.bench import Bench
from rover.core import Core, StepReadings, StepRecord
from rover.devices.protocols import DriverContext
from rover.estimate.ellipse import ellipse_95
from rover.events import Delivery, Find, Health, HealthChange, Note, Stop
from rover.files.bench import BenchFile
from rover.record.run import FinalObject
from rover.record.writer import RunRecord
from rover.session.assembly import Assembly
from rover.session.drivers import Drivers, families_by_link
from rover.session.header import TRACK_EVERY, errand_header
from rover.session.result import FindReport, Result, ShowProgress
from rover.session.wired import Wiring, wire

LONGEST_NS = 4 * 3600 * 1_000_000_000
"""A rehearsal of a behaviour that does not end is stopped after so much robot time."""
WIRED_PACE = 4.0
"""A wired rehearsal runs so many times faster than real time, serial line included."""


class Rehearsal:
    """One rehearsal of one errand.

    Args:
        assembly: the errand and all it names.
        activities: built-in ones and the user's own.
        seed: of bench, behaviour and drivers.
        record: file to write.
        wired: send the linked devices' data as bytes through a pseudo-terminal.
        rendered: draw what the camera sees, and have the real vision code find the objects in it.

    Raises:
        UserError: the files do not go together, or lack what ``wired`` or ``rendered`` need.
    """

    def __init__(
        self,
        assembly: Assembly,
        activities: Mapping[str, type[Activity]],
        seed: int,
        record: Path,
        *,
        wired: bool = False,
        rendered: bool = False,
    ) -> None:
        assembly = _rendered(assembly) if rendered else assembly
        self._assembly = assembly
        self._seed = seed
        self._path = record
        self._rendered = rendered
        self._resources = ExitStack()
        self._bench = Bench(assembly.bench or BenchFile(bench="empty"), assembly.robot, assembly.errand, seed)
        self._wiring: Wiring | None = None
        try:
            self._drivers = self._make_drivers(wired)
            self.core = Core(assembly.robot, assembly.errand, assembly.graph, activities, seed)
            self._record = RunRecord.create(record, errand_header(self.core, assembly, seed, self._depths()))
        except BaseException:
            self._resources.close()
            raise
        self._camera = self._drivers.made("camera")
        self._pictures = _pictures(self._camera, record) if rendered else None
        self._finds: list[FindReport] = []
        self._believed = 0
        self._steps = 0
        self._stopped: str | None = None

    def _make_drivers(self, wired: bool) -> Drivers:
        robot = self._assembly.robot
        families = tuple(robot.devices.fitted())
        links: Mapping[str, Any] = {}
        if wired:
            self._wiring = self._resources.enter_context(wire(robot, self._bench, WIRED_PACE))
            links = self._wiring.links
            families = tuple(set(families) - set(families_by_link(robot.devices.fitted())))
        context = DriverContext(robot, self._seed, links, self._bench, self._assembly.errand.kinds)
        drivers = Drivers(context, families)
        self._resources.callback(drivers.close)
        return drivers

    def _depths(self) -> str:
        return " ".join([*(["wired"] if self._wiring else []), *(["rendered"] if self._rendered else []), "bench"])

    @property
    def bench(self) -> Bench:
        """The bench, which knows the truth."""
        return self._bench

    @property
    def drivers(self) -> Drivers:
        """The drivers at work."""
        return self._drivers

    @property
    def wiring(self) -> Wiring | None:
        """The emulated co-processor and its line, in a wired rehearsal."""
        return self._wiring

    def run(self, progress: ShowProgress) -> Result:
        """Run to the end, and return how it ended. On an interrupt the record is finished all the same."""
        started = time.perf_counter()
        try:
            self._loop(progress)
        except BaseException as error:
            self._finish("stopped", type(error).__name__, started)
            raise
        finally:
            self._resources.close()
        ending = self.core.engine.ending
        if ending is not None:
            return self._finish(ending.result, ending.reason, started)
        return self._finish("stopped", self._stopped or "the rehearsal's time limit", started)

    def _loop(self, progress: ShowProgress) -> None:
        period_ns = round(1e9 / self._assembly.robot.loop)
        now_ns = 0
        next_progress = 0
        while self.core.engine.ending is None and self._stopped is None and now_ns < LONGEST_NS:
            now_ns = self._wiring.next_step(now_ns, period_ns) if self._wiring else now_ns + period_ns
            self._step(now_ns)
            if now_ns >= next_progress:
                next_progress = now_ns + 2_000_000_000
                progress(now_ns * 1e-9, self.core.engine.path, self._believed)

    def _step(self, now_ns: int) -> None:
        new = self._drivers.poll(now_ns)
        decided = self.core.step(StepReadings(now_ns, new, self._drivers.faults()))
        self._drivers.apply(decided)
        if self._wiring is not None:  # direct, the seed gives the same readings again
            self._record.readings(now_ns, new)
        if self._pictures is not None:
            self._pictures.keep(now_ns)
        if decided.events:
            self._note(now_ns, decided)
        if self._steps % TRACK_EVERY == 0:
            self._record.step(now_ns, self.core.track_point(), (decided.drive.left, decided.drive.right))
            self._record.true_pose(now_ns, self._bench.pose)
        self._steps += 1

    def _note(self, now_ns: int, decided: StepRecord) -> None:
        for event in decided.events:
            self._record.event(now_ns, event)
            if isinstance(event, Find):
                self._finds.append(self._found(now_ns, event))
            elif isinstance(event, Delivery):
                self._believed = event.number
            elif isinstance(event, Stop):
                self._stopped = event.cause
            elif isinstance(event, HealthChange) and event.device == "camera" and event.health is not Health.OK:
                self._note_trouble(now_ns)

    def _note_trouble(self, now_ns: int) -> None:
        """Note what the camera's driver itself has to say about reports that do not come."""
        trouble = getattr(self._camera, "trouble", "")
        if trouble:
            self._record.event(now_ns, Note("fault", f"camera: {trouble}"))

    @property
    def remarks(self) -> list[str]:
        """What a person should know besides the result, in sentences; mostly nothing."""
        return list(getattr(self._camera, "remarks", ()))

    def _found(self, now_ns: int, find: Find) -> FindReport:
        truth = self._bench.held_from()
        axis = distance = None
        if truth is not None:
            self._record.true_find(now_ns, find.number, truth)
            axis = max(abs(find.x - truth[0]), abs(find.y - truth[1]))
            distance = math.hypot(find.x - truth[0], find.y - truth[1])
        return FindReport(find.kind, find.x, find.y, axis, distance, ellipse_95(find.xx, find.xy, find.yy))

    def _finish(self, result: str, reason: str, started: float) -> Result:
        core, zone = self.core, self._assembly.errand.field.zone
        now_ns = core.known.now_ns
        things = self._bench.objects
        inside = set(self._bench.delivered(zone)) if zone is not None else set()
        for thing in things:
            place = "held" if thing.state == "held" else "tray" if thing.id in inside else "floor"
            self._record.final_object(now_ns, FinalObject(str(thing.id), thing.kind, thing.x, thing.y, place))
        for name, count in core.refusals.items():
            if count:
                self._record.event(now_ns, Note("refused", f"{name}: {count}"))
        for remark in self.remarks:
            self._record.event(now_ns, Note("fault", remark))
        truth_known = bool(things)
        errors = [find.axis_error_m for find in self._finds if find.axis_error_m is not None]
        report = Result(
            result,
            reason,
            len(inside) if truth_known else self._believed,
            len(things) if truth_known else self._assembly.errand.expect,
            tuple(self._finds),
            max(errors, default=None),
            now_ns * 1e-9,
            time.perf_counter() - started,
            self._steps,
            str(self._path),
        )
        self._record.finish(result, reason, {"expected": report.objects, "delivered": report.delivered})
        return report


def _rendered(assembly: Assembly) -> Assembly:
    """Return the errand with the rendered camera; what that needs is imported only now."""
    from rover.session.rendered import with_rendered_camera

    bench = assembly.bench or BenchFile(bench="empty")
    return replace(assembly, robot=with_rendered_camera(assembly.robot, bench))


def _pictures(camera: Any, record: Path) -> Any:
    from rover.session.rendered import Pictures

    return Pictures(camera, record)
