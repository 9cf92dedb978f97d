"""Calibrates the camera: colour ranges from marked lids, field of view and tilt from lids at known places.

The pictures lie in a folder, with a file `regions.yaml` beside them that says where in which picture which lid is::

    lid: {height: 60 mm, width: 50 mm}
    regions:
      - {file: near.png, kind: amber, box: [120, 80, 30, 20]}                    # left, top, width, height in pixels
      - {file: far.png, kind: teal, box: [200, 60, 9, 4], ahead: 1.5 m, left: -30 cm}

``kind`` names one of the robot file's colours. ``ahead`` and ``left`` are where the lid's middle was, measured from the
point on the floor below the lens; two such places or more give field of view and tilt. Live, the pictures and the file
are made with the help of the person who holds the lids.
"""

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import Field, StrictInt

from rover.calibrate.apparatus import needed
from rover.calibrate.findings import CalibrationError, Findings, ValueChange, changed
from rover.devices.camera.keys import CameraKeys
from rover.devices.camera.picture_folder import read_picture
from rover.errors import UserError
from rover.files import load, yaml_source
from rover.files.problems import nearest
from rover.files.robot import Colour, Robot
from rover.files.types import POSITIVE, Length, Model, Name, Text
from rover.vision.calibrate_camera import (
    EdgeSighting,
    Pixel,
    far_edge,
    fit_view,
    light_warnings,
    overlaps,
    pixels_of,
    proposed,
)
from rover.vision.colour import mask_of, patches_of, to_hsv
from rover.vision.edges import Extent
from rover.vision.pictures import beside, write_picture

REGIONS = "regions.yaml"
LIVE_SHARE = 6
"""Live, the middle of the picture is taken for the lid: this part of its width and height."""

PixelCount = Annotated[StrictInt, Field(gt=0)]


class LidSize(Model):
    """Measures of the lids at known places, as in the errand file."""

    height: Annotated[Length, POSITIVE]
    width: Annotated[Length, POSITIVE]


class LidRegion(Model):
    """A lid in a picture."""

    file: Text
    kind: Name
    box: tuple[StrictInt, StrictInt, PixelCount, PixelCount]
    ahead: Annotated[Length, POSITIVE] | None = None
    left: Length = 0.0


class RegionsFile(Model):
    """The whole file."""

    lid: LidSize | None = None
    regions: Annotated[list[LidRegion], Field(min_length=1)]


class MarkedLid(NamedTuple):
    """A region and its picture."""

    region: LidRegion
    image: Any


def marked_in(folder: Path, robot: Robot) -> tuple[RegionsFile, list[MarkedLid]]:
    """Return the regions of a folder with their pictures.

    Raises:
        FileProblems: mistakes in `regions.yaml`.
        CalibrationError: a picture or colour that it names is not there.
    """
    path = folder / REGIONS
    regions = load.build(RegionsFile, yaml_source.read(path, load.show(path)))
    for region in regions.regions:
        if region.kind not in robot.colours:
            known = nearest(region.kind, robot.colours)
            raise CalibrationError(f"{load.show(path)}: the robot file has no colour '{region.kind}'{known}")
    try:
        pictures = {file: read_picture(folder / file) for file in {region.file for region in regions.regions}}
    except UserError as error:
        raise CalibrationError(f"{load.show(path)}: {error}") from error
    return regions, [MarkedLid(region, pictures[region.file]) for region in regions.regions]


def findings(folder: Path, robot: Robot, keep_in: Path) -> Findings:
    """Return what the pictures of a folder tell, and write each mask beside its picture into another folder.

    Raises:
        FileProblems: mistakes in `regions.yaml`.
        CalibrationError: what is marked cannot be used.
        OSError: the masks cannot be written.
    """
    camera = needed(robot.devices.camera, "camera", "camera")
    regions, marked = marked_in(folder, robot)
    pixels = _pixels(marked)
    colours = {name: _proposed(name, found, robot) for name, found in pixels.items()}
    all_colours = {**robot.colours, **colours}
    view_changes, view_lines = _view(regions, marked, camera, all_colours)
    lines = [line for name, found in pixels.items() for line in light_warnings(name, found)]
    lines += [
        f"{one} and {other} overlap: a pixel can be both; narrow one by hand" for one, other in overlaps(all_colours)
    ]
    masks = list(_write_masks(marked, all_colours, keep_in))
    changes = [change for name in colours for change in _changes(name, robot.colours[name], colours[name])]
    return Findings(
        (*changes, *view_changes),
        (*lines, *view_lines, f"masks beside the pictures: {keep_in}/"),
        data={"pixels": {name: len(found) for name, found in pixels.items()}, "masks": [path.name for path in masks]},
    )


def _pixels(marked: list[MarkedLid]) -> dict[str, list[Pixel]]:
    """Return the marked pixels by colour; lids at known places serve the geometry alone."""
    found: dict[str, list[Pixel]] = {}
    for region, image in marked:
        if region.ahead is None:
            found.setdefault(region.kind, []).extend(pixels_of(image, region.box))
    return found


def _proposed(name: str, pixels: list[Pixel], robot: Robot) -> Colour:
    try:
        return proposed(pixels, robot.colours[name])
    except ValueError as error:
        raise CalibrationError(f"{name}: {error}") from error


def _changes(name: str, before: Colour, after: Colour) -> tuple[ValueChange, ...]:
    return tuple(
        change
        for key in ("hue", "saturation", "value")
        for change in changed(f"colours.{name}.{key}", list(getattr(before, key)), list(getattr(after, key)), str)
    )


def _view(
    regions: RegionsFile, marked: list[MarkedLid], camera: CameraKeys, colours: dict[str, Colour]
) -> tuple[tuple[ValueChange, ...], tuple[str, ...]]:
    """Return the changes of field of view and tilt, and how well they fit; nothing without lids at known places."""
    placed = [one for one in marked if one.region.ahead is not None]
    if not placed:
        return (), ()
    if regions.lid is None:
        raise CalibrationError(
            f"lids at known places need their measures: write 'lid: {{height: ..., width: ...}}' in {REGIONS}"
        )
    sizes = {one.image.shape[1::-1] for one in placed}
    if len(sizes) > 1:
        raise CalibrationError("the pictures with lids at known places are of several sizes; take them with one camera")
    sights = [_far_edge(one, colours, (regions.lid.height, regions.lid.width)) for one in placed]
    try:
        fit = fit_view(camera, sights, sizes.pop())
    except ValueError as error:
        raise CalibrationError(str(error)) from error
    changes = (
        *changed("devices.camera.field_of_view", camera.field_of_view, fit.field_of_view, _degrees),
        *changed("devices.camera.tilt", camera.tilt, fit.tilt, _degrees),
    )
    errors = [
        f"{one.region.file}: {across:+.2f} pixels across, {down:+.2f} down"
        for one, (across, down) in zip(placed, fit.errors, strict=True)
    ]
    sigmas = f"field of view +- {_degrees(fit.field_of_view_sigma)}, tilt +- {_degrees(fit.tilt_sigma)} (one sigma)"
    return changes, (sigmas, *errors)


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.2f}".rstrip("0").rstrip(".") + " deg"


def _far_edge(one: MarkedLid, colours: dict[str, Colour], lid: tuple[float, float]) -> EdgeSighting:
    """Return the far edge of a lid: of its patch if there is one in the box, else of the box as it was drawn."""
    region = one.region
    left, top, width, height = region.box
    box = Extent(left, top, left + width, top + height)
    patches = patches_of(one.image, {region.kind: colours[region.kind]})
    inside = [patch.extent for patch in patches if _middle_inside(patch.extent, box)]
    edges = max(inside, key=lambda extent: extent.right - extent.left, default=box)
    return far_edge(((edges.left + edges.right) / 2.0, edges.top), region.ahead or 0.0, region.left, lid)


def _middle_inside(extent: Extent, box: Extent) -> bool:
    across, down = (extent.left + extent.right) / 2.0, (extent.top + extent.bottom) / 2.0
    return box.left <= across <= box.right and box.top <= down <= box.bottom


def _write_masks(marked: list[MarkedLid], colours: dict[str, Colour], folder: Path) -> Iterator[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    for number, (region, image) in enumerate(marked, 1):
        picture = beside(image, mask_of(to_hsv(image), colours[region.kind]), region.box)
        yield write_picture(folder / f"{number:02}-{region.kind}-{Path(region.file).stem}.png", picture)


def take_pictures(robot: Robot, grab: Callable[[], Any], ready: Callable[[str], object], folder: Path) -> Path:
    """Take a picture of each lid with the help of a person, write them with their `regions.yaml`, return the folder.

    Args:
        robot: the robot file, with the colours to take.
        grab: returns a frame.
        ready: asks for something, and returns when it is done.
        folder: is made if need be.

    Raises:
        CalibrationError: the robot file has no colours.
        UserError: no frame comes; then nothing is asked.
        OSError: the pictures cannot be written.
    """
    if not robot.colours:
        raise CalibrationError(
            "the robot file has no 'colours:'; write one for each lid, such as amber: {hue: [14, 30]}"
        )
    grab()  # where there is no camera, nobody is asked to hold a lid before it
    folder.mkdir(parents=True, exist_ok=True)
    lines = ["regions:"]
    for name in robot.colours:
        ready(f"hold the {name} lid before the camera, so that it fills the middle of the picture")
        image = grab()
        write_picture(folder / f"{name}.png", image)
        height, width = image.shape[:2]
        sides = width // LIVE_SHARE, height // LIVE_SHARE
        box = [(width - sides[0]) // 2, (height - sides[1]) // 2, *sides]
        lines.append(f"  - {{file: {name}.png, kind: {name}, box: {box}}}")
    (folder / REGIONS).write_text("\n".join(lines) + "\n", "utf-8")
    return folder
