"""Numbers as words: directions, dashes where there is no number, and the job's own units."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from portviz.distribution.reduce import Reduction
from portviz.job.words import (
    coefficient_text,
    direction_words,
    facing_words,
    flow_text,
    lift_text,
    pressure_text,
    reading_unit,
    station_text,
    velocity_text,
)


@pytest.mark.parametrize(
    ("angle", "words"),
    [
        (0.0, "0° (toward {})"),
        (44.0, "44° (toward {})"),
        (46.0, "46° (anticlockwise of {})"),
        (90.0, "90° (anticlockwise of {})"),
        (134.0, "134° (anticlockwise of {})"),
        (136.0, "136° (away from {})"),
        (224.0, "224° (away from {})"),
        (226.0, "226° (clockwise of {})"),
        (314.0, "314° (clockwise of {})"),
        (316.0, "316° (toward {})"),
        (359.7, "0° (toward {})"),
    ],
)
def test_direction_is_one_of_four_quarters(angle: float, words: str) -> None:
    """Angles run anticlockwise, so that a quarter turn is anticlockwise of station 0; 360 is told as 0."""
    assert direction_words(angle, 0.1) == words.format("0°")
    assert direction_words(angle, 0.1, facing=None) == words.split(" ")[0]
    assert direction_words(angle, 0.1, facing="the bore wall") == words.format("the bore wall")


@pytest.mark.parametrize(
    ("typed", "facing"),
    [
        ("toward the bore wall", "the bore wall"),
        ("Towards the plug", "the plug"),
        ("spark plug", "spark plug"),
        ("station 0", "0°"),
        ("toward a place that takes many words to name, more than a table has room for", "0°"),
    ],
)
def test_what_station_0_faces(sidecar: Reduction, typed: str, facing: str) -> None:
    job = replace(sidecar.job, stations=replace(sidecar.job.stations, reference=typed))
    assert facing_words(job) == facing
    assert facing_words(job, 3) == "0°"


@pytest.mark.parametrize("magnitude", [0.0, 1e-15, 0.004])
def test_an_even_pattern_leans_nowhere(magnitude: float) -> None:
    assert direction_words(123.0, magnitude) == "nowhere (even)"


def test_a_lean_that_uneven_stations_feign_is_not_told() -> None:
    assert direction_words(123.0, 0.1, told=False) == "not told (uneven stations)"


def test_a_lean_worth_naming_is_named() -> None:
    assert direction_words(123.0, 0.006) == "123° (anticlockwise of 0°)"


def test_no_bias_no_direction() -> None:
    assert direction_words(0.0, math.nan) == "–"


@pytest.mark.parametrize(("value", "text"), [(0.52449, "0.524"), (1.0, "1.000"), (-0.02, "-0.020"), (math.nan, "–")])
def test_coefficients(value: float, text: str) -> None:
    assert coefficient_text(value) == text


def test_metric_units(sidecar: Reduction) -> None:
    """The unit of a table's header is the unit in which its numbers come back."""
    job = sidecar.job
    assert flow_text(job, 0.0512) == "51.2 l/s"
    assert flow_text(job, math.nan) == "–"
    assert velocity_text(job, 92.94) == "92.9 m/s"
    assert lift_text(job, 0.0035) == "3.50 mm"
    assert station_text(job, 1, 88.64) == "30°: 88.6"


def test_inch_units(tractor: Reduction) -> None:
    """0.1 in = 2.54 mm, 1 ft/s = 0.3048 m/s, 1 cfm = 0.3048^3 / 60 m3/s, all by definition."""
    job = tractor.job
    assert flow_text(job, 100.0 * 0.3048**3 / 60.0) == "100.0 cfm"
    assert velocity_text(job, 250.0 * 0.3048) == "250.0 ft/s"
    assert lift_text(job, 2.54e-3) == "0.1000 in"
    assert station_text(job, 1, 250.0 * 0.3048) == "22.5°: 250.0"


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        ("cfm", "211.9 cfm"),
        ("m3/h", "360.0 m3/h"),
        ("l/s", "100.0 l/s"),
        ("m3/min", "6.000 m3/min"),
        ("m3/s", "0.1000 m3/s"),
    ],
)
def test_flow_in_other_units(unit: str, text: str, sidecar: Reduction) -> None:
    """0.1 m3/s; 0.1 x 60 / 0.3048^3 = 211.888."""
    job = replace(sidecar.job, units=replace(sidecar.job.units, flow=unit))
    assert flow_text(job, 0.1) == text


def test_lifts_in_thousandths(tractor: Reduction) -> None:
    """0.2505 in are 250.5 thou."""
    job = replace(tractor.job, units=replace(tractor.job.units, length="thou"))
    assert lift_text(job, 0.2505 * 0.0254) == "250.5 thou"


def test_a_reading_has_the_gauges_unit(sidecar: Reduction) -> None:
    job = sidecar.job
    assert reading_unit(job) == "mmH2O"
    assert reading_unit(replace(job, gauge=replace(job.gauge, reads="velocity"))) == "m/s"
    assert pressure_text(job, 9806.65) == "1000.0 mmH2O"
