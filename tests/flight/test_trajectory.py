"""Check values: three pitches of public scripts (2017) by Nathan's method; and our own integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.flight.fly import fly, spin_axis_from_tilt
from release.flight.trajectory import break_over_last_40_ft_in, from_trajectory

# Plate frame: origin at the plate's back point, x toward first base, y toward the rubber, z up.
PLATE_FRAME = {
    "A": (1.958, 50, 6.041, -0.469, -115.739, -0.622, -10.947, 23.455, -32.665),
    "B": (1.254, 50, 6.101, -1.23, -137.906, -9.567, 0.155, 35.877, 1.229),
    "C": (2.6, 50, 5.35, -5.65, -121.96, 2.27, -8.2, 29.2, -41.24),
}
# release_mph, tf_s, CD, CL, Mx_in, Mz_in, pfx40_x_in, pfx40_z_in, plate_x_ft, plate_z_ft, omegaT_rpm
ANSWERS = {
    "A": (
        79.53352,
        0.47805,
        0.34649,
        0.17508,
        -15.76818,
        -2.71274,
        -8.14528,
        -0.36534,
        0.69555,
        2.61549,
        1070.474,
    ),
    "B": (
        95.05136,
        0.40261,
        0.40562,
        0.32723,
        -0.18717,
        29.85872,
        0.08198,
        17.66690,
        0.80938,
        2.64432,
        6296.679,
    ),
    "C": (
        84.00481,
        0.45615,
        0.38400,
        0.19696,
        -12.41173,
        -13.01144,
        -5.57426,
        -6.16296,
        -0.49090,
        2.67486,
        1345.572,
    ),
}
FOOT, INCH, MPH = 0.3048, 0.0254, 0.44704


def field_frame(plate):
    x, y, z, vx, vy, vz, ax, ay, az = plate
    return np.array([60.5 - y, x, z, -vy, vx, vz, -ay, ax, az])


@pytest.mark.parametrize("case", "ABC")
def test_the_published_pitches_come_out(case):
    nine = field_frame(PLATE_FRAME[case])
    seen = from_trajectory(nine, extension_ft=6.0)
    legacy = break_over_last_40_ft_in(nine)[0]
    actual = (
        *(seen.release_speed_mph, seen.flight_s, seen.drag_coefficient, seen.lift_coefficient),
        *(seen.side_break_in, seen.induced_vertical_break_in, *legacy),
        *(seen.plate_ft[0, 1], seen.plate_ft[0, 2]),
    )
    assert [float(np.squeeze(a)) for a in actual] == pytest.approx(ANSWERS[case][:-1], abs=2e-5)
    # 78.92 in the source is 60 / (2 pi r) rounded.
    assert seen.transverse_spin_rpm[0] == pytest.approx(ANSWERS[case][-1], rel=1e-4)


def test_lift_that_no_measured_spin_could_make_gives_no_efficiency():
    assert np.isnan(from_trajectory(field_frame(PLATE_FRAME["B"]), spin_rpm=2400).spin_efficiency[0])
    assert from_trajectory(field_frame(PLATE_FRAME["A"]), spin_rpm=2000).spin_efficiency[0] == pytest.approx(
        1070.474 / 2000, rel=1e-4
    )


def test_lift_above_the_asymptote_gives_no_spin():
    nine = field_frame(PLATE_FRAME["B"]) + np.array([0, 0, 0, 0, 0, 0, 0, 0, 3])
    assert np.isnan(from_trajectory(nine).transverse_spin_rpm[0])


def test_a_missing_number_gives_no_figures():
    nine = np.stack([field_frame(PLATE_FRAME["A"])] * 2)
    nine[1, 8] = np.nan
    seen = from_trajectory(nine)
    assert np.isfinite(seen.induced_vertical_break_in[0])
    assert np.isnan(seen.induced_vertical_break_in[1])
    assert np.isnan(seen.spin_tilt_deg[1])


def fitted(flown):
    """The nine numbers that fit a flown path best."""
    rows = np.stack([np.ones_like(flown.time_s), flown.time_s, flown.time_s**2 / 2], axis=1)
    return np.linalg.lstsq(rows, flown.position_m / FOOT, rcond=None)[0].ravel()


@given(tilt=st.floats(0, 359), rpm=st.floats(1200, 2600), mph=st.floats(70, 100))
def test_the_formulas_agree_with_integrated_flight(tilt, rpm, mph):
    velocity = np.array([mph * MPH, -0.5, -0.8])
    release_m = (6 * FOOT, 0.3, 1.8)
    flown = fly(release_m, velocity, spin_axis_from_tilt(velocity, tilt, 0.95), rpm)
    seen = from_trajectory(fitted(flown), extension_ft=6.0)
    assert seen.release_ft[0] * FOOT == pytest.approx(release_m, abs=0.02)
    assert seen.release_speed_mph[0] == pytest.approx(np.linalg.norm(velocity) / MPH, abs=0.4)
    assert seen.flight_s[0] == pytest.approx(flown.time_s[-1], abs=0.001)
    # Constant acceleration is itself an approximation: an inch of break in fifteen.
    assert seen.induced_vertical_break_in[0] == pytest.approx(flown.induced_vertical_break_m / INCH, abs=1.2)
    assert seen.side_break_in[0] == pytest.approx(flown.induced_side_break_m / INCH, abs=1.2)
    turned = (seen.spin_tilt_deg[0] - flown.spin_tilt_deg + 180) % 360 - 180
    assert abs(turned) < 6
