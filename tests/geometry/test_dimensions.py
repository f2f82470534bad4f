"""Dimensions of valve and seat: defaults, derived radii, and every rule with its message."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest

from portviz.errors import GeometryError
from portviz.geometry.dimensions import RULES, broken_rules, check_dimensions, dimensions

MM = 1e-3
deg = math.radians

#: Rule, what to change in the plain design, and what the message must say. Numbers in a message are worked by hand.
BROKEN: list[tuple[str, dict[str, Any], str]] = [
    ("valve.head_diameter positive", {"head_radius": 0.0}, "valve.head_diameter must be larger than zero"),
    ("valve.stem_diameter positive", {"stem_radius": -1 * MM}, "valve.stem_diameter must be larger than zero"),
    (
        "valve.face_width positive",
        {"face_width": -0.2 * MM},
        "valve.face_width must be larger than zero, not -0.200 mm",
    ),
    ("valve.margin positive", {"margin": 0.0}, "valve.margin must be larger than zero, not 0.000 mm"),
    ("seat.width positive", {"seat_width": -1 * MM}, "seat.width must be larger than zero, not -1.000 mm"),
    ("seat.outer_diameter positive", {"seat_outer_radius": 0.0}, "seat.outer_diameter must be larger than zero"),
    ("seat.throat_diameter positive", {"throat_radius": -5 * MM}, "seat.throat_diameter must be larger than zero"),
    ("seat angle", {"seat_angle": 0.0}, "the seat's angle must lie between 0 and 90 deg, not 0 deg"),
    ("seat angle", {"seat_angle": deg(91)}, "the seat's angle must lie between 0 and 90 deg, not 91 deg"),
    ("face angle", {"face_angle": deg(90)}, "the face's angle must lie between 0 and 90 deg, not 90 deg"),
    ("face angle", {"face_angle": deg(-3)}, "the face's angle must lie between 0 and 90 deg, not -3 deg"),
    (
        "top cut",
        {"top_cut_width": -1 * MM, "top_cut_angle": deg(30)},
        "the top cut needs a width above zero and an angle between 0 and 90 deg, not -1.000 mm at 30 deg",
    ),
    (
        "top cut",
        {"top_cut_width": 1 * MM, "top_cut_angle": 0.0},
        "the top cut needs a width above zero and an angle between 0 and 90 deg, not 1.000 mm at 0 deg",
    ),
    (
        "bottom cuts",
        {"bottom_cut_angles": [deg(60), deg(95)], "bottom_cut_widths": [1 * MM, 1.5 * MM]},
        "each bottom cut needs a width above zero and an angle between 0 and 90 deg, not "
        "1.000 mm at 60 deg, 1.500 mm at 95 deg",
    ),
    (
        "bottom cuts",
        {"bottom_cut_angles": [deg(60)], "bottom_cut_widths": [-1 * MM]},
        "each bottom cut needs a width above zero and an angle between 0 and 90 deg, not -1.000 mm at 60 deg",
    ),
    (
        "underhead angle",
        {"underhead_angle": deg(-1)},
        "the under-head angle must be 0 deg or more and below 90 deg, not -1 deg",
    ),
    (
        "underhead angle",
        {"underhead_angle": deg(90)},
        "the under-head angle must be 0 deg or more and below 90 deg, not 90 deg",
    ),
    (
        "seat wider than its diameter allows",
        {"seat_width": 30 * MM},
        "the seat is wider than its diameter allows: 30.000 mm along 45 deg takes 21.213 mm of a radius of 20.000 mm",
    ),
    (
        "throat larger than the seat",
        {"throat_radius": 19 * MM},
        "the throat is larger than the seat: throat diameter 38.000 mm, inner diameter of the seat band 37.172 mm "
        "(outer diameter 40.000 mm less the band's width)",
    ),
    (
        "stem wider than the throat",
        {"stem_radius": 17.5 * MM},
        "the stem is wider than the throat: stem diameter 35.000 mm, throat diameter 34.000 mm",
    ),
    (
        "stem wider than the head",
        {"head_radius": 5 * MM, "stem_radius": 6 * MM, "face_width": 1 * MM},
        "the stem is wider than the head: stem diameter 12.000 mm, head diameter 10.000 mm",
    ),
    (
        "face reaches the stem",
        {"face_width": 24 * MM},
        "the face is too wide: 24.000 mm along 45 deg ends at a diameter of 6.059 mm, inside the stem of 7.000 mm",
    ),
    (
        "back cut meets nothing",
        {"back_cut_width": 1 * MM, "back_cut_angle": deg(50)},
        "the back cut meets nothing: its angle of 50 deg must lie between the under-head cone's 15 deg and the "
        "face's 45 deg, its width (1.000 mm) above zero",
    ),
    (
        "back cut meets nothing",
        {"back_cut_width": 1 * MM, "back_cut_angle": deg(10)},
        "the back cut meets nothing: its angle of 10 deg must lie between",
    ),
    (
        "back cut meets nothing",
        {"back_cut_width": -1 * MM, "back_cut_angle": deg(30)},
        "the back cut meets nothing: its angle of 30 deg must lie between the under-head cone's 15 deg and the "
        "face's 45 deg, its width (-1.000 mm) above zero",
    ),
    (
        "back cut reaches the stem",
        {"back_cut_width": 17 * MM, "back_cut_angle": deg(20)},
        "the back cut meets nothing: 17.000 mm along 20 deg ends at a diameter of 4.515 mm, inside the stem of "
        "7.000 mm",
    ),
    (
        "fillet does not fit",
        {"fillet_radius": 30 * MM},
        "the fillet does not fit: radius 30.000 mm would begin at a diameter of 51.471 mm, but the under-head cone "
        "begins at 36.464 mm",
    ),
    ("fillet radius", {"fillet_radius": -1 * MM}, "the fillet's radius must be zero (sharp) or more, not -1.000 mm"),
    (
        "face and seat do not meet",
        {"head_radius": 18 * MM},
        "the face does not meet the seat: the face runs from diameter 32.464 mm to 36.000 mm, the seat band from "
        "37.172 mm to 40.000 mm",
    ),
    (
        "face and seat do not meet",
        {"head_radius": 22 * MM},
        "the face does not meet the seat: the face runs from diameter 40.464 mm to 44.000 mm, the seat band from "
        "37.172 mm to 40.000 mm",
    ),
]


@pytest.mark.parametrize(("name", "changes", "message"), BROKEN)
def test_rule_is_broken_with_its_message(
    plain: dict[str, Any], name: str, changes: dict[str, Any], message: str
) -> None:
    with pytest.raises(GeometryError, match=re.escape(message)) as caught:
        check_dimensions(dimensions(**plain | changes))
    assert caught.value.rule == name
    assert caught.value.problem == str(caught.value)
    assert caught.value.keys == next(rule.keys for rule in RULES if rule.name == name)


def test_every_rule_is_broken_once() -> None:
    assert {name for name, _, _ in BROKEN} == {rule.name for rule in RULES}


def test_names_of_rules_are_unique_and_their_keys_are_of_the_job_file() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    assert {key.split(".")[0] for rule in RULES for key in rule.keys} == {"valve", "seat"}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"underhead_angle": 0.0},
        {"throat_radius": (20 - 2 * math.cos(deg(45))) * MM},
        {"back_cut_width": 1 * MM, "back_cut_angle": deg(15)},
        {"back_cut_width": 1 * MM, "back_cut_angle": deg(45)},
        {"bottom_cut_angles": [deg(60), 0.0], "bottom_cut_widths": [1 * MM, 0.0]},
        {"fillet_radius": 15 * MM},
    ],
    ids=["plain", "flat back", "throat at the band's edge", "back cut flush", "back cut as face", "no cut", "fillet"],
)
def test_what_lies_on_a_limit_is_kept(plain: dict[str, Any], changes: dict[str, Any]) -> None:
    assert broken_rules(dimensions(**plain | changes)) == []


@pytest.mark.parametrize(
    "key", ["head_radius", "stem_radius", "face_width", "margin", "seat_width", "seat_outer_radius", "throat_radius"]
)
def test_a_length_that_is_no_number_is_refused(plain: dict[str, Any], key: str) -> None:
    with pytest.raises(GeometryError, match="must be larger than zero, not nan mm"):
        check_dimensions(dimensions(**plain | {key: math.nan}))


@pytest.mark.parametrize("key", ["fillet_radius", "top_cut_width", "back_cut_width"])
def test_an_optional_length_that_is_no_number_is_refused(plain: dict[str, Any], key: str) -> None:
    cuts = {"top_cut_angle": deg(30), "back_cut_angle": deg(30)}
    assert broken_rules(dimensions(**plain | cuts | {key: math.nan})) != []


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("head_radius", "valve.head_diameter"),
        ("stem_radius", "valve.stem_diameter"),
        ("seat_outer_radius", "seat.outer_diameter"),
        ("throat_radius", "seat.throat_diameter"),
    ],
)
def test_a_diameter_below_zero_is_shown_as_typed(plain: dict[str, Any], key: str, name: str) -> None:
    """A radius of -4 mm was typed as a diameter of -8 mm."""
    with pytest.raises(GeometryError, match=re.escape(f"{name} must be larger than zero, not -8.000 mm")):
        check_dimensions(dimensions(**plain | {key: -4 * MM}))


def test_each_design_counts_for_the_first_rule_that_it_breaks(plain: dict[str, Any]) -> None:
    """Five designs: fine, throat too large, stem too wide, fine, and one that breaks two rules."""
    many = dict(plain)
    many["throat_radius"] = np.array([17, 19, 17, 17, 19]) * MM
    many["stem_radius"] = np.array([3.5, 3.5, 18, 3, 19.5]) * MM
    found = [(rule.name, mask.tolist()) for rule, mask in broken_rules(dimensions(**many))]
    assert found == [
        ("throat larger than the seat", [False, True, False, False, True]),
        ("stem wider than the throat", [False, False, True, False, False]),
    ]


def test_message_shows_the_design_at_fault(plain: dict[str, Any]) -> None:
    many = plain | {"throat_radius": np.array([17.0, 17.5, 18.75]) * MM}
    with pytest.raises(GeometryError, match=re.escape("throat diameter 37.500 mm")):
        check_dimensions(dimensions(**many))


def in_inches(length: float) -> str:
    return f"{length / 0.0254:.4f} in"


@pytest.mark.parametrize(("name", "changes"), [(name, changes) for name, changes, _ in BROKEN])
def test_lengths_of_a_message_stand_in_the_unit_of_the_reader(
    plain: dict[str, Any], name: str, changes: dict[str, Any]
) -> None:
    with pytest.raises(GeometryError) as in_mm:
        check_dimensions(dimensions(**plain | changes))
    with pytest.raises(GeometryError) as inches:
        check_dimensions(dimensions(**plain | changes), in_inches)
    assert " mm" not in str(inches.value)
    metres = [1e-3 * float(each) for each in re.findall(r"(-?\d+\.\d{3}) mm", str(in_mm.value))]
    assert [0.0254 * float(each) for each in re.findall(r"(-?\d+\.\d{4}) in", str(inches.value))] == pytest.approx(
        metres, abs=2e-6
    )


def test_defaults() -> None:
    """Those of the job file: face as the seat, 1.25 times as wide, 1 mm of margin, 15 deg, nothing cut, no fillet."""
    design = dimensions(
        head_radius=20 * MM, stem_radius=3.5 * MM, seat_angle=deg(30), seat_width=1.6 * MM, throat_radius=17 * MM
    )
    assert design.count == 1
    assert design.face_angle == pytest.approx([deg(30)])
    assert design.face_width == pytest.approx([2.0 * MM])
    assert design.seat_outer_radius == pytest.approx([20 * MM])
    assert design.margin == pytest.approx([1 * MM])
    assert design.underhead_angle == pytest.approx([deg(15)])
    assert design.fillet_radius.tolist() == design.top_cut_width.tolist() == design.back_cut_width.tolist() == [0.0]
    assert design.bottom_cut_widths.shape == design.bottom_cut_angles.shape == (1, 0)


def test_derived_radii(plain: dict[str, Any]) -> None:
    """A width along 60 deg takes half of itself from the radius, one along 0 deg all of it."""
    design = dimensions(
        **plain
        | {
            "seat_angle": deg(60),
            "face_angle": deg(60),
            "face_width": 3 * MM,
            "back_cut_angle": 0.0,
            "back_cut_width": 1 * MM,
            "underhead_angle": 0.0,
            "fillet_radius": 2 * MM,
        }
    )
    assert design.seat_radial_width == pytest.approx([1 * MM])
    assert design.seat_inner_radius == pytest.approx([19 * MM])
    assert design.face_inner_radius == pytest.approx([18.5 * MM])
    assert design.underhead_radius == pytest.approx([17.5 * MM])
    # A fillet in a right angle begins one radius from the corner.
    assert design.fillet_tangent == pytest.approx([2 * MM])


def test_scalars_and_lists_are_broadcast_to_all_designs(plain: dict[str, Any]) -> None:
    design = dimensions(
        **plain
        | {
            "throat_radius": np.array([15.0, 16.0, 17.0]) * MM,
            "bottom_cut_angles": [deg(60), deg(75)],
            "bottom_cut_widths": [[1 * MM, 0.5 * MM]],
        }
    )
    assert design.count == 3
    assert design.head_radius.tolist() == [20 * MM] * 3
    assert design.bottom_cut_angles.shape == (3, 2)
    assert design.bottom_cut_widths[2].tolist() == [1 * MM, 0.5 * MM]


def test_take_keeps_whole_designs(plain: dict[str, Any]) -> None:
    design = dimensions(**plain | {"throat_radius": np.array([15.0, 16.0, 17.0]) * MM})
    assert design.take(slice(1, 3)).throat_radius.tolist() == [16 * MM, 17 * MM]
    assert design.take(np.array([2, 0])).throat_radius.tolist() == [17 * MM, 15 * MM]
    assert design.take(np.array([2, 0])).head_radius.tolist() == [20 * MM, 20 * MM]


def test_different_numbers_of_designs_do_not_mix(plain: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="shape mismatch"):
        dimensions(**plain | {"throat_radius": [17 * MM, 16 * MM], "margin": [1 * MM, 1 * MM, 1 * MM]})
