"""Rehearsal: the core on the bench, in simulated time as fast as it goes, or wired to an emulated co-processor."""

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

from rover.activities.activity import Activity
from rover.bench.bench import Bench
from rover.core import Action, Core, StepReadings, StepRecord
from rover.core.parts import USUAL, Parts
from rover.devices.protocols import DriverContext
from rover.devices.with_driver import is_dotted
from rover.errors import UserError
from rover.events import Stop
from rover.files.bench import BenchFile
from rover.record.frames import FrameFolder
from rover.session import loop
from rover.session.assembly import Assembly, user_drivers
from rover.session.clocks import PacedClock
from rover.session.drivers import Drivers
from rover.session.header import run_header
from rover.session.own_simulation import OwnSimulation, with_stand_ins
from rover.session.recorder import RunRecorder
from rover.session.result import Result, ShowProgress
from rover.session.truth import TruthKeeper
from rover.session.watched import NoPage, Page, Wish
from rover.session.wired import Wiring, wire
from rover.simulation import SimulationContext
from rover.vision.detector import finder

LONGEST_NS = 4 * 3600 * 1_000_000_000
"""A rehearsal of a behaviour that does not end is stopped after so much robot time."""
WIRED_PACE, RENDERED_PACE = 4.0, 2.0
"""A wired rehearsal runs so many times faster than real time, serial line included; drawing frames takes its time."""


@dataclass(frozen=True)
class Watched:
    """How a rehearsal is watched: by a page, so many times as fast as real time (None: as fast as it goes)."""

    page: Page = field(default_factory=NoPage)
    pace: float | None = None

    @property
    def has_people(self) -> bool:
        """Somebody may be there who stops it, and goes on."""
        return not isinstance(self.page, NoPage)


class Rehearsal(loop.Host):
    """One rehearsal of one errand.

    Args:
        assembly: the errand and all it names.
        activities: built-in ones and the user's own.
        seed: of bench, behaviour and drivers.
        record: file to write.
        wired: send the linked devices' data as bytes through a pseudo-terminal.
        rendered: draw what the camera sees, and have the real vision code find the objects in it.
        parts: of the core.
        with_readings: record them also where seed and files give them again, so that a replay needs no bench.
        watched: how people take part in it; without them a stop that latches ends it.

    Attributes:
        bench: the built-in bench, or a simulation of the person's own; it knows the truth.
        drivers: at work.
        wiring: the emulated co-processor and its line, in a wired rehearsal.
        truth: what counts it; None where nobody knows it.
        ends_ns: when it ends at the latest: after the longest time, or when a stop latches.

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
        parts: Parts = USUAL,
        with_readings: bool = False,
        watched: Watched = Watched(),
    ) -> None:
        is_exact = not (wired or watched.has_people or user_drivers(assembly.robot))
        self.bench, assembly, where = _placed(assembly, seed, wired=wired, rendered=rendered)
        self._floor = self.bench if isinstance(self.bench, Bench) else None
        self.wiring: Wiring | None = None
        self._resources = ExitStack()
        try:
            pace = watched.pace or (RENDERED_PACE if rendered else WIRED_PACE)
            self.drivers = self._make_drivers(assembly, seed, pace if wired else None)
            self.core = Core(assembly.robot, assembly.errand, assembly.graph, activities, seed, parts=parts)
            self.truth = self._truth(assembly)
            header = run_header(self.core, assembly, seed, where)
            self._recorder = RunRecorder(
                self.core,
                record,
                header,
                drivers=self.drivers,
                links=self.wiring.links if self.wiring is not None else {},
                truth=self.truth,
                is_exact=is_exact and isinstance(self.bench, Bench) and not with_readings,
            )
            watched.page.begin(self.core, header)
        except BaseException:
            self._resources.close()
            raise
        self._pictures = FrameFolder(record, assembly.robot.record)
        self._period_ns = round(1e9 / assembly.robot.loop)
        self._now_ns = 0
        self.ends_ns = LONGEST_NS
        self._stopped: str | None = None
        self._watched = watched
        self._clock = None if watched.pace is None or wired else PacedClock(watched.pace)

    def _make_drivers(self, assembly: Assembly, seed: int, wired_pace: float | None) -> Drivers:
        robot = assembly.robot
        families = tuple(robot.devices.fitted()) if isinstance(self.bench, Bench) else ()
        links: Mapping[str, Any] = {}
        if wired_pace is not None:
            assert isinstance(self.bench, Bench)
            self.wiring = self._resources.enter_context(wire(robot, self.bench, wired_pace))
            links = self.wiring.links
            families = tuple(family for family, device in robot.devices.fitted().items() if device.on_link is None)
        bench = self.bench.own if isinstance(self.bench, OwnSimulation) else self.bench
        context = DriverContext(robot, seed, links, bench, partial(finder, robot, assembly.errand.kinds))
        drivers = Drivers(context, families, self.wiring.drivers(context) if self.wiring else {})
        self._resources.callback(drivers.close)
        return drivers

    def _truth(self, assembly: Assembly) -> TruthKeeper | None:
        """Return what counts the truth; None where a drive of the person's own moves a robot that no bench knows of."""
        if isinstance(self.bench, Bench) and is_dotted(assembly.robot.devices.drive.driver):
            return None
        return TruthKeeper(self.bench, assembly.robot, assembly.errand)

    def run(self, progress: ShowProgress, tell: loop.Tell = loop.to_nobody) -> Result:
        """Run to the end, and return how it ended. On an interrupt the record is finished all the same."""
        return loop.run(self.core, self, self._recorder, progress, tell)

    @property
    def status(self) -> str:
        """The behaviour's state."""
        return self.core.engine.path

    @property
    def why_ended(self) -> str:
        """The stop that latched (here nobody resets it), or the time limit."""
        return self._stopped or "the rehearsal's time limit"

    def next_step(self) -> StepReadings | None:
        """Let the bench's time go on by a step, and poll the drivers."""
        if self._now_ns >= self.ends_ns:
            return None
        now_ns = self._go_on()
        while self._floor is not None and self._floor.schedule.robot.is_stalled:
            now_ns = self._go_on()
        new = self.drivers.poll(now_ns)
        faults = [*self.drivers.faults(), *self._recorder.faults()]
        wishes = [action_of(wish) for wish in self._watched.page.wishes()]
        return StepReadings(now_ns, new, faults, [*self.drivers.stops(), *self._pressed(), *wishes])

    def _go_on(self) -> int:
        if self._clock is not None:
            self._clock.sleep_until(self._now_ns)
        due_ns = self._now_ns + self._period_ns
        self._now_ns = self.wiring.next_step(self._now_ns, self._period_ns) if self.wiring else due_ns
        self.bench.advance(self._now_ns)
        return self._now_ns

    def _pressed(self) -> list[Action]:
        if self._floor is None or not self._floor.is_stop_pressed:
            return []
        self._floor.is_stop_pressed = False
        return [Action("stop", "stop was pressed (a fault of the bench file)")]

    def apply(self, decided: StepRecord) -> None:
        """Pass the commands to the drivers; the bench's faults may wait for a state that has just been entered."""
        if self._floor is not None and self._floor.schedule.waits_for_states and decided.events:
            self._floor.note_entries(self.core.engine.entries)
        self.drivers.apply(decided, is_stopped=not self.core.stop.effect.moves)

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Keep a picture that is due, show the step, and see whether a stop latched that nobody resets."""
        if (frame := self.drivers.newest_frame()) is not None:
            self._pictures.keep(frame)
        self._watched.page.see(frame)
        self._watched.page.take(self.core, given, decided)
        for event in decided.events:
            if isinstance(event, Stop) and not self._watched.has_people:
                self._stopped, self.ends_ns = event.cause, given.now_ns

    def close(self) -> None:
        """Close the drivers and the line, and record the remarks."""
        self._resources.close()
        for trouble in self._recorder.troubles:
            self._recorder.note("fault", trouble)

    @property
    def remarks(self) -> list[str]:
        """What a person should know besides the result, in sentences; mostly nothing."""
        return [*self.drivers.remarks, *self._recorder.unwell.values(), *self._recorder.troubles]


def action_of(wish: Wish) -> Action:
    """Return what somebody's wish means in a rehearsal, where there is no motor guard to ask."""
    match wish.word:
        case "stop" | "hold" as kind:
            return Action(kind, f"{'stopped' if kind == 'stop' else 'held'} at the page by {wish.whose}")
        case "go on":
            return Action("resume")
        case "reset" | "enable" as kind:
            return Action(kind)
    return Action("answer", wish.word)


def _placed(
    assembly: Assembly, seed: int, *, wired: bool, rendered: bool
) -> tuple[Bench | OwnSimulation, Assembly, str]:
    """Return where the rehearsal happens, the errand with the robot as it is there, and words for the record's header.

    Raises:
        UserError: it cannot be had, or not at the depth that was asked for.
    """
    file = assembly.bench or BenchFile(bench="empty")
    if file.simulation is None:
        if rendered:  # what that needs is imported only now
            from rover.bench.rendered_camera import with_rendered_camera

            assembly = replace(assembly, robot=with_rendered_camera(assembly.robot, file))
        depths = [*(["wired"] if wired else []), *(["rendered"] if rendered else []), "bench"]
        return Bench(file, assembly.robot, assembly.errand, seed), assembly, " ".join(depths)
    name = file.simulation
    if wired or rendered:
        option = "--wired" if wired else "--rendered"
        raise UserError(f"{option} is for the built-in bench, and the bench file names the simulation '{name}'")
    simulation = OwnSimulation(name, SimulationContext(assembly.robot, assembly.errand, file, seed))
    there = replace(assembly, robot=with_stand_ins(assembly.robot, name, simulation.own))
    return simulation, there, f"simulation {name}"
