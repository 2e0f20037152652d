"""Places of the marks against the rule book: Official Baseball Rules 2.01, 2.02 and 2.04."""

import numpy as np
import pytest

from release.camera.field import Field, outline_m, places_m

INCH = 0.0254


def apart_in(a, b, field=Field()):
    at = places_m(field)
    return float(np.linalg.norm(at[a] - at[b])) / INCH


@pytest.mark.parametrize(
    ("a", "b", "inches"),
    [
        pytest.param("rubber front left", "rubber front right", 24, id="rubber 24 in wide"),
        pytest.param("rubber front left", "rubber back left", 6, id="rubber 6 in deep"),
        pytest.param("plate front left", "plate front right", 17, id="plate 17 in wide"),
        pytest.param("plate front left", "plate side left", 8.5, id="plate's sides 8 1/2 in"),
        pytest.param("plate point", "plate side left", 12, id="plate's back edges 12 in"),
        pytest.param("mound foot left", "mound foot right", 18 * 12, id="mound 18 ft across"),
    ],
)
def test_lengths_are_the_rule_books(a, b, inches):
    # The 12 in edges cannot be: a right angle between them spans 16.97 in, not 17.
    assert apart_in(a, b) == pytest.approx(inches, abs=0.03)


def test_the_plates_point_is_60_ft_6_in_from_the_rubber_and_10_in_below_it():
    assert places_m(Field())["plate point"] / INCH == pytest.approx([60.5 * 12, 0, -10])


def test_the_mounds_centre_lies_18_in_before_the_rubber():
    at = places_m(Field())
    centre = (at["mound foot front"] + at["mound foot back"]) / 2
    assert centre / INCH == pytest.approx([18, 0, -10])


def test_left_is_the_pitchers_left_which_is_toward_first_base():
    assert places_m(Field())["rubber front left"][1] > 0


def test_a_flat_field_has_no_mound():
    flat = places_m(Field(mound_height_in=0.0))
    assert not any(name.startswith("mound") for name in flat)
    assert flat["plate point"][2] == 0


def test_a_stick_is_a_mark_only_when_its_length_is_given():
    assert "stick top" not in places_m(Field())
    stood = places_m(Field(stick_m=1.5, stick_at_m=(2.0, 0.5)))
    assert stood["stick top"] == pytest.approx([2.0, 0.5, 1.5])


def test_the_outline_passes_through_the_marks():
    points = np.concatenate(outline_m(Field(stick_m=1.5), np.zeros(3)))
    for name, place in places_m(Field(stick_m=1.5)).items():
        assert np.linalg.norm(points - place, axis=1).min() < 0.31, (
            name
        )  # the rubber's middle lies on an edge
