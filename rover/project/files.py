"""The files of a project, made of the answers."""

from collections.abc import Mapping
from pathlib import Path
from string import Template

from rover.project.questions import LIDS
from rover.quantities import LENGTH, parse_as

TEMPLATES = Path(__file__).parent / "template"
_ENDING = ".template"

_ON_BOARD = """\
  drive: {driver: co_processor, link: main}
  counts: {driver: co_processor, link: main}
  gripper: {driver: co_processor, link: main, feedback: $feedback}
  battery: {driver: co_processor, link: main}"""
_ON_PINS = """\
  # The pins are those of one way to wire it: put your own in.
  drive: {driver: h_bridge, left: {pwm: 0, forward: 23, backward: 24}, right: {pwm: 1, forward: 27, backward: 22}}
  counts: {driver: encoder_pins, left: {a: 5, b: 6}, right: {a: 13, b: 19}}
  gripper: {driver: servo_pins, pwm_channel: 2, feedback: $feedback$feedback_pin}
  battery: {driver: adc_file, file: "/sys/bus/iio/devices/iio:device0/in_voltage0_raw", divider: 4.03}"""
_HEADING = {
    "board": "\n  heading: {driver: co_processor, link: main}",
    "pins": "\n  heading: {driver: compass, link: main}",
}
_RANGE = "\n  range: {driver: echo_pins, trigger: 17, echo: 18, ahead: 10 cm, most: 4 m}"


def files_of(answers: Mapping[str, str]) -> dict[Path, str]:
    """Return the text of each file of the project, by its path in the project's folder.

    Args:
        answers: to each of `questions.QUESTIONS`.
    """
    values = {**answers, **_of_the_robot(answers), **_of_the_errand(answers)}
    return {
        path.relative_to(TEMPLATES).with_suffix(""): Template(path.read_text("utf-8")).substitute(values)
        for path in sorted(TEMPLATES.rglob(f"*{_ENDING}"))
    }


def _of_the_robot(answers: Mapping[str, str]) -> dict[str, str]:
    is_on_board, has_switch = answers["motors"] == "board", answers["switch"] == "yes"
    has_heading = answers["heading"] == "yes"
    devices = Template(_ON_BOARD if is_on_board else _ON_PINS).substitute(
        feedback="switch" if has_switch else "none", feedback_pin=", feedback_pin: 26" if has_switch else ""
    )
    camera = answers["camera"]
    named = f'network_camera, address: "{camera}"' if "://" in camera else f"video, video: {camera}"
    return {
        "links": f"links:\n  main: {{port: {answers['port']}}}\n" if is_on_board or has_heading else "",
        "devices": devices
        + (_HEADING[answers["motors"]] if has_heading else "")
        + (_RANGE if answers["range"] == "yes" else ""),
        "camera": f"driver: {named}",
        "colours": "\n".join(f"  {lid}: {{hue: {LIDS[lid]}}}" for lid in answers["lids"].split(", ")),
        "near": f"{_metres(answers['reach']) + 0.08:.3g} m",
    }


def _of_the_errand(answers: Mapping[str, str]) -> dict[str, str]:
    x, y = answers["field"].split(" x ")
    lids = answers["lids"].split(", ")
    corners = {"south": ("0 m", "0 m", x, "0 m"), "east": (x, "0 m", x, y), "north": (x, y, "0 m", y)}
    corners["west"] = ("0 m", y, "0 m", "0 m")
    walls = [f"    {name}: [[{a}, {b}], [{c}, {d}]]" for name, (a, b, c, d) in corners.items()]
    return {
        "field_x": x,
        "field_y": y,
        "start_x": f"{_metres(x) / 2:.4g} m",
        "walls": "\n".join(["  walls:", *walls, ""]) if answers["walled"] == "yes" else "",
        "kinds": "\n".join(f"  {lid}: {{lid: {lid}, height: 60 mm, width: 50 mm}}" for lid in lids),
        "scatter": ", ".join(f"{lid}: 2" for lid in lids),
    }


def _metres(text: str) -> float:
    return parse_as(text, LENGTH)
