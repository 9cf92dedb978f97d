"""The simulation: motors and servo work, bodies move, and the truth is told."""

import math
from collections import deque

import mujoco
import numpy as np

from rigid_world import devices, model
from rover import Contact, TrueObject

STEPS_AT_ONCE = 5
SLICE_NS = round(STEPS_AT_ONCE * model.STEP_S * 1e9)
"""Motors, servo and contacts are looked at in slices of 10 ms; within one the engine goes on by itself."""
COMMAND_DELAY_NS = (8_000_000, 25_000_000)
"""From a command to the bridge: a serial line and the controller's own loop."""
SERVO_SPEED = 2.0 * model.OPEN_HALF / 1.1
"""m/s of a finger; from open to closed in 0.55 s (0.11 s for 60 deg, times the linkage)."""
HELD_N, LET_GO_NS = 0.5, 60_000_000
"""Both pads push on a jar by so much, or did a moment ago: it is held."""
OHM_OF_BATTERY, AMP_HOURS, REST_VOLTS = 0.12, 3.0, (9.6, 12.5)
"""Three lithium cells: inner resistance with leads, charge, and at rest when empty and full."""
IDLE_AMPS = 0.6
FROM_WALLS, FROM_TRAY, FROM_START, APART = 0.40, 0.45, 0.60, 0.40


class World:
    """What the bench file names.

    Attributes:
        m, d: the engine's model and state.
        turned: by the wheels since the start (rad): left front, left rear, right front, right rear.
        volts, amps: of the battery.
        now_ns: time of the state.
    """

    stand_ins = devices.STAND_INS

    def __init__(self, options, context):
        field, start, kinds = context.errand.field, context.errand.field.start, context.errand.kinds
        self.errand, self.robot, self.seed = context.errand, context.robot, context.seed
        variety = model.Variety(context.seed)
        jars = [(one.kind, one.x, one.y) for one in context.bench.objects]
        jars += scattered(field, context.bench.scatter, [jar[1:] for jar in jars], context.seed)
        self.kinds = [kind for kind, _, _ in jars]
        sizes = {name: (kind.width / 2.0, kind.height) for name, kind in kinds.items()}
        self.heights = [sizes[kind][1] for kind in self.kinds]
        self.m = mujoco.MjModel.from_xml_string(
            model.model_of(field, jars, sizes, (start.x, start.y, start.heading or 0.0), variety)
        )
        self.d = mujoco.MjData(self.m)
        self.now_ns = 0
        self._draws = np.random.default_rng([context.seed, 2])
        self._charge = self._draws.uniform(0.9, 1.0)
        self.volts, self.amps = REST_VOLTS[1], IDLE_AMPS
        self._commands, self._drive = deque(), (0.0, 0.0, 0)
        self._wanted = self._finger = 0.0
        self._touched = {}
        self._gripped_ns = np.full(len(jars), -LET_GO_NS)
        self._name_parts()
        for _ in range(100):  # all settle on the floor
            mujoco.mj_step(self.m, self.d)
        self._read()

    def _name_parts(self):
        m = self.m
        geoms = [m.geom(number).name for number in range(m.ngeom)]
        kinds = {"wall": 1, "jar": 2, "chas": 4, "whee": 4, "fing": 4}
        self._part = np.array([kinds.get(name.split("_")[0][:4], 0) for name in geoms])
        self._jar_of = np.array([int(name[4:]) - 1 if name.startswith("jar_") else -1 for name in geoms])
        self._pads = [geoms.index(f"finger_{side}") for side in ("left", "right")]
        wheels = ("left_front", "left_rear", "right_front", "right_rear")
        self._wheel_at = [m.joint(name).qposadr[0] for name in wheels]
        self._wheel_speed_at = [m.joint(name).dofadr[0] for name in wheels]
        self._robot = m.body("robot").id
        self._robot_speed_at = m.joint("robot").dofadr[0]
        self._jars = np.array([m.body(f"jar_{number}").id for number in range(1, len(self.kinds) + 1)], dtype=int)

    # What drivers do and measure.

    def drive(self, left, right, now_ns, expires_ns):
        """Take a command, which reaches the bridge a little later."""
        due_ns = now_ns + int(self._draws.integers(*COMMAND_DELAY_NS))
        self._commands.append((due_ns, (left, right, expires_ns)))

    def close_jaws(self, share):
        """Turn the servo so that the fingers are closed by a share (0 to 1)."""
        self._wanted = share * model.OPEN_HALF

    @property
    def turned(self):
        return self.d.qpos[self._wheel_at]

    @property
    def turn_rate(self):
        """Of the body, rad/s."""
        return float(self.d.qvel[self._robot_speed_at + 5])

    def site(self, name):
        """Return place and rotation (columns: ahead, left, up) of a mark on the robot."""
        site = self.d.site(name)
        return site.xpos.copy(), site.xmat.reshape(3, 3).copy()

    # The truth.

    @property
    def pose(self):
        (x, y, _), (ahead_x, _, _, ahead_y, *_) = self.d.xpos[self._robot], self.d.xmat[self._robot]
        return float(x), float(y), math.atan2(ahead_y, ahead_x)

    def contacts(self):
        touched, self._touched = self._touched, {}
        return [Contact(*one) for one in touched.items()]

    def advance(self, now_ns):
        while self.now_ns + SLICE_NS <= now_ns:
            self._slice()
            self._read()

    def _slice(self):
        now_ns = self.now_ns
        while self._commands and self._commands[0][0] <= now_ns:
            self._drive = self._commands.popleft()[1]
        left, right, expires_ns = self._drive
        if now_ns >= expires_ns:
            left = right = 0.0
        duties = np.array([left, left, right, right])
        self._supply(duties)
        self.d.ctrl[:4] = np.clip(duties, -1.0, 1.0) * self.volts
        step = SERVO_SPEED * SLICE_NS * 1e-9
        self._finger += min(max(self._wanted - self._finger, -step), step)
        self.d.ctrl[4:6] = self._finger
        speed = self._speed()
        mujoco.mj_step(self.m, self.d, nstep=STEPS_AT_ONCE)
        self.now_ns += SLICE_NS
        self._meet(speed)

    def _supply(self, duties):
        """Work out current and voltage of the battery: each motor draws its share of the time."""
        speeds = self.d.qvel[self._wheel_speed_at]
        ohm, k_emf = model.VOLTS / model.STALL_AMPS, model.VOLTS / model.NO_LOAD
        motors = np.abs(duties * (duties * self.volts - k_emf * speeds) / ohm).sum()
        self.amps = IDLE_AMPS + float(motors)
        self._charge -= self.amps * SLICE_NS * 1e-9 / 3600.0 / AMP_HOURS
        empty, full = REST_VOLTS
        self.volts = empty + (full - empty) * max(self._charge, 0.0) - OHM_OF_BATTERY * self.amps

    def _speed(self):
        """Return how fast the body moves (m/s), turning at its corners included."""
        at = self._robot_speed_at
        ahead, aside, turn = self.d.qvel[at], self.d.qvel[at + 1], self.d.qvel[at + 5]
        return math.hypot(ahead, aside) + 0.16 * abs(turn)

    def _meet(self, speed):
        """Look at what touches what: bumps, touched jars and those that they push, and what both pads hold."""
        pairs = self.d.contact.geom
        if not len(pairs):
            return
        first, second = self._part[pairs[:, 0]], self._part[pairs[:, 1]]
        met = np.nonzero((first | second >= 4) & (first != second) | (first & second == 2))[0]
        pushed = {}
        on_pads = {}
        for at in met:
            one, other = (int(each) for each in pairs[at])
            if self._part[one] & self._part[other] == 2:
                pushed.setdefault(self._jar_of[one], []).append(self._jar_of[other])
                pushed.setdefault(self._jar_of[other], []).append(self._jar_of[one])
                continue
            robot, thing = (one, other) if self._part[one] == 4 else (other, one)
            if self._part[thing] == 1:
                self._touch(None, speed)
            elif self._part[thing] == 2:
                self._touch(self._jar_of[thing], speed)
                if robot in self._pads:
                    on_pads.setdefault(self._jar_of[thing], {}).setdefault(robot, []).append(at)
        for jar, pads in on_pads.items():
            if len(pads) == 2 and all(self._push(ats) > HELD_N for ats in pads.values()):
                self._gripped_ns[jar] = self.now_ns
        for jar in [int(name) - 1 for name in self._touched if name is not None]:
            for other in pushed.get(jar, ()):
                self._touch(other, speed)

    def _push(self, contacts):
        """Return the force (N) across these contacts."""
        force, total = np.zeros(6), 0.0
        for at in contacts:
            mujoco.mj_contactForce(self.m, self.d, int(at), force)
            total += force[0]
        return total

    def _touch(self, jar, speed):
        name = None if jar is None else str(jar + 1)
        self._touched[name] = max(speed, self._touched.get(name, 0.0))

    def _read(self):
        """Read off where the jars are."""
        places, up = self.d.xpos[self._jars], self.d.xmat[self._jars, 8]
        held = self.now_ns - self._gripped_ns < LET_GO_NS
        self.objects = tuple(
            TrueObject(str(number), kind, float(place[0]), float(place[1]), bool(held[number - 1]), bool(upright < 0.7))
            for number, (kind, place, upright) in enumerate(zip(self.kinds, places, up, strict=True), 1)
        )


def scattered(field, wanted, taken, seed):
    """Return (kind, x, y) for as many jars of each kind as are wanted, clear of walls, tray, start and each other."""
    draws = np.random.default_rng([seed, 3])
    xs, ys = zip(*field.boundary, strict=True)
    taken, placed = list(taken), []
    for kind in [kind for kind, number in wanted.items() for _ in range(number)]:
        while True:
            x = float(draws.uniform(min(xs) + FROM_WALLS, max(xs) - FROM_WALLS))
            y = float(draws.uniform(min(ys) + FROM_WALLS, max(ys) - FROM_WALLS))
            zone = field.zone
            if zone is not None:
                beyond = max(abs(x - zone.x) - zone.width / 2.0, 0.0), max(abs(y - zone.y) - zone.depth / 2.0, 0.0)
                if math.hypot(*beyond) < FROM_TRAY:
                    continue
            if math.dist((x, y), (field.start.x, field.start.y)) < FROM_START:
                continue
            if all(math.dist((x, y), other) >= APART for other in taken):
                break
        taken.append((x, y))
        placed.append((kind, x, y))
    return placed
