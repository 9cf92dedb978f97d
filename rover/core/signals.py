"""What conditions read of the robot itself and of its errand, brought up to date before the behaviour looks."""

from rover.activities.activity import Knowledge
from rover.motion.contact import TOWARDS
from rover.motion.limits import BEHIND, BESIDE, OBSTACLE

IN_THE_WAY = frozenset({OBSTACLE, BEHIND, BESIDE, "boundary", "wall", *(f"contact {end}" for end in TOWARDS)})
"""Hold-backs that more patience does not end: another way is needed."""


def fill_step(known: Knowledge, causes: tuple[str, ...], run_time: float) -> None:
    """Fill the signals that may change in every step.

    Args:
        known: whose signals they are.
        causes: hold-backs now in force.
        run_time: seconds for which the behaviour has run.
    """
    signals = known.signals
    signals.step_ns = known.now_ns
    signals.run_time = run_time
    signals.pose_x, signals.pose_y, signals.pose_heading = known.pose
    signals.pose_travelled = known.filter.travelled
    signals.operator_answer = known.answer
    if causes or signals.motion_held_back:
        known.obstacle = signals.motion_obstacle = OBSTACLE in causes
        known.held_back_for = known.held_back_for + known.seconds if IN_THE_WAY.intersection(causes) else 0.0
        signals.motion_held_back = bool(causes)
        signals.motion_held_back_for = signals.motion_held_back_for + known.seconds if causes else 0.0


def to_fetch(known: Knowledge) -> int:
    """Return how many objects are known of that are to be fetched, those put off left out."""
    return sum(one.known and known.errand.fetches(one.kind) for one in known.targets.objects)


def fill_errand(known: Knowledge) -> None:
    """Fill the signals that only a frame or an activity's deed can change."""
    signals, ledger, targets = known.signals, known.ledger, known.targets
    chosen = targets.chosen
    signals.target_known = chosen is not None
    signals.target_reachable = chosen is None or not chosen.barred
    signals.target_kind = chosen.kind if chosen is not None else "none"
    signals.objects_known = to_fetch(known)
    signals.objects_left = ledger.left(signals.objects_known)
    signals.objects_delivered = len(ledger.delivered)
    signals.objects_believed = len(ledger.believed)
    signals.objects_put_off = len(ledger.put_off)
    signals.slots_free = len(ledger.free_slots)
    was_searched, signals.field_searched = signals.field_searched, ledger.looked_at.all
    signals.field_unseen = ledger.unseen
    if signals.field_searched and not was_searched and signals.field_unseen:
        known.note("search", f"{signals.field_unseen:.0%} of the field can be looked at from nowhere in reach")
