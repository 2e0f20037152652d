"""Check values: closed forms, and numbers computed from the published coefficients (Nathan 2008, 2017)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.flight.fly import PLATE_FRONT_M, fly, lift_coefficient, spin_axis_from_tilt

MPH, INCH, FOOT = 0.44704, 0.0254, 0.3048
BACKSPIN = (0, -1, 0)
START_M = (PLATE_FRONT_M + 17 / 12 * FOOT - 54.5 * FOOT, 0, 1.8)  # 54.5 ft from the plate's back point


@pytest.mark.parametrize(("s", "c_l"), [(0.05, 0.08004), (0.10, 0.13720), (0.20, 0.21341), (0.40, 0.29548)])
def test_lift_coefficient_is_the_published_fit(s, c_l):
    assert lift_coefficient(s) == pytest.approx(c_l, abs=5e-6)  # Nathan (2017), eq. 10


def test_in_a_vacuum_the_ball_falls_as_the_parabola_says():
    flown = fly(START_M, (95 * MPH, 0, 0), BACKSPIN, 2400, air_density_kg_m3=0)
    assert flown.time_s[-1] == pytest.approx(0.380980861, abs=1e-8)
    assert (START_M[2] - flown.position_m[-1, 2]) / INCH == pytest.approx(28.0196871, abs=1e-6)
    assert np.isnan(flown.spin_tilt_deg)


def test_a_fastball_with_pure_backspin_rises_as_published_coefficients_say():
    flown = fly(START_M, (95 * MPH, 0, 0), BACKSPIN, 2400)
    assert flown.time_s[-1] == pytest.approx(0.401995, abs=1e-6)
    assert np.linalg.norm(flown.velocity_m_s[-1]) / MPH == pytest.approx(85.478, abs=1e-3)
    assert flown.induced_vertical_break_m / INCH == pytest.approx(21.196, abs=1e-3)
    assert flown.spin_tilt_deg == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("mph", "rpm", "inches"), [(90, 1000, 14), (90, 1800, 19), (75, 1000, 16), (75, 1800, 21)]
)
def test_deflection_is_near_the_measured_table(mph, rpm, inches):
    # Nathan (2008), Am. J. Phys. 76:119, Table I, over 55 ft; models of lift scatter by about 20 %.
    start_m = (PLATE_FRONT_M - 55 * FOOT, 0, 1.8)
    flown = fly(start_m, (mph * MPH, 0, 0), BACKSPIN, rpm)
    assert flown.induced_vertical_break_m / INCH == pytest.approx(inches, rel=0.2)


@given(tilt=st.floats(0, 359), efficiency=st.floats(0.1, 1), side=st.floats(-3, 3), up=st.floats(-3, 3))
def test_the_axis_made_from_a_tilt_pushes_that_way(tilt, efficiency, side, up):
    velocity = (38, side, up)
    flown = fly((1.8, 0, 1.8), velocity, spin_axis_from_tilt(velocity, tilt, efficiency), 2000)
    assert (flown.spin_tilt_deg - tilt + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    assert flown.spin_efficiency == pytest.approx(efficiency, abs=1e-9)


def test_a_mirrored_pitcher_throws_mirrored_break():
    right = fly((1.8, -0.6, 1.8), (38, 1, -1), spin_axis_from_tilt((38, 1, -1), 60, 0.8), 2200)
    left = fly(
        (1.8, 0.6, 1.8), (38, -1, -1), spin_axis_from_tilt((38, -1, -1), 300, 0.8, bullet_sense=-1), 2200
    )
    assert left.induced_side_break_m == pytest.approx(-right.induced_side_break_m, abs=1e-9)
    assert left.induced_vertical_break_m == pytest.approx(right.induced_vertical_break_m, abs=1e-9)


def test_a_ball_thrown_away_from_the_plate_is_an_error():
    with pytest.raises(ValueError, match="never reaches"):
        fly((1.8, 0, 1.8), (-10, 0, 0), BACKSPIN, 2000)
