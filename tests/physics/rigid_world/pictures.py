"""A camera whose frames the engine draws, and the project's own vision reads. Needs a GL without a screen (EGL)."""

import mujoco

from rigid_world.devices import Camera
from rover import Frame, Reading

WIDE, HIGH = 320, 240
NOISE = 3.0
"""Standard deviation of a pixel, of 255."""


class PictureCamera(Camera):
    """Draws what is before the lens, and hands over what is found in it.

    Attributes:
        frame: the latest frame with the time at which it was taken, for the record.
    """

    def __init__(self, options, context):
        super().__init__(options, context)
        self._find = context.finder_of(context.robot.devices.camera)
        self._renderer = mujoco.Renderer(self.world.m, HIGH, WIDE)
        self._shown = mujoco.MjvOption()
        self._shown.geomgroup[:] = 1
        self.frame = None

    def measure(self):
        self._renderer.update_scene(self.world.d, "lens", self._shown)
        picture = self._renderer.render().astype(float)
        noisy = (picture + self.draws.normal(0.0, NOISE, picture.shape)).clip(0.0, 255.0).astype("uint8")
        frame = Frame(noisy[:, :, ::-1].copy(), WIDE, HIGH)  # blue, green, red
        self.frame = Reading(self.world.now_ns, self._sequence, frame)
        return self._find(frame)
