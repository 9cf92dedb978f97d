"""The pose filter on the odometry of a real vehicle: two drives of 1.4 and 1.9 km with ground truth and radio ranges.

``python tools/benchmarks/real_odometry.py`` prints how far stated and found errors are apart after 10 to 200 m.

J. Djugash, B. Hamner, S. Roth, "Navigating with Ranging Radios: Five Data Sets with Ground Truth", Journal of Field
Robotics 26 (2009), the sets Plaza1 and Plaza2, as the package `gtsam` carries them (it is not imported, only its files
are read). They have a distance and a change of heading for each step and no wheels, so that the filter is driven by
`PoseFilter.go`.

What the files themselves show, and limits what they can prove: the changes of heading in Plaza1 are those of its ground
truth, to 1e-15 rad; the distances in Plaza2 are the steps of its ground truth, to 0.1 mm. So of Plaza1 the way is
measured, and of Plaza2 the heading: by a gyro with a bias of 0.40 deg/s and a scale that is 1.5 % small, which are
calibrated here on its first 300 m. In Plaza2 the ground truth's heading looks backwards.
"""

import importlib.util
import math
from collections.abc import Iterable, Iterator
from itertools import product
from pathlib import Path
from typing import NamedTuple

import numpy as np

from rover.estimate.covariance import Errors, X, Y
from rover.estimate.ellipse import CHI_SQUARE_2_95
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose

LENGTHS = (10.0, 20.0, 50.0, 100.0, 200.0)
"""Ways (m) between two fixes."""
CALIBRATED_ON = 300.0
FIX_SIGMA = 0.05
"""Of one axis of a fix by the ground truth (m): satellites to 2 cm, and the two clocks."""
SOURCE = "J. Djugash, B. Hamner, S. Roth, J. Field Robotics 2009"


def folder() -> Path | None:
    """Return where the data sets are; None where the package that has them is not installed."""
    found = importlib.util.find_spec("gtsam")
    places = [] if found is None else [Path(place) / "Data" for place in found.submodule_search_locations or ()]
    return next((place for place in places if (place / "Plaza1_.mat").exists()), None)


class Noise(NamedTuple):
    """What the filter is told: metres of variance a metre, as a wheel's; rad^2 of variance a second."""

    growth: float
    turning: float


FITTED = Noise(0.012, 5e-6)
"""As `fitted` finds it on Plaza1."""
EXACT = Noise(0.0, 0.0)


class Course(NamedTuple):
    """A drive, or a part of one.

    Attributes:
        times: of the steps' ends (s), the start before them: one more than steps.
        ways, turns: of each step (m, rad).
        truth: where it was then: x, y (m), heading (rad); one more than steps.
        authors: the same by the authors' own integration.
    """

    times: np.ndarray
    ways: np.ndarray
    turns: np.ndarray
    truth: np.ndarray
    authors: np.ndarray


class Ranges(NamedTuple):
    """Distances to radio beacons (m), as measured and by the ground truth, and unit vectors away from the beacons."""

    measured: np.ndarray
    true: np.ndarray
    directions: np.ndarray


def _read(number: int) -> dict[str, np.ndarray]:
    from scipy.io import loadmat

    place = folder()
    if place is None:
        raise SystemExit("the data sets are in the package gtsam: pip install -e '.[dev]'")
    return {
        name: np.asarray(part, float) for name, part in loadmat(place / f"Plaza{number}_.mat").items() if name[0] != "_"
    }


def course(number: int) -> Course:
    """Return the drive of a data set; its headings look ahead."""
    data = _read(number)
    truth = data["GT"][:, 1:]
    if number == 2:
        truth[:, 2] -= math.pi
    return Course(data["GT"][:, 0], data["DR"][:, 1], data["DR"][:, 2], truth, data["DRp"][:, 1:])


def ranges(number: int) -> Ranges:
    """Return the radio ranges of a data set, beside what they should be."""
    data = _read(number)
    truth, heard = data["GT"], data["TD"]
    beacons = {int(beacon): (x, y) for beacon, x, y in data["TL"]}
    from_beacon = np.array(
        [
            (np.interp(time, truth[:, 0], truth[:, 1]) - beacons[beacon][0],
             np.interp(time, truth[:, 0], truth[:, 2]) - beacons[beacon][1])
            for time, beacon in zip(heard[:, 0], heard[:, 2].astype(int), strict=True)
        ]
    )  # fmt: skip
    true = np.hypot(*from_beacon.T)
    return Ranges(heard[:, 3], true, from_beacon / true[:, None])


def part(whole: Course, first: int, last: int | None = None) -> Course:
    """Return the steps from ``first`` up to ``last`` of a drive."""
    end = len(whole.ways) if last is None else last
    steps, places = slice(first, end), slice(first, end + 1)
    return Course(
        whole.times[places], whole.ways[steps], whole.turns[steps], whole.truth[places], whole.authors[places]
    )


def calibrated(whole: Course) -> Course:
    """Return what comes after the first metres, by which bias and scale of the changes of heading are calibrated."""
    first = int(np.searchsorted(np.cumsum(whole.ways), CALIBRATED_ON))
    bias, scale = gyro_errors(part(whole, 0, first))
    rest = part(whole, first)
    return rest._replace(turns=rest.turns * (1.0 + scale) + bias * np.diff(rest.times))


def gyro_errors(seen: Course) -> tuple[float, float]:
    """Return bias (rad/s) and scale error of the changes of heading, by least squares against the ground truth."""
    seconds = np.diff(seen.times)
    missing = np.diff(np.unwrap(seen.truth[:, 2])) - seen.turns
    bias, scale = np.linalg.lstsq(np.column_stack([seconds, seen.turns]), missing, rcond=None)[0]
    return float(bias), float(scale)


def integrated(start: Iterable[float], of: Course) -> np.ndarray:
    """Return where the filter alone would be after each step: x, y, heading."""
    pose_filter = _filter(start, EXACT)
    return np.array([tuple(pose_filter.pose), *(tuple(one.pose) for one, _ in _driven(pose_filter, of, EXACT))])


def _filter(start: Iterable[float], noise: Noise) -> PoseFilter:
    sigmas = (FIX_SIGMA, FIX_SIGMA, math.radians(3.0))
    errors = Errors(sigmas, noise.growth, math.radians(2.0), math.radians(1.0), centre_moves=0.0, scrub=0.0)
    return PoseFilter(Pose(*map(float, start)), 0.5, errors)


def _driven(pose_filter: PoseFilter, of: Course, noise: Noise) -> Iterator[tuple[PoseFilter, int]]:
    """Yield the filter after each step, with the time (ns)."""
    ends_ns = np.rint((of.times - of.times[0]) * 1e9).astype(int).tolist()
    for step, (way, turn) in enumerate(zip(of.ways.tolist(), of.turns.tolist(), strict=True), 1):
        seconds = (ends_ns[step] - ends_ns[step - 1]) * 1e-9
        pose_filter.go(way, turn, noise.turning * seconds, seconds, ends_ns[step])
        yield pose_filter, ends_ns[step]


class Fix(NamedTuple):
    """What a fix by the ground truth showed after a way without one.

    Attributes:
        error, stated: distance between where it was and where it was believed (m), and its standard deviation.
        square: squared Mahalanobis distance; chi-square with two degrees of freedom, if the filter is honest.
        nll: twice the negative logarithm of the likelihood, but for a constant.
        refused: by the filter's gate, one axis at least.
    """

    error: float
    stated: float
    square: float
    nll: float
    refused: bool


def fixes(of: Course, length: float, noise: Noise) -> list[Fix]:
    """Return what fixes show that come once in ``length`` (m); the filter is corrected by each."""
    found, since = [], 0.0
    for step, (pose_filter, now_ns) in enumerate(_driven(_filter(of.truth[0], noise), of, noise), 1):
        since += abs(of.ways[step - 1])
        if since >= length:
            since = 0.0
            found.append(_fix(pose_filter, now_ns, *map(float, of.truth[step, :2])))
    return found


def _fix(pose_filter: PoseFilter, now_ns: int, x: float, y: float) -> Fix:
    variance = FIX_SIGMA**2
    xx, xy, _, yy, _, _ = pose_filter.covariance(now_ns)
    xx, yy = xx + variance, yy + variance
    dx, dy, determinant = x - pose_filter.x, y - pose_filter.y, xx * yy - xy * xy
    square = (yy * dx * dx - 2.0 * xy * dx * dy + xx * dy * dy) / determinant
    taken = pose_filter.correct(((X, 1.0),), dx, variance)
    taken &= pose_filter.correct(((Y, 1.0),), y - pose_filter.y, variance)
    return Fix(math.hypot(dx, dy), math.sqrt(xx + yy), square, square + math.log(determinant), not taken)


def fitted(to: Course) -> Noise:
    """Return the noise under which what fixes show on a drive is likeliest, from a grid of ratio two."""
    grid = [Noise(0.0015 * 2**a, 1.25e-6 * 4**b) for a, b in product(range(5), range(4))]
    return min(grid, key=lambda noise: sum(_mean_nll(to, length, noise) for length in LENGTHS))


def _mean_nll(to: Course, length: float, noise: Noise) -> float:
    return float(np.mean([one.nll for one in fixes(to, length, noise)]))


class Judged(NamedTuple):
    """Of fixes: how many, error and stated deviation (rms, m), share inside 95 %, median square, how many refused."""

    number: int
    error: float
    stated: float
    inside: float
    median: float
    refused: int


def judged(some: list[Fix]) -> Judged:
    """Return what some fixes come to."""
    error, stated, square, _, refused = map(np.array, zip(*some, strict=True))
    inside = float((square <= CHI_SQUARE_2_95).mean())
    rms = [float(np.sqrt((values**2).mean())) for values in (error, stated)]
    return Judged(len(some), *rms, inside, float(np.median(square)), int(refused.sum()))


def refused(heard: Ranges, sigma: float) -> float:
    """Return the share of radio ranges that the filter's gate refuses at the true place, sigma (m) as told."""
    count = 0
    for measured, true, (ux, uy) in zip(*(one.tolist() for one in heard), strict=True):
        count += not _filter((0.0, 0.0, 0.0), EXACT).correct(((X, ux), (Y, uy)), measured - true, sigma**2)
    return count / len(heard.measured)


def main() -> None:
    first, second = course(1), course(2)
    noise = fitted(first)
    print(f"{SOURCE}\nfitted on Plaza1: {noise.growth:g} m^2 a metre, {noise.turning:g} rad^2 a second")
    bias, scale = gyro_errors(second)
    print(f"Plaza2's changes of heading: {math.degrees(bias):.2f} deg/s and {100 * scale:.1f} % are missing\n")
    rows = {"Plaza1, fitted": first, "Plaza2, calibrated": calibrated(second), "Plaza2, as it is": second}
    print(f"{'':20}fix every (m)  fixes  error (m)  stated (m)  inside 95 %  median square  refused")
    for (name, of), length in product(rows.items(), LENGTHS):
        one = judged(fixes(of, length, noise))
        print(
            f"{name:20}{length:13.0f}  {one.number:5}  {one.error:9.2f}  {one.stated:10.2f}  {one.inside:11.0%}"
            f"  {one.median:13.2f}  {one.refused:7}"
        )
    for number in (1, 2):
        print(f"Plaza{number}: {_ranges_in_words(ranges(number))}")


def _ranges_in_words(heard: Ranges) -> str:
    off = heard.measured - heard.true
    sigma, unbiased = float(off.std()), heard._replace(measured=heard.measured - off.mean())
    said = f"{len(off)} radio ranges, {off.mean():.2f} m too long, sigma {sigma:.2f} m"
    return f"{said}: {refused(heard, sigma):.0%} refused, and {refused(unbiased, sigma):.1%} without the bias"


if __name__ == "__main__":
    main()
