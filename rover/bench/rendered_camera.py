"""The rendered camera: frames drawn from the bench, at the camera's rate, as late as a real camera's.

Of the bench file's ``camera:`` block, ``latency``, ``pitch_noise``, ``dip`` and ``flicker*`` count here; the chances of
a detection do not, since what is detected is up to the pixels.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.bench.draws import Episodes, drawn, stream
from rover.bench.render import Renderer, Scene, generator, lidded
from rover.bench.render_lens import Viewpoint
from rover.bench.reporter import NOTHING, Reporter
from rover.devices.protocols import DriverContext
from rover.devices.readings import Frame, Reading
from rover.errors import UserError, to_install
from rover.files.bench import BenchFile
from rover.files.fault_table import ReportsFault
from rover.files.robot import Robot

SPOILT = (0.05, 0.25)
"""Share of the light in a frame that a flickering lamp spoils."""
IN_THE_DARK = 0.02
"""The same of a frame in the dark."""


def with_rendered_camera(robot: Robot, bench: BenchFile) -> Robot:
    """Return the robot whose camera is the rendered one, with the frame size that the bench file says.

    Raises:
        UserError: the robot has no camera or one with a driver of its own, or the package for pictures is missing.
    """
    camera = robot.devices.camera
    if camera is None:
        raise UserError("--rendered draws what the camera sees; the robot file has no 'camera:' among its devices")
    if ":" in camera.driver:
        raise UserError(f"--rendered cannot stand in for the camera's own driver '{camera.driver}'; leave it out")
    try:
        import cv2
    except ImportError as error:
        raise UserError(f"--rendered needs the package 'opencv': {to_install('vision')}") from error
    cv2.setNumThreads(1)  # for frames this small, threads cost more than they bring
    size = {"frame_width": bench.rendering.frame_width, "frame_height": bench.rendering.frame_height}
    # Drawn through a pinhole, so there is no distortion to undo.
    changes = {"driver": f"{__name__}:RenderedCamera", "distortion": (), **size}
    devices = robot.devices.model_copy(update={"camera": camera.model_copy(update=changes)})
    return robot.model_copy(update={"devices": devices})


class RenderedCamera(Reporter):
    """Reports rendered frames. What one shows is noted while its shutter is open, and drawn when it arrives."""

    FAMILY = "camera"

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        bench = self._bench
        errors = bench.file.camera
        self._latency_ns = round(drawn(errors.latency, stream(bench.seed, "camera latency")) * 1e9)
        self._flicker = Episodes(errors.flicker_every, errors.flicker_lasts, stream(bench.seed, "flicker"))
        self._renderer = Renderer(bench.file, bench.robot, bench.errand, bench.seed)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Draw the frames that have arrived by ``now_ns``, and return them."""
        return [reading._replace(value=self._drawn(reading.value)) for reading in super().poll(now_ns)]

    def _drawn(self, scene: Scene) -> Frame:
        image = self._renderer.frame(scene)
        height, width = image.shape[:2]
        return Frame(image, width, height)

    def _measure(self, now_ns: int) -> Scene:
        """Return what is before the camera."""
        return self._scene_at(now_ns, NOTHING)

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> Scene:
        scene, draws = self._scene_at(now_ns, fault), self._fault_draws
        if fault.dark:
            return scene._replace(exposed=IN_THE_DARK)
        if draws.random() < fault.missing:
            return scene._replace(exposed=draws.uniform(*SPOILT))
        return scene

    def _scene_at(self, now_ns: int, fault: ReportsFault) -> Scene:
        bench, device, errors = self._bench, self._keys, self._bench.file.camera
        mount = device.mount
        bench.carry()
        place, looks = bench.to_field(mount.ahead, mount.left), bench.heading + mount.towards
        if fault is not NOTHING:
            looks += fault.bias + self._fault_draws.gauss(0.0, fault.noise)
        draws = generator(bench.seed, "camera", self._sequence)
        # An accelerating body lifts its nose.
        pitch = float(draws.normal(0.0, errors.pitch_noise)) + errors.dip * bench.base.acceleration
        spoilt = self._flicker.on(now_ns) and draws.random() < errors.flicker
        return Scene(
            self._sequence,
            now_ns * 1e-9,
            Viewpoint(*place, device.height, looks, device.tilt),
            pitch,
            bench.base.turn_rate,
            tuple(lidded(piece) for piece in bench.pieces),
            None if bench.robot.devices.gripper is None else bench.jaws_state.opening,
            float(draws.uniform(*SPOILT)) if spoilt else 1.0,
            bench.solids.standing,
        )
