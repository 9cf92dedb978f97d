"""The rendered camera: frames drawn from the bench, at the camera's rate, as late as a real camera's.

Of the bench file's ``camera:`` block, ``latency``, ``pitch_noise``, ``dip`` and ``flicker*`` count here; the chances of
a detection do not, since what is detected is up to the pixels.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.bench.devices import Reporter
from rover.bench.draws import Episodes, drawn, stream
from rover.bench.render import Renderer, Scene, generator, lidded
from rover.bench.render_lens import Viewpoint
from rover.devices.protocols import DriverContext
from rover.devices.readings import Frame, Reading
from rover.files import robot as files

SPOILT = (0.05, 0.25)
"""Share of the light in a frame that a flickering lamp spoils."""


class RenderedCamera(Reporter):
    """Reports frames. What one shows is noted while its shutter is open, and drawn when it arrives, by whoever polls.

    Attributes:
        frame: the latest frame with the time at which it was taken; None before the first.
    """

    FAMILY = "camera"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        bench = self._bench
        errors = bench.file.camera
        self._device = bench.robot.devices.camera or files.Camera(driver="bench")
        self._latency_ns = round(drawn(errors.latency, stream(bench.seed, "camera latency")) * 1e9)
        self._flicker = Episodes(errors.flicker_every, errors.flicker_lasts, stream(bench.seed, "flicker"))
        self._renderer = Renderer(bench.file, bench.robot, bench.errand, bench.seed)
        self._scene: Scene | None = None
        self.frame: Reading | None = None

    def value_of(self, frame: Frame) -> Any:
        """Return what is reported of a frame, or None for no report; here the frame itself."""
        return frame

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Draw the frames that have arrived by ``now_ns``, and return the reports of them."""
        reports = [self._report_of(reading) for reading in super().poll(now_ns)]
        return [report for report in reports if report.value is not None]

    def _report_of(self, reading: Reading) -> Reading:
        image = self._renderer.frame(reading.value)
        height, width = image.shape[:2]
        self.frame = reading._replace(value=Frame(image, width, height))
        return reading._replace(value=self.value_of(self.frame.value))

    def _measure(self, now_ns: int, fault: str | None) -> Scene:
        """Return what is before the camera; when it is frozen, what was before it last."""
        if fault != "frozen" or self._scene is None:
            self._scene = self._scene_at(now_ns)
        return self._scene

    def _scene_at(self, now_ns: int) -> Scene:
        bench, device, errors = self._bench, self._device, self._bench.file.camera
        if bench.jaws_state.held is not None:
            bench.carry()
        draws = generator(bench.seed, "camera", self._sequence)
        # An accelerating body lifts its nose.
        pitch = float(draws.normal(0.0, errors.pitch_noise)) + errors.dip * bench.base.acceleration
        spoilt = self._flicker.on(now_ns) and draws.random() < errors.flicker
        return Scene(
            self._sequence,
            now_ns * 1e-9,
            Viewpoint(*bench.to_field(device.ahead, 0.0), device.height, bench.heading, device.tilt),
            pitch,
            bench.base.turn_rate,
            tuple(lidded(piece) for piece in bench.pieces),
            None if bench.robot.devices.gripper is None else bench.jaws_state.opening,
            float(draws.uniform(*SPOILT)) if spoilt else 1.0,
        )
