"""The bodies: a bay with walls, four driven wheels under a chassis, two fingers that close on jars."""

import math
from itertools import product
from xml.etree.ElementTree import Element, SubElement, tostring

import numpy as np

STEP_S = 0.002

# The robot (m, kg): what the robot file beside this package says was measured on it.
WHEEL_RADIUS, WHEEL_HALF_WIDTH = 0.040, 0.013
AXLE, HALF_TRACK = 0.075, 0.110
CHASSIS, CHASSIS_MASS = (0.120, 0.090, 0.030), 2.4
CHASSIS_UP = 0.055
WHEEL_MASS = 0.09
LENS, TILT, HALF_ACROSS = (-0.060, 0.0, 0.240), math.radians(20.0), math.radians(31.0)
HALF_UP = math.atan(0.75 * math.tan(HALF_ACROSS))
"""Half the lens' angles of view: 62 deg across, on a 4:3 picture."""
FINGER_AHEAD, FINGER = 0.160, (0.030, 0.004, 0.014)
FINGER_UP, FINGER_MASS = 0.032, 0.03
OPEN_HALF = 0.046
"""Half the clear width between the open fingers."""
FINGER_FORCE = 9.0
"""N at a finger's pad: a small servo of 0.25 N m (its data sheets: 2.5 kg cm) at a lever of 28 mm."""

# Gear motor of 37 mm, 12 V: 150 turns a minute unloaded, 1.2 N m and 2.2 A stalled. Of this size, from memory of data
# sheets. Torque falls in a straight line from stall to no load: (duty * volts - k_emf * speed) / resistance * k_torque.
VOLTS = 12.0
NO_LOAD = 150.0 / 60.0 * math.tau
STALL_TORQUE, STALL_AMPS = 1.2, 2.2
GEAR_FRICTION = 0.08
"""N m at the wheel before it turns at all: gears and brushes."""
ROTOR = 0.0009
"""Rotor's inertia through the gears, kg m^2 at the wheel."""

# Sliding friction (L. S. Marks' handbook for mechanical engineers, table of coefficients, from memory: rubber on dry
# concrete 0.6 to 0.85, glass on smooth stone about 0.4, rubber on glass somewhat above 0.8).
TYRE, JAR_ON_FLOOR, PAD, PLASTIC = 0.70, 0.40, 0.85, 0.30
# A rolling tyre creeps before it slides: sideways force grows with the slip angle and is all there at about 4 degrees
# (J. Y. Wong, Theory of Ground Vehicles, on cornering stiffness, from memory), which at 0.3 m/s is 20 mm/s. To the
# engine friction is a damper up to its limit: creep = force * mobility * (1 - 0.95) / 2 * CREEP_S / STIFFNESS, with 6 N
# on a wheel and a mobility of some 2 / kg.
STIFFNESS = 10
CREEP_S = 0.65
JAR_MASS = 0.16
"""A glass of 80 ml, 100 g, with 60 g in it."""
LIDS = {"amber": "0.91 0.58 0.12 1", "teal": "0.07 0.55 0.60 1", "violet": "0.42 0.22 0.62 1"}

FLOOR, WALLS, JARS, SHOW, ROBOT = "01234"
"""Groups of shapes, for what looks and listens: ``SHOW`` is only seen."""
WALL_HEIGHT, WALL_THICK = 0.30, 0.02


def numbers(*values: float) -> str:
    """Return numbers as the engine's file format has them."""
    return " ".join(f"{value:.6g}" for value in values)


class Variety:
    """How this robot and floor differ from the nominal ones: drawn once a seed."""

    def __init__(self, seed: int) -> None:
        draws = np.random.default_rng([seed, 1])
        self.motors = 1.0 + draws.uniform(-0.06, 0.06, 4)
        self.tyre = TYRE * draws.uniform(0.85, 1.1)
        self.floor = JAR_ON_FLOOR * draws.uniform(0.8, 1.2)
        self.pad = PAD * draws.uniform(0.85, 1.1)
        self.jar_mass = JAR_MASS * draws.uniform(0.8, 1.3)
        self.ahead_mass = draws.uniform(-0.010, 0.015)
        """Of the chassis' centre of gravity (m): where the battery was put."""


def model_of(field, jars, sizes, start, variety) -> str:
    """Return the engine's description.

    Args:
        field: the errand's field: walls and the tray's marker.
        jars: (kind, x, y) of each (m).
        sizes: (radius, height) of a kind's jars (m).
        start: x, y, heading of the robot.
        variety: of this seed.
    """
    root = Element("mujoco")
    # Stiff elliptic friction cones keep what is held by friction alone from creeping out of the jaws.
    option = SubElement(root, "option", timestep=str(STEP_S), cone="elliptic", impratio=str(STIFFNESS), iterations="20")
    option.set("integrator", "implicitfast")
    SubElement(option, "flag", sleep="enable")  # jars that nobody touches cost nothing
    default = SubElement(root, "default")
    SubElement(default, "geom", solref="0.006 1", condim="4", friction=numbers(PLASTIC, 0.002, 0.0001))
    visual = SubElement(root, "visual")
    SubElement(visual, "quality", offsamples="0", shadowsize="0")
    SubElement(visual, "headlight", ambient="0.45 0.45 0.45", diffuse="0.35 0.35 0.35", specular="0 0 0")
    world = SubElement(root, "worldbody")
    SubElement(world, "light", pos="3 2 4", dir="0 0 -1", diffuse="0.35 0.35 0.35", castshadow="false")
    friction = numbers(variety.floor, 0.002, 0.0001)
    SubElement(world, "geom", name="floor", type="plane", size="20 20 1", rgba="0.62 0.60 0.56 1", friction=friction)
    for number, segment in enumerate(field.walls.values()):
        _add_wall(world, number, segment, field.boundary)
    if field.zone is not None and field.zone.marker is not None:
        _add_marker(world, field.zone)
    for number, (kind, x, y) in enumerate(jars, 1):
        _add_jar(world, number, (kind, x, y), sizes[kind], variety)
    _add_robot(world, start, variety)
    actuators = SubElement(root, "actuator")
    for side in ("left", "right"):
        for end in ("front", "rear"):
            number = ("left", "right").index(side) * 2 + ("front", "rear").index(end)
            k_torque = STALL_TORQUE / STALL_AMPS * variety.motors[number]
            k_emf, ohm = VOLTS / NO_LOAD, VOLTS / STALL_AMPS
            motor = {"name": f"{side}_{end}", "joint": f"{side}_{end}", "gainprm": numbers(k_torque / ohm)}
            motor["biastype"], motor["biasprm"] = "affine", numbers(0.0, 0.0, -k_torque * k_emf / ohm)
            SubElement(actuators, "general", motor)
    for side in ("left", "right"):  # a servo's own loop: it pushes as hard as it can until it is there
        servo = {"name": f"finger_{side}", "joint": f"finger_{side}", "kp": "1500", "kv": "30"}
        SubElement(actuators, "position", servo, forcerange=numbers(-FINGER_FORCE, FINGER_FORCE))
    contact = SubElement(root, "contact")
    for side, end in product(("left", "right"), ("front", "rear")):
        pair = {"geom1": "floor", "geom2": f"wheel_{side}_{end}", "condim": "3", "solref": "0.006 1"}
        pair["friction"] = numbers(variety.tyre, variety.tyre, 0.002, 0.0002, 0.0002)
        SubElement(contact, "pair", pair, solreffriction=numbers(CREEP_S, 1.0))
    coupling = SubElement(root, "equality")  # the gears between the fingers
    SubElement(coupling, "joint", joint1="finger_left", joint2="finger_right", solref="0.005 1")
    return tostring(root, encoding="unicode")


def _add_wall(world, number, segment, boundary):
    """A slab whose face towards the field is the line of the plan."""
    (ax, ay), (bx, by) = segment
    length = math.hypot(bx - ax, by - ay)
    along = (bx - ax) / length, (by - ay) / length
    out = (along[1], -along[0])
    middle = [sum(point[axis] for point in boundary) / len(boundary) for axis in (0, 1)]
    if (middle[0] - ax) * out[0] + (middle[1] - ay) * out[1] > 0.0:
        out = (-out[0], -out[1])
    x, y = (ax + bx) / 2.0 + out[0] * WALL_THICK / 2.0, (ay + by) / 2.0 + out[1] * WALL_THICK / 2.0
    angle = math.atan2(along[1], along[0])
    SubElement(
        world,
        "geom",
        name=f"wall_{number}",
        type="box",
        pos=numbers(x, y, WALL_HEIGHT / 2.0),
        size=numbers(length / 2.0 + WALL_THICK, WALL_THICK / 2.0, WALL_HEIGHT / 2.0),
        quat=numbers(math.cos(angle / 2.0), 0.0, 0.0, math.sin(angle / 2.0)),
        rgba="0.80 0.80 0.77 1",
        group=WALLS,
    )


def _add_marker(world, zone):
    """Two halves of a plate that hangs over the floor and turns its face to the tray; nothing runs into it."""
    x, y = zone.marker
    facing = math.atan2(zone.y - y, zone.x - x)
    for name, side in (("teal", -1.0), ("violet", 1.0)):  # seen from the tray, teal is on the left
        half = {"type": "box", "size": numbers(0.002, 0.025, 0.05), "contype": "0", "conaffinity": "0"}
        half["pos"] = numbers(x - math.sin(facing) * 0.025 * side, y + math.cos(facing) * 0.025 * side, 0.24)
        half["quat"] = numbers(math.cos(facing / 2.0), 0.0, 0.0, math.sin(facing / 2.0))
        SubElement(world, "geom", half, rgba=LIDS[name], name=f"marker_{name}", group=SHOW)


def _add_jar(world, number, jar, size, variety):
    """A glass with its lid: one cylinder to the touch, a disc on top to the eye."""
    (kind, x, y), (radius, height) = jar, size
    body = SubElement(world, "body", name=f"jar_{number}", pos=numbers(x, y, height / 2.0))
    SubElement(body, "freejoint", name=f"jar_{number}")
    glass = {"name": f"jar_{number}", "type": "cylinder", "size": numbers(radius - 0.0005, height / 2.0)}
    glass["friction"], glass["mass"] = numbers(variety.floor, 0.002, 0.0001), str(variety.jar_mass)
    SubElement(body, "geom", glass, rgba="0.75 0.78 0.75 1", group=JARS)
    lid = {"type": "cylinder", "size": numbers(radius, 0.007), "pos": numbers(0.0, 0.0, height / 2.0 - 0.0065)}
    SubElement(body, "geom", lid, contype="0", conaffinity="0", mass="0", rgba=LIDS[kind], group=SHOW)


def _add_robot(world, start, variety):
    x, y, heading = start
    half = heading / 2.0
    pose = {"pos": numbers(x, y, 0.001), "quat": numbers(math.cos(half), 0.0, 0.0, math.sin(half))}
    robot = SubElement(world, "body", pose, name="robot")
    SubElement(robot, "freejoint", name="robot")
    chassis = {"name": "chassis", "type": "box", "size": numbers(*CHASSIS), "mass": str(CHASSIS_MASS)}
    chassis["pos"] = numbers(0.0, 0.0, CHASSIS_UP)
    SubElement(robot, "geom", chassis, rgba="0.25 0.27 0.30 1", group=ROBOT)
    ballast = {"type": "box", "size": "0.03 0.05 0.01", "mass": "0.6", "contype": "0", "conaffinity": "0"}
    SubElement(
        robot, "geom", ballast, pos=numbers(variety.ahead_mass * 5.0, 0.0, 0.04), rgba="0.2 0.2 0.2 1", group=ROBOT
    )
    SubElement(robot, "site", name="range", pos=numbers(0.115, 0.0, 0.070))
    SubElement(robot, "site", name="camera", pos=numbers(*LENS))
    lens = {"name": "lens", "pos": numbers(*LENS), "fovy": numbers(math.degrees(2.0 * HALF_UP)), "mode": "fixed"}
    SubElement(robot, "camera", lens, xyaxes=numbers(0.0, -1.0, 0.0, math.sin(TILT), 0.0, math.cos(TILT)))
    for side, left in (("left", HALF_TRACK), ("right", -HALF_TRACK)):
        for end, ahead in (("front", AXLE), ("rear", -AXLE)):
            _add_wheel(robot, f"{side}_{end}", (ahead, left, WHEEL_RADIUS), variety)
        _add_finger(robot, side, 1.0 if left > 0.0 else -1.0, variety)


def _add_wheel(robot, name, place, variety):
    wheel = SubElement(robot, "body", name=name, pos=numbers(*place))
    joint = {"name": name, "type": "hinge", "axis": "0 1 0", "frictionloss": str(GEAR_FRICTION)}
    SubElement(wheel, "joint", joint, armature=str(ROTOR), damping="0.001")
    tyre = {"name": f"wheel_{name}", "type": "cylinder", "size": numbers(WHEEL_RADIUS, WHEEL_HALF_WIDTH)}
    tyre["euler"] = "90 0 0"
    tyre["friction"], tyre["mass"] = numbers(variety.tyre, 0.003, 0.0002), str(WHEEL_MASS)
    SubElement(wheel, "geom", tyre, rgba="0.1 0.1 0.1 1", group=ROBOT)


def _add_finger(robot, side, sign, variety):
    """A finger on a slide; its joint counts inwards from fully open."""
    finger = SubElement(robot, "body", name=f"finger_{side}", pos=numbers(FINGER_AHEAD, 0.0, FINGER_UP))
    joint = {"name": f"finger_{side}", "type": "slide", "axis": numbers(0.0, -sign, 0.0), "damping": "8"}
    SubElement(finger, "joint", joint, range=numbers(0.0, OPEN_HALF), limited="true", armature="0.05")
    pad = {"name": f"finger_{side}", "type": "box", "size": numbers(*FINGER), "mass": str(FINGER_MASS)}
    pad["pos"] = numbers(0.0, sign * (OPEN_HALF + FINGER[1]), 0.0)
    # The pad's friction counts, whatever it holds; elsewhere the rougher of two does.
    pad["friction"], pad["priority"] = numbers(variety.pad, 0.01, 0.0001), "1"
    SubElement(finger, "geom", pad, rgba="0.3 0.3 0.3 1", group=ROBOT)
