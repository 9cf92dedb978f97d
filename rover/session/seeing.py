"""A camera whose frames the project's vision reads: what is found in them is reported, the frame kept beside it."""

from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import Future, wait
from functools import partial
from typing import Any

from rover.devices.camera.capture import opencv
from rover.devices.meanwhile import Meanwhile
from rover.devices.protocols import FindObjects
from rover.devices.readings import Detections, Fault, Frame, Reading

WORTH_TELLING = 0.2
"""When more than this share of the frames was of no use, a person is told so."""
FOUND_WITHIN_S = 1.0


class SeeingCamera:
    """A camera's driver with the vision behind it: for a frame, the `Detections` in it are reported, as taken then.

    Finding takes longer than a step, so it is done meanwhile: on the robot the loop goes on, and of the frames that
    come in before it is done the newest is next. What is no frame (detections of the camera's own, a fault) is passed
    on as it is, in its order. A frame that shows nothing to rely on (dark, frozen, of a wrong size) gives no report, so
    that the device becomes overdue.

    Args:
        camera: the driver.
        make_find: makes what finds objects in its frames; called when the first one comes.
        meanwhile: has the finding done.
    """

    def __init__(self, camera: Any, make_find: Callable[[], FindObjects], meanwhile: Meanwhile) -> None:
        self._camera, self._make_find, self._meanwhile = camera, make_find, meanwhile
        self._find: FindObjects | None = None
        self._waiting: list[Reading] = []
        self._finding: Future[tuple[Reading, Detections | Fault]] | None = None
        self._frame: Reading | None = None
        self._trouble = ""
        self._troubles: Counter[str] = Counter()

    @property
    def frame(self) -> Reading | None:
        """The newest frame of which something was reported, with the time and sequence number of that report."""
        own = getattr(self._camera, "frame", None)
        return own if self._frame is None and _has_frame(own) else self._frame

    @property
    def trouble(self) -> str:
        """What is wrong with the latest frame, or what the driver says is wrong with its device; '' if nothing is."""
        return self._trouble or str(getattr(self._camera, "trouble", ""))

    @property
    def remarks(self) -> list[str]:
        """What a person should know of the frames, in sentences; mostly nothing."""
        number = self._troubles.total()
        return [
            f"{count} of {number} frames were of no use: {trouble}"
            for trouble, count in self._troubles.items()
            if trouble and count > WORTH_TELLING * number
        ]

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the reports that are ready, oldest first.

        Raises:
            DeviceError: there is a frame, and the package that reads frames is missing.
        """
        for reading in self._camera.poll(now_ns):
            if _has_frame(reading):
                self._waiting = [one for one in self._waiting if not _has_frame(one)]  # the newest is worth most
            self._waiting.append(reading)
        ready: list[Reading] = []
        while self._finding is None or self._finding.done():
            if self._finding is not None:
                ready += self._found()
            elif not self._waiting:
                break
            elif _has_frame(self._waiting[0]):
                self._finding = self._meanwhile(partial(self._look, self._waiting.pop(0)))
            else:
                ready.append(self._waiting.pop(0))
        return ready

    def _look(self, reading: Reading) -> tuple[Reading, Detections | Fault]:
        """Return a frame and what is found in it; in another thread, one frame at a time."""
        if self._find is None:
            opencv()
            self._find = self._make_find()
        return reading, self._find(reading.value)

    def _found(self) -> list[Reading]:
        """Return the report of a frame that has been looked at, none of one that is no good."""
        assert self._finding is not None
        looked, self._finding = self._finding, None
        reading, found = looked.result()
        self._trouble = found.why if isinstance(found, Fault) else ""
        self._troubles[self._trouble.partition(":")[0]] += 1
        if isinstance(found, Fault):
            return []
        self._frame = reading
        return [reading._replace(value=found)]

    def close(self) -> None:
        """Let go of the camera, once the finding is over; one that hangs is left behind."""
        if self._finding is not None:
            wait([self._finding], FOUND_WITHIN_S)
        self._camera.close()


def _has_frame(reported: Any) -> bool:
    """Tell whether something reported is a reading of a frame; it may be anything."""
    return isinstance(getattr(reported, "value", None), Frame)
