"""The rules by which a record is explained: one table, in the order in which they are looked through.

``python -m rover.diagnosis.rules`` prints it. A rule speaks for what the record says, and for nothing else; where two
suspect the same, the graver one is told.
"""

from collections.abc import Iterator

from rover.diagnosis import by_course, by_figure, by_mention
from rover.diagnosis.by_mention import said
from rover.diagnosis.evidence import DOUBT, GIVEN_UP, HELD_BACK, STOP, Evidence
from rover.diagnosis.finding import Finding, Gravity, Rule

MOST = 4
"""So many suspects are named at most."""

RULES: tuple[Rule, ...] = (
    # What stopped it.
    Rule(
        "wrong way round",
        "a stop says that a side turns against its duty",
        "swap the motor's two wires, or the encoder's A and B: rover bring-up tells which",
        said((STOP,), r"the (left|right) side turns against its duty", "{1} motor or encoder"),
    ),
    Rule(
        "one side's counts",
        "a stop or a doubt says that one side counts otherwise than its motor and the heading do",
        "look after this side's encoder: plug, magnet or disc, both its wires; rover bring-up counts a turn by hand",
        said((STOP, DOUBT), r"the (left|right) side (?!turns against)", "{1} encoder", gravity=Gravity.LACKED),
    ),
    Rule(
        "both sides' counts",
        "a stop says that the counts of both sides and their motors contradict each other",
        "check counts_per_rev, wheel_diameter and top_speed, then calibrate the drive; look after the encoders' supply",
        said((STOP,), r"both sides count|neither side counts|neither duties nor heading", "encoders"),
    ),
    Rule(
        "driven without a duty",
        "a stop says that wheels turn though their motors are given nothing",
        "have the motor driver and its enable wire checked before it is driven again",
        said((STOP,), r"wheels turn though", "motor driver"),
    ),
    Rule(
        "heading against counts",
        "a stop says that heading and counts tell different turns",
        "see that all wheels are on the ground and the sensor sits fast, away from motors; bring up heading and counts",
        said((STOP,), r"the heading turns by|of the heading,|neither the heading", "heading, or wheels that slip"),
    ),
    Rule(
        "position lost",
        "a stop says that the position is known too badly",
        "begin anew at the errand's start; see what is said of heading, counts, walls and marker",
        said((STOP,), r"the position is sure to", "position"),
    ),
    Rule(
        "stop input",
        "a stop says that the stop input is open",
        "close the stop circuit: button released, plug in, both wires; bring up the stop input",
        said((STOP,), r"stop input", "stop input"),
    ),
    Rule(
        "held back or stalled too often",
        "a stop says so",
        "clear the floor of what the map does not have, or enter it; see what held it back",
        said((STOP,), r"(held back|stalled) too often", "something in the way"),
    ),
    Rule(
        "an actuator's driver",
        "a stop names an actuator or an output whose driver failed or came back",
        "see what its driver raised; try the device alone with rover bring-up",
        said((STOP,), r"^(\w+): ", "{1}"),
    ),
    # Devices.
    Rule(
        "doubted",
        "other sensors have shown a device to lie",
        "look after it before the next run: plug, mount, what is near it; then rover bring-up and rover calibrate",
        by_mention.doubted,
    ),
    Rule(
        "lost",
        f"a device was silent or faulty for {by_mention.LOST_S:g} s at once or {by_mention.LOST_SHARE:.0%} of the run; "
        "of a link, several of its devices at once",
        "look after its plug, its supply and its cable; rover bring-up shows whether it reports",
        by_mention.lost_devices,
    ),
    Rule(
        "few reports",
        f"less than {by_figure.FEW_REPORTS:.0%} of the reports came that are due at the robot file's rate",
        "look after its cable; lower 'rate' in the robot file if it is not meant to be so fast",
        by_figure.few_reports,
    ),
    Rule(
        "old reports",
        f"reports are older than {by_figure.OLD:.0%} of 'overdue_after' on the average when they come",
        "lower its load, or the picture's size; have its latency calibrated",
        by_figure.old_reports,
    ),
    Rule(
        "noisy heading",
        f"the heading scatters {by_figure.NOISY:g} times as much as its 'sigma'",
        "move the sensor away from motors and steel, then rover calibrate heading",
        by_figure.noisy_heading,
    ),
    Rule(
        "heading refused",
        f"the position filter refused {by_figure.REFUSED['heading']:.0%} of the headings",
        "move the sensor away from motors and steel, then rover calibrate heading",
        by_figure.refused("heading", "heading"),
    ),
    Rule(
        "walls elsewhere",
        f"of a wall's echoes {by_figure.WALL_REFUSED:.0%} were refused, or they are off by {by_figure.WALL_OFF:g} m on "
        f"the average; of several, the range finder is suspected where those refused are {by_figure.ASTRAY:g} m off or "
        "all are off by the same sign, else the marker",
        "measure walls and marker again with a tape, and correct the errand file; then rover calibrate range",
        by_figure.walls_off,
    ),
    Rule(
        "marker's distance refused",
        f"the position filter refused {by_figure.REFUSED[by_figure.DISTANCE]:.0%} of the marker's distances",
        "measure where the marker stands, and how high; then rover calibrate camera",
        by_figure.refused(by_figure.DISTANCE, "marker, or camera"),
    ),
    Rule(
        "marker's bearing refused",
        f"the position filter refused {by_figure.REFUSED[by_figure.BEARING]:.0%} of the marker's bearings",
        "measure where the marker stands; see that the camera looks straight ahead; then rover calibrate camera",
        by_figure.refused(by_figure.BEARING, "marker, or camera"),
    ),
    Rule(
        "way",
        f"walls and marker tell a way that differs from the wheels' by {by_figure.SCALED:.0%}",
        "measure wheel_diameter and counts_per_rev, or rover calibrate drive",
        by_figure.scaled_way,
    ),
    Rule(
        "track",
        f"the learned track is outside of {by_figure.TRACK[0]:g} to {by_figure.TRACK[1]:g} times the robot file's",
        "measure track, or rover calibrate drive",
        by_figure.odd_track,
    ),
    Rule(
        "slip",
        f"a side slips {by_figure.SLIPS:g} times a metre",
        "clean wheels and floor, lower 'acceleration', see that all wheels carry",
        by_figure.slips,
    ),
    Rule(
        "uneven sides",
        f"on straight ways one side needs {by_figure.UNEVEN:g} times the other's duty",
        "see that this side turns freely, and its motor's plug; rover bring-up drives each side alone",
        by_figure.uneven_sides,
    ),
    Rule(
        "no echoes",
        f"in {by_figure.UNHEARD:.0%} of the looks at known walls no echo comes",
        "see that nothing covers the range finder and that it looks level; rover bring-up shows its echoes",
        by_figure.unheard,
    ),
    Rule(
        "objects missed",
        f"an object that should be in plain view is not seen in {by_figure.UNSEEN:.0%} of the looks",
        "see to light, lens and mount; rover look shows what is seen, rover calibrate camera what the mount is",
        by_figure.unseen,
    ),
    Rule(
        "kind never seen",
        "not one of a kind that the errand wants was seen, though others were",
        "see whether there is one; else check its colour with rover look, and 'colours' in the robot file",
        by_figure.kinds_unseen,
    ),
    Rule(
        "restless battery",
        f"the voltage at rest scatters by {by_figure.VOLTS_SPREAD:g} V",
        "look after the battery's plugs and the divider's solder joints; check inner_resistance",
        by_figure.restless_battery,
    ),
    Rule(
        "empty battery",
        f"the voltage at rest fell below {by_figure.EMPTY:.0%} of a full battery's",
        "charge it; if it was full, replace it",
        by_figure.empty_battery,
    ),
    # How it ended, and what it could not do.
    Rule(
        "ended by a device's exit",
        "an exit that led to the end reads a device's signal",
        "look after the device; if it is well, the exit's threshold in the behaviour is too tight",
        by_course.ended_by_signal,
    ),
    Rule(
        "ended by time",
        "an exit 'after' a time led to the end",
        "give it more time: set it in the errand file or with --set",
        by_course.ended_by_time,
    ),
    Rule(
        "held back for want of a device",
        "an exit that reads motion led to the end while a missing or doubted device held the robot back",
        "look after its plug, its supply and its cable; rover bring-up shows whether it reports",
        by_course.without_a_device,
    ),
    Rule(
        "held back by the way",
        "an exit that reads motion led to the end while something else held the robot back",
        "clear the floor of what the map does not have, or enter it; see that the wheels turn freely",
        by_course.held_back_by_the_way,
    ),
    Rule(
        "tray full",
        "an exit was taken since no slot of the tray is free",
        "make the errand file's 'zone' larger, or empty the tray; fewer objects a run",
        by_course.tray_full,
    ),
    Rule(
        "grips",
        f"the jaws closed {by_course.GRIPS_A_FIND:g} times as often as something was held",
        "look after the jaws' travel, force and servo: rover calibrate gripper; then see where the camera leads them",
        by_course.missed_grips,
    ),
    Rule(
        "lost on the way",
        "objects were lost between grip and tray",
        "more grip: pads, servo travel ('closed'), lower speed and turn rate",
        by_course.lost_on_the_way,
    ),
    Rule(
        "not let go",
        "the jaws do not let go, or what they let go of stays in them",
        "look after the jaws: travel ('open'), servo, pads that stick",
        said(("activity", "grip"), r"stays in the jaws|do not let go", "gripper", gravity=Gravity.LACKED),
    ),
    Rule(
        "nothing set down",
        "nothing stood in the tray where something was set down",
        "see whether it falls over or sticks to the jaws, and whether the camera sees the tray",
        said(
            ("activity", GIVEN_UP), r"nothing stands where it was set|not there after it was set", "gripper, or camera"
        ),
    ),
    Rule(
        "out of reach",
        "an object was given up since no way leads there, or body and open jaws fit from no direction",
        "move it away from walls and corners, or see whether the map or what was met bars the way",
        said(
            (GIVEN_UP,),
            r"^(object \d+), .*: .*(?:cannot be reached|no way round|one obstacle after|too near to turn)",
            "where {1} stands",
            gravity=Gravity.LACKED,
        ),
    ),
    Rule(
        "no way",
        "no way was found to a place, or one obstacle after another met on it, three times or more",
        "see what stands about, and whether the map has walls where there are none",
        said(("activity",), r"no way round|one obstacle after another", "something in the way", least=3),
    ),
    Rule(
        "targets gone",
        "targets were not there when the robot came near, three times or more",
        "see what the camera takes for an object: rover look; then rover calibrate camera",
        said(("activity",), r"the target is gone", "camera", least=3),
    ),
    Rule(
        "position too unsure",
        "something was not done since the position is too unsure",
        "give it walls or a marker to fix its position by; see what is said of heading and counts",
        said(("activity",), r"position is too unsure|free slot is (not )?straight ahead", "position"),
    ),
    Rule(
        "no fix",
        "marker or wall were not sighted where they should be, twice or more",
        "see whether marker and walls stand where the errand file has them, and nothing hides them",
        said(
            ("activity",), r"(marker) was not sighted|no echo came from where the (wall)", "{1}{2} of the map", least=2
        ),
    ),
    Rule(
        "wrong start",
        f"the fixes of the first minute moved the position by {by_figure.START_OFF:g} m in all",
        "set the robot down where the errand file's 'start' is, looking where its 'heading' is",
        by_figure.wrong_start,
    ),
    Rule(
        "moved by a fix",
        f"a fix moved the position by {by_course.FAR_JUMP:g} m",
        "see to wheels and heading, and whether walls and marker stand where the errand file has them",
        by_course.moved_by_fixes,
    ),
    Rule(
        "met",
        "the robot touched something that is on no map",
        "clear it away, or enter it under the field's 'walls'",
        said(("met",), r"touched at x", "something in the way"),
    ),
    Rule(
        "stalled",
        "wheels that were driven did not turn, three times or more",
        "clear the floor; see that the wheels turn freely, and the motors' supply",
        said((HELD_BACK,), r"^stalled", "something in the way, or the motors", least=3),
    ),
    Rule(
        "obstacle",
        "something close ahead held it back for 20 s in all",
        "see whether something stands there; if not, what the range finder hears: beam, mount, a cable before it",
        said((HELD_BACK,), r"^obstacle", "range, or something in the way", least_s=20.0),
    ),
    # Software.
    Rule(
        "code of one's own",
        "an activity of one's own raised an error",
        "see its traceback in the record (story), and mend it",
        said(("fault",), r"^activity of '(.+?)' raised", "activity of {1}", gravity=Gravity.LACKED),
    ),
    Rule(
        "slow computer",
        "steps were skipped",
        "lower 'loop' or the picture's size; see what else runs on the computer, and whether it is hot",
        said(("loop",), r"steps skipped", "computer"),
    ),
    Rule(
        "record",
        "the record could not be written",
        "make room on the disk, or replace the card",
        said(("fault",), r"run record (could not|was)|no more frames", "the record's disk"),
    ),
)


def found_in(evidence: Evidence) -> list[Finding]:
    """Return what the rules find, the gravest first: of each that is suspected one, and `MOST` at most."""
    found = [Finding(rule, suspicion) for rule in RULES for suspicion in rule.look(evidence)]
    found.sort(key=lambda one: (-one.suspicion.gravity, -one.suspicion.seconds))  # stable: else as in the table
    first: dict[str, Finding] = {}
    for one in found:
        first.setdefault(one.suspicion.whom, one)
    return list(first.values())[:MOST]


def table() -> Iterator[str]:
    """Yield the lines of the table, as DEVELOPERS.md has it."""
    yield "| rule | speaks when | what to try |"
    yield "|---|---|---|"
    for rule in RULES:
        yield f"| {rule.name} | {rule.speaks} | {rule.advice} |"


if __name__ == "__main__":
    print("\n".join(table()))
