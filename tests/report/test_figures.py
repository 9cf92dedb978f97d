"""Errors, ellipses, letters, tints, scale and labels."""

import colorsys
import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.events import BELIEVED, SEEN, TAKEN_OUT, Delivery, Find, HoldBack, ObjectEvent, StateChange
from rover.record.run import Happening, RecordedRun, TrueFind
from rover.report.devices import hold_back_spans, total
from rover.report.figures import account_words, delivered_words, ellipse_of, error_of
from rover.report.floor import DrawnField
from rover.report.labels import Box, LabelSpace
from rover.report.look import STATE_STROKES, letters, state_strokes
from rover.report.numbers import clock, metres, millimetres
from rover.report.timeline import Stay, stays_of
from rover.report.tints import Lid, signs_of
from rover.report.view import NARROW, WIDTH, grid_lines, view_of

EMPTY = RecordedRun({}, (), (), (), {}, (), (), None, 0, 0)


def field(width: float, depth: float) -> DrawnField:
    return DrawnField(boundary=((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)))


def test_the_95_percent_ellipse_of_a_covariance() -> None:
    # Derived with plain arithmetic from chi-squared 5.991465; the radii agree with filterpy 2.0.0.
    axes = ellipse_of(Find(1, "amber", 0.0, 0.0, xx=4.0, xy=1.0, yy=2.0))

    assert axes.major_m == pytest.approx(5.142723, abs=1e-6)
    assert axes.minor_m == pytest.approx(3.082399, abs=1e-6)
    assert math.degrees(axes.angle_rad) == pytest.approx(22.5)


@given(st.floats(1e-6, 1.0), st.floats(1e-6, 1.0), st.floats(-0.99, 0.99), st.floats(-math.pi, math.pi))
def test_inside_means_within_the_mahalanobis_distance_of_the_ellipse(a: float, b: float, c: float, way: float) -> None:
    xy = c * math.sqrt(a * b)
    x, y = math.cos(way), math.sin(way)
    squared = (b * x * x - 2 * xy * x * y + a * y * y) / (a * b - xy * xy)
    edge = math.sqrt(5.991465 / squared)

    for share, inside in ((0.999, True), (1.001, False)):
        find = Find(1, "amber", share * edge * x, share * edge * y, a, xy, b)
        assert error_of(find, TrueFind(1, 0.0, 0.0)).inside is inside


def test_an_error_is_reported_less_true() -> None:
    error = error_of(Find(1, "amber", 1.03, 1.96, 1e-4, 0.0, 1e-4), TrueFind(1, 1.0, 2.0))

    assert (error.x, error.y) == pytest.approx((0.03, -0.04))
    assert error.larger_axis == pytest.approx(0.04)
    assert error.distance == pytest.approx(0.05)


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), max_size=40))
def test_letters_are_different_for_different_kinds(kinds: list[str]) -> None:
    chosen = letters(kinds)

    assert set(chosen) == set(kinds)
    assert len(set(chosen.values())) == len(chosen)


def test_letters_come_from_the_names() -> None:
    assert letters(["amber", "teal", "violet"]) == {"amber": "A", "teal": "T", "violet": "V"}
    assert letters(["tall", "teal"]) == {"tall": "T", "teal": "E"}


def luminance(colour: str) -> float:
    """Relative luminance, IEC 61966-2-1 primaries without the toe of the transfer curve."""
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return float(0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2)


def lightness(colour: str) -> float:
    return 116 * luminance(colour) ** (1 / 3) - 16


LIDS = st.one_of(st.none(), st.builds(Lid, st.floats(0, 360), st.booleans()))


@given(st.lists(LIDS, min_size=2, max_size=6))
def test_the_tints_stay_apart_in_grey_print_whatever_the_lids_are(lids: list[Lid | None]) -> None:
    signs = signs_of({f"kind {number}": lid for number, lid in enumerate(lids)})

    levels = sorted(lightness(sign.tint.fill) for sign in signs.values())
    assert all(after - before > 40 / len(lids) for before, after in pairwise(levels))
    letters_on = [abs(lightness(sign.tint.fill) - lightness(sign.tint.letter)) for sign in signs.values()]
    assert min(letters_on) > 35


@given(st.floats(0, 360, exclude_max=True))
def test_a_kind_has_the_hue_of_its_lid(hue: float) -> None:
    fill = signs_of({"jar": Lid(hue)})["jar"].tint.fill
    shown = 360 * colorsys.rgb_to_hls(*(int(fill[at : at + 2], 16) / 255 for at in (1, 3, 5)))[0]

    assert abs((shown - hue + 180) % 360 - 180) < 3


def test_a_grey_lid_has_a_grey_tint() -> None:
    fill = signs_of({"jar": Lid(100.0, grey=True)})["jar"].tint.fill

    assert fill[1:3] == fill[3:5] == fill[5:7]


def test_states_have_strokes_by_their_outermost_name() -> None:
    strokes = state_strokes(["seek/look", "pick_up/approach", "seek/relocate"])

    assert strokes == {"seek": STATE_STROKES[0], "pick_up": STATE_STROKES[1]}
    assert len(set(STATE_STROKES)) == len(STATE_STROKES)


@pytest.mark.parametrize(
    ("width", "depth", "fine"), [(3, 2, 0.1), (6, 4, 0.1), (20, 12, 0.5), (60, 40, 1.0), (400, 9, 5.0)]
)
def test_the_grid_fits_the_field(width: float, depth: float, fine: float) -> None:
    view = view_of(field(width, depth), EMPTY)

    assert view.fine == fine
    assert view.right <= 1000.0
    assert view.west < 0.0 < width < view.east


@pytest.mark.parametrize("picture", [WIDTH, NARROW])
@given(st.floats(0.01, 5000), st.floats(0.01, 5000), st.floats(0, 1), st.floats(0, 1))
def test_the_whole_field_is_inside_the_frame(
    picture: float, width: float, depth: float, across: float, up: float
) -> None:
    view = view_of(field(width, depth), EMPTY, picture)

    x, y = view.at(across * width, up * depth)

    assert view.left <= x <= view.right <= picture
    assert 0.0 <= y <= view.bottom <= 800.0


def test_grid_lines_are_multiples_of_the_spacing() -> None:
    assert grid_lines(-0.1, 0.3, 0.1) == pytest.approx([-0.1, 0.0, 0.1, 0.2, 0.3])


def test_labels_keep_off_each_other_and_inside_the_plan() -> None:
    frame = Box(0.0, 0.0, 300.0, 200.0)
    clutter = LabelSpace(frame)

    placed = [clutter.place((5.0 + 3.0 * number, 5.0), 8.0, (30.0, 15.0)) for number in range(8)]

    for number, box in enumerate(placed):
        assert box.overlap(frame) == pytest.approx(box.area)
        assert all(box.overlap(other) == 0.0 for other in placed[:number])


def test_a_label_keeps_off_a_line_where_it_can() -> None:
    clutter = LabelSpace(Box(0.0, 0.0, 300.0, 300.0))
    clutter.add_line((150.0, float(y)) for y in range(150, 300))

    box = clutter.place((150.0, 150.0), 10.0, (24.0, 15.0))

    assert box.bottom < 150.0 or box.left > 150.0 or box.right < 150.0


def test_stays_join_inner_changes_and_last_to_the_end() -> None:
    entered = [(1, "seek/look"), (3, "seek/relocate"), (7, "pick_up")]
    changes = tuple(Happening(at_ns, StateChange("", state, f"exit at {at_ns}", "")) for at_ns, state in entered)
    run = RecordedRun({}, (), (), changes, {}, (), (), None, 1, 10)

    assert stays_of(run) == [Stay("seek", 1, 7, "exit at 7"), Stay("pick_up", 7, 10)]


def test_hold_backs_that_overlap_are_told_apart_by_their_cause() -> None:
    events = [HoldBack("wall"), HoldBack("edge"), HoldBack("wall", ended=True), HoldBack("edge", ended=True)]
    happenings = tuple(Happening(10 * number, event) for number, event in enumerate(events))
    run = RecordedRun({}, (), (), happenings, {}, (), (), None, 0, 30)

    spans = hold_back_spans(run)
    assert {cause: total(of_cause) for cause, of_cause in spans.items()} == {"wall": 20, "edge": 20}


def test_numbers_have_true_minus_signs_and_no_minus_zero() -> None:
    assert (metres(-1.5), metres(-0.0001), metres(math.nan)) == ("\u22121.500", "0.000", "\u2013")
    assert millimetres(-0.0126) == "\u221213"
    assert clock(723_449_000_000) == "12:03.4"


def test_what_was_taken_out_of_the_tray_again_is_counted_once() -> None:
    brought = Delivery(1, "amber", 0, 0.5, 0.5, 0.9, SEEN, 1)
    taken_out = ObjectEvent(1, "amber", TAKEN_OUT, 0.5, 0.7, "")
    events = [brought, Delivery(2, "teal", 1, 0.7, 0.5, 0.9, BELIEVED, 2), taken_out]
    told = []
    for count in range(4):
        happenings = tuple(Happening(number, event) for number, event in enumerate([*events, brought][: count + 1]))
        run = replace(EMPTY, happenings=happenings)
        told.append((delivered_words(run), account_words(run)))
    assert told == [
        ("1", "seen 1, felt 0, believed 0"),
        ("1, 1 more only believed", "seen 1, felt 0, believed 1"),
        ("0, 1 more only believed", "seen 0, felt 0, believed 1"),
        ("1, 1 more only believed", "seen 1, felt 0, believed 1"),
    ]
