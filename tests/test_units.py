import numpy as np
import pytest

from release.units import clock_to_deg, convert, shown, unit_of


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (100, "mph", "m/s", 44.704),  # exact by definition of the mile
        (144.84096, "km/h", "mph", 90),
        (1, "in", "cm", 2.54),
        (95, "%", "dimensionless", 0.95),
        (1, "g", "m/s**2", 9.80665),
    ],
)
def test_conversions_agree_with_the_definitions(value, unit, to, expected):
    if unit == "g":
        unit = "standard_gravity"
    assert convert(value, unit, to) == pytest.approx(expected)


@pytest.mark.parametrize("unit", ["kg", "furlongish", "", "m/", "m/s; rm", "3"])
def test_a_unit_that_is_no_speed_is_an_error(unit):
    with pytest.raises(ValueError, match=r"cannot be turned|no known unit"):
        convert([1.0], unit, "mph")


@pytest.mark.parametrize(
    ("text", "deg"), [("12:00", 0), ("1:30", 45), ("6", 180), ("9:00", 270), ("13:00", np.nan), ("x", np.nan)]
)
def test_a_clock_face_is_a_direction(text, deg):
    assert clock_to_deg(text) == pytest.approx(deg, nan_ok=True)


def test_metric_readers_see_centimetres_metres_and_kilometres_an_hour():
    assert shown("horizontal_break_in", 10, metric=True) == (pytest.approx(25.4), "cm")
    assert shown("release_height_ft", 6, metric=True) == (pytest.approx(1.8288), "m")
    assert shown("speed_mph", 90, metric=True) == (pytest.approx(144.84096), "km/h")
    assert shown("speed_mph", 90, metric=False) == (90, "mph")
    assert shown("spin_efficiency", 0.9, metric=True) == (0.9, "")


def test_the_ending_of_a_name_is_its_unit():
    assert unit_of("vx0_ft_s") == "foot/second"
    assert unit_of("ax_ft_s2") == "foot/second**2"
    assert unit_of("athlete") is None
