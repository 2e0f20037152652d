"""Who is drawn, from people of every stature."""

from dataclasses import replace

import numpy as np
import pytest

from release.workshop.bodies import MEN, WOMEN, YOUTHS, how_likely


def people_like(stick, statures_m, woman, age):
    """One body a stature, all of one sex and age."""
    many = np.repeat(stick.vertices_m, len(statures_m), axis=0)
    many[:, :, 2] *= np.array(statures_m)[:, None] / np.ptp(many[0, :, 2])
    return replace(stick, vertices_m=many, phenotype=np.tile(np.float32([woman, age]), (len(statures_m), 1)))


def joined(*groups):
    many = {name: np.concatenate([getattr(g, name) for g in groups]) for name in ("vertices_m", "phenotype")}
    return replace(groups[0], **many)


def test_statures_drawn_spread_as_peoples_do_however_widely_those_baked_do(stick):
    statures = np.linspace(1.4, 2.3, 400)
    likely = how_likely(people_like(stick, statures, 0.0, 0.7))
    mean = likely @ statures
    assert mean == pytest.approx(MEN[1], abs=0.01)
    assert np.sqrt(likely @ (statures - mean) ** 2) == pytest.approx(MEN[2], abs=0.01)


def test_men_women_and_youths_come_in_their_shares_whatever_was_baked(stick):
    men = people_like(stick, np.linspace(1.6, 2.1, 10), 0.1, 0.7)
    women = people_like(stick, np.linspace(1.5, 1.9, 40), 0.9, 0.7)
    youths = people_like(stick, np.linspace(1.3, 1.9, 5), 0.1, 0.5)
    likely = how_likely(joined(men, women, youths))
    shares = [part.sum() for part in np.split(likely, [10, 50])]
    assert shares == pytest.approx([MEN[0], WOMEN[0], YOUTHS[0]])


def test_a_body_of_no_usual_stature_is_drawn_where_there_is_no_other(stick):
    assert how_likely(people_like(stick, [2.6], 0.1, 0.7)) == pytest.approx([1.0])
