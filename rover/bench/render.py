"""The rendered camera's frames: drawn from where the camera is, the way a small camera would see the bay.

Floor and walls are textures warped by their planes' homographies; what stands about is drawn as polygons, far ones
first. Every frame draws its chances from a generator of its own, made of seed and frame number, so that the same
scene gives the same frame.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import NamedTuple

import numpy as np

from rover.bench.floor import Round, Segment, Solids, Standing, stands_between
from rover.bench.objects import Piece
from rover.bench.render_ground import Facade, FloorTexture
from rover.bench.render_lens import NEAR, Projection, Viewpoint, lens
from rover.bench.render_light import Light, Sensor, Weather
from rover.bench.render_paint import Colour, Image, from_hsv
from rover.bench.render_things import Plate, Upright, body_and_lid, draw_jaws, draw_plate, draw_shadow, draw_upright
from rover.devices.camera.keys import CameraKeys
from rover.devices.jaws import jaws_size
from rover.devices.keys import SIMULATED
from rover.files.bench import BenchFile
from rover.files.errand import Errand, Zone
from rover.files.robot import Robot

LID_SATURATION, LID_VALUE = 205.0, 200.0
"""Of a lid whose true colour the bench file does not give: glossy plastic, its hue the middle of the robot's range."""
SKY: Colour = (196.0, 198.0, 192.0)
POT: Colour = (66.0, 92.0, 158.0)
"""Fired clay: its hue is a little redder than the amber lids'."""
SOIL: Colour = (38.0, 44.0, 50.0)
POT_RADIUS, POT_HEIGHT = 0.055, 0.10
POT_FROM_EDGE = 0.09
POST: Colour = (104.0, 108.0, 110.0)
POST_HEIGHT = 0.9

Draw = Callable[[Image, Projection], None]


class Lidded(NamedTuple):
    """An object as it stands in a scene: kind (its lid's colour), middle, radius, height (m), whether it is held."""

    kind: str
    x: float
    y: float
    radius: float
    height: float
    held: bool


class Item(NamedTuple):
    """Something to be drawn, and where it is (m): the farther from the camera the sooner, then the lower."""

    x: float
    y: float
    z: float
    draw: Draw


class Scene(NamedTuple):
    """What is before the camera in one frame.

    Attributes:
        number: of the frame.
        seconds: time of the run (s), for the light.
        view: where the camera is when the body stands level.
        pitch: by how much the body's nose is up (rad).
        turn_rate: rad/s.
        pieces: the objects, as they stand.
        opening: of the jaws, 0 closed to 1 open; None for a robot without.
        exposed: share of the light that the frame gets; 1 unless the lamp flickers.
        standing: walls, posts and marker; None: as the files have them.
    """

    number: int
    seconds: float
    view: Viewpoint
    pitch: float
    turn_rate: float
    pieces: tuple[Lidded, ...]
    opening: float | None = None
    exposed: float = 1.0
    standing: Standing | None = None


def lidded(one: Piece) -> Lidded:
    """Return an object of the bench as a scene has it."""
    return Lidded(one.kind, one.x, one.y, one.radius, one.height, one.held)


def generator(seed: int, name: str, number: int = 0) -> np.random.Generator:
    """Return the generator of one effect, or of one frame of it."""
    return np.random.default_rng([seed, number, *name.encode()])


class Scenery:
    """What stands there besides the objects: walls, posts, pots and the marker's plate, as `place` last had them."""

    def __init__(
        self, standing: Standing, pots: list[Upright], plate: Plate | None, generator: np.random.Generator
    ) -> None:
        self.facades = [Facade(wall, generator) for wall in standing.walls]
        self.uprights: list[Upright] = []
        self.plate = plate
        self._pots = pots
        self._standing: Standing | None = None
        self.place(standing)

    def place(self, standing: Standing) -> None:
        """Put walls, posts and marker where they stand from now on."""
        if standing == self._standing:
            return
        self._standing = standing
        for facade, wall in zip(self.facades, standing.walls, strict=True):
            facade.wall = wall
        self.uprights = self._pots + [_upright(post) for post in standing.posts]
        if self.plate is not None and standing.marker is not None:
            self.plate = self.plate._replace(x=standing.marker[0], y=standing.marker[1])


class Renderer:
    """Draws the frames of one run.

    Args:
        file: the bench file: light, floor and distractors.
        robot: the robot file: the camera and the colours.
        errand: the errand file: field, tray, walls and kinds.
        seed: of the run.
    """

    def __init__(self, file: BenchFile, robot: Robot, errand: Errand, seed: int) -> None:
        rendering, field = file.rendering, errand.field
        camera = robot.devices.camera or CameraKeys.model_validate({"driver": SIMULATED})
        zone = field.zone
        tray = None if zone is None else _corners(zone)
        self._seed, self._shadow, self._exposure = seed, rendering.shadow, rendering.exposure
        self._reach = robot.body.gripper_reach
        self._jaws = jaws_size(robot.devices.gripper, errand.widest)
        self.lens = lens(rendering.frame_width, rendering.frame_height, camera.field_of_view)
        # Jaws and what they hold stand still before the camera, however the body pitches.
        self._aboard = Projection(self.lens, Viewpoint(camera.ahead, 0.0, camera.height, 0.0, camera.tilt))
        self._sky: Image = np.full((self.lens.height, self.lens.width, 3), SKY, np.uint8)
        self._ground = FloorTexture(field.boundary, tray, rendering, generator(seed, "floor"))
        draws = generator(seed, "light")
        self._sun = float(draws.uniform(-math.pi, math.pi))
        colours = true_colours(file, robot)
        self._lids = {kind: _colour_of(one.lid, colours) for kind, one in errand.kinds.items()}
        pots = _pots(field.boundary, rendering.pots, generator(seed, "pots"))
        standing, walls = Solids(file, errand).standing, generator(seed, "walls")
        self._scenery = Scenery(standing, list(pots), _plate(zone, robot, colours), walls)
        self._weather = Weather(rendering, seed)
        self._sensor = Sensor((self.lens.height, self.lens.width), rendering.noise, generator(seed, "pixels"))

    def frame(self, scene: Scene) -> Image:
        """Return the frame of a scene: rows of pixels, blue, green, red, 8 bit."""
        if scene.standing is not None:
            self._scenery.place(scene.standing)
        view = scene.view
        camera = Projection(self.lens, view._replace(tilt=view.tilt - scene.pitch))
        image = self._sky.copy()
        self._ground.draw(image, camera)
        for draw in self._from_far_to_near(camera, scene):
            draw(image, camera)
        light = Light(*(gain * scene.exposed for gain in self._weather.at(scene.seconds)))
        blur = scene.turn_rate * self._exposure * self.lens.focal
        return self._sensor.expose(image, light, blur, generator(self._seed, "frame", scene.number))

    def _from_far_to_near(self, camera: Projection, scene: Scene) -> list[Draw]:
        """Return what is to be drawn, in order: shadows, far things, near things; a wall after all that it hides."""
        view = camera.view
        uprights = [part for one in scene.pieces if not one.held for part in self._parts(one)]
        uprights += self._scenery.uprights
        seen = [thing for thing in uprights if _is_before(camera, thing)]
        items = [Item(thing.x, thing.y, thing.foot, self._drawn(thing)) for thing in seen]
        items += self._plate_and_jaws(scene)
        items.sort(key=lambda item: (-math.hypot(item.x - view.x, item.y - view.y), item.z))
        draws = [item.draw for item in items]
        for facade in sorted(self._scenery.facades, key=lambda one: one.distance(view.x, view.y)):
            place = (view.x, view.y)
            hidden = [at for at, item in enumerate(items) if stands_between(facade.wall, place, (item.x, item.y))]
            draws.insert(max(hidden, default=-1) + 1, facade.draw)
        return [self._shadow_of(thing) for thing in seen if thing.foot == 0.0] + draws

    def _plate_and_jaws(self, scene: Scene) -> list[Item]:
        items = []
        plate, view, opening = self._scenery.plate, scene.view, scene.opening
        if plate is not None:
            light = self._ground.light(plate.x, plate.y)
            items.append(Item(plate.x, plate.y, plate.z, partial(draw_plate, plate=plate, light=light)))
        if opening is not None:
            # Behind what stands between the fingers, before all that stands beyond their tips.
            way = self._reach + self._jaws.tips - self._aboard.view.x
            x, y = view.x + way * math.cos(view.heading), view.y + way * math.sin(view.heading)
            items.append(Item(x, y, 0.0, partial(self._draw_aboard, scene=scene)))
        return items

    def _draw_aboard(self, image: Image, camera: Projection, scene: Scene) -> None:
        """Draw the jaws and what they hold."""
        light = self._ground.light(scene.view.x, scene.view.y)
        draw_jaws(image, self._aboard, self._reach, self._jaws, scene.opening or 0.0, light)
        for one in scene.pieces:
            if one.held:
                for part in self._parts(one._replace(x=self._reach, y=0.0)):
                    draw_upright(image, self._aboard, part, self._sun - scene.view.heading, light)

    def _parts(self, one: Lidded) -> tuple[Upright, Upright]:
        return body_and_lid((one.x, one.y), 2.0 * one.radius, one.height, self._lids[one.kind])

    def _shadow_of(self, thing: Upright) -> Draw:
        return partial(draw_shadow, thing=thing, sun=self._sun, share=self._shadow)

    def _drawn(self, thing: Upright) -> Draw:
        light = self._ground.light(thing.x, thing.y)
        return partial(draw_upright, thing=thing, sun=self._sun, light=light)


def true_colours(file: BenchFile, robot: Robot) -> dict[str, Colour]:
    """Return the true colours of lids by their names: the bench file's, else the middle of the robot's hue range."""
    colours = {}
    for name, colour in robot.colours.items():
        low, high = colour.hue
        colours[name] = from_hsv((low + (high - low) % 180 / 2.0) % 180.0, LID_SATURATION, LID_VALUE)
    return colours | {name: from_hsv(*hsv) for name, hsv in file.rendering.lids.items()}


def _colour_of(lid: str, colours: Mapping[str, Colour]) -> Colour:
    if lid not in colours:
        raise ValueError(f"a rendered camera must know the colour of the lid '{lid}': the robot's 'colours:' lack it")
    return colours[lid]


def _upright(post: Round) -> Upright:
    return Upright(post.x, post.y, post.radius, 0.0, POST_HEIGHT, POST, POST)


def _plate(zone: Zone | None, robot: Robot, colours: Mapping[str, Colour]) -> Plate | None:
    """Return the tray's marker, which looks towards the tray's middle."""
    marker, camera = robot.marker, robot.devices.camera
    if zone is None or zone.marker is None or marker is None or camera is None:
        return None
    x, y = zone.marker
    faces = math.atan2(zone.y - y, zone.x - x)
    size = (marker.width, marker.height)
    return Plate(x, y, camera.height, faces, *size, colours[marker.left], colours[marker.right])


def _corners(zone: Zone) -> Segment:
    half_width, half_depth = zone.width / 2.0, zone.depth / 2.0
    return (zone.x - half_width, zone.y - half_depth), (zone.x + half_width, zone.y + half_depth)


def _pots(corners: list[tuple[float, float]], number: int, draws: np.random.Generator) -> Iterable[Upright]:
    """Yield pots that stand along the field's edge, just inside it."""
    sides: list[Segment] = [(corners[at - 1], corner) for at, corner in enumerate(corners)]
    lengths = np.array([math.dist(*side) for side in sides])
    turning = sum((x2 - x1) * (y2 + y1) for (x1, y1), (x2, y2) in sides)
    inwards = -1.0 if turning > 0.0 else 1.0
    for at in draws.choice(len(sides), number, p=lengths / lengths.sum()):
        (x1, y1), (x2, y2) = sides[at]
        along, share = lengths[at], draws.uniform(0.1, 0.9)
        left_x, left_y = -(y2 - y1) / along * inwards, (x2 - x1) / along * inwards
        x, y = x1 + share * (x2 - x1) + POT_FROM_EDGE * left_x, y1 + share * (y2 - y1) + POT_FROM_EDGE * left_y
        yield Upright(float(x), float(y), POT_RADIUS, 0.0, POT_HEIGHT, POT, SOIL)


def _is_before(camera: Projection, thing: Upright) -> bool:
    """Whether a thing is before the camera and not far to the side of what it sees."""
    view, lens = camera.view, camera.lens
    dx, dy = thing.x - view.x, thing.y - view.y
    ahead = dx * math.cos(view.heading) + dy * math.sin(view.heading)
    aside = abs(dy * math.cos(view.heading) - dx * math.sin(view.heading))
    return ahead > NEAR and aside < 1.2 * lens.width / 2.0 / lens.focal * ahead + 3.0 * thing.radius + thing.top / 2.0
