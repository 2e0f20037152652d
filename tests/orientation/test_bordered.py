"""The bordered band solves as the full matrix does in numpy."""

import numpy as np
import pytest

from release.orientation.bordered import Bordered, banded

RNG = np.random.default_rng(1)
K, D, S = 9, 4, 3


def some_matrix():
    blocks = RNG.normal(size=(3, K, D, D))
    blocks[0] = blocks[0] + blocks[0].transpose(0, 2, 1) + 30 * np.eye(D)
    full = np.zeros((K, D, K, D))
    for a in range(3):
        for f in range(K - a):
            full[f + a, :, f, :] = blocks[a, f]
            full[f, :, f + a, :] = blocks[a, f].T
    border = RNG.normal(size=(K * D, S))
    corner = 40 * np.eye(S)
    band = full.reshape(K * D, K * D)
    whole = np.block([[band, border], [border.T, corner]])
    return Bordered(band=banded(blocks), border=border, corner=corner), whole


@pytest.mark.parametrize("columns", [(), (5,)])
def test_it_solves_like_the_full_matrix(columns):
    ours, whole = some_matrix()
    right = RNG.normal(size=(K * D + S, *columns))
    assert ours.solve(right) == pytest.approx(np.linalg.solve(whole, right))
    assert ours.log_det() == pytest.approx(np.linalg.slogdet(whole)[1])


def test_damping_raises_the_diagonal():
    ours, whole = some_matrix()
    right = RNG.normal(size=K * D + S)
    expected = np.linalg.solve(whole + 0.5 * np.diag(np.diag(whole)), right)
    assert ours.damped(0.5).solve(right) == pytest.approx(expected)
