"""The built-in activities by the name a behaviour file uses, and a user's own by dotted name."""

from collections.abc import Mapping
from dataclasses import replace

from rover.activities import (
    driving,
    fixing,
    gripping,
    looking,
    ranging_walls,
    setting_down,
    switching,
    travelling,
    turning,
    waiting,
)
from rover.activities.activity import Activity
from rover.behaviour.vocabulary import ActivitySpec, Parameter
from rover.files.robot import Robot

ACTIVITIES: dict[str, type[Activity]] = {
    "stand_still": waiting.StandStill,
    "run_straight": driving.RunStraight,
    "drive_on": driving.DriveOn,
    "reverse": driving.Reverse,
    "turn": turning.Turn,
    "drive_to": travelling.DriveTo,
    "sweep": looking.Sweep,
    "close_in": gripping.CloseIn,
    "close_jaws": gripping.CloseJaws,
    "open_jaws": gripping.OpenJaws,
    "record_find": gripping.RecordFind,
    "set_down": setting_down.SetDown,
    "sight_marker": fixing.SightMarker,
    "square_up": fixing.SquareUp,
    "range_walls": ranging_walls.RangeWalls,
    "skip_target": looking.SkipTarget,
    "recall_put_off": looking.RecallPutOff,
    "note_seen": looking.NoteSeen,
    "set_outputs": switching.SetOutputs,
    "ask": waiting.Ask,
}


def specs(activities: Mapping[str, type[Activity]] = ACTIVITIES, robot: Robot | None = None) -> dict[str, ActivitySpec]:
    """Return what the language has to know of each activity; which outputs there are is the robot's."""
    known = {name: activity.spec for name, activity in activities.items()}
    if robot is None:
        return known
    outputs = {name: Parameter(keys.kind, keys.about) for name, keys in robot.outputs.items()}
    return {name: replace(spec, parameters=outputs) if spec.of_outputs else spec for name, spec in known.items()}
