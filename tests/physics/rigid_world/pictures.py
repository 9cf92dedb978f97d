"""A camera whose frames the engine draws, for the project's own vision to read. Needs a GL without a screen (EGL)."""

import mujoco

from rigid_world.devices import Camera
from rover import Frame

WIDE, HIGH = 320, 240
NOISE = 3.0
"""Standard deviation of a pixel, of 255."""


class PictureCamera(Camera):
    """Draws what is before the lens, and hands the frame over."""

    def __init__(self, options, context):
        super().__init__(options, context)
        self._renderer = mujoco.Renderer(self.world.m, HIGH, WIDE)
        self._shown = mujoco.MjvOption()
        self._shown.geomgroup[:] = 1

    def measure(self):
        self._renderer.update_scene(self.world.d, "lens", self._shown)
        picture = self._renderer.render().astype(float)
        noisy = (picture + self.draws.normal(0.0, NOISE, picture.shape)).clip(0.0, 255.0).astype("uint8")
        return Frame(noisy[:, :, ::-1].copy(), WIDE, HIGH)  # blue, green, red
