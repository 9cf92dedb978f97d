"""Which independent ways to zero a robot has, by its robot file."""

from rover.files.robot import Robot

CO_PROCESSOR, H_BRIDGE = "co_processor", "h_bridge"


def ways_to_zero(robot: Robot) -> list[str]:
    """Return the independent ways in which the wheels come to zero; motion needs two of them.

    A drive that the guard cannot hold (a user's own driver) has none: nothing outlives the runtime there.
    """
    drive = robot.devices.drive
    by_watchdog = [] if drive.watchdog is None else ["the hardware watchdog"]
    match drive.driver:
        case "co_processor":
            return ["the guard's deadline", "the co-processor's deadline", *by_watchdog]
        case "h_bridge":
            return ["the guard's deadline", "the supervisor", *by_watchdog]
    return []


def why_no_motion(robot: Robot) -> str:
    """Return why motion must not be enabled on a robot, or ''."""
    ways = ways_to_zero(robot)
    if len(ways) >= 2:
        return ""
    driver = robot.devices.drive.driver
    return (
        f"motion needs two independent ways to zero, and driver '{driver}' of drive has {', '.join(ways) or 'none'}; "
        f"use '{CO_PROCESSOR}' or '{H_BRIDGE}', which the motor guard holds"
    )
