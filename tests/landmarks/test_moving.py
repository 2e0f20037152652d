"""Who stands still is painted out of the pictures."""

import numpy as np

from release.landmarks.moving import moving_only

RNG = np.random.default_rng(5)
FIELD = np.full((180, 320, 3), [90, 140, 90], np.uint8)
FIELD[60:120, 40:60] = 20  # somebody who stands there


def pictures():
    """An arm that moves to the right, 10 px a picture, in a film that is a little noisy."""
    images = np.stack([FIELD] * 15).astype(float)
    for k, image in enumerate(images):
        image[50:70, 150 + 10 * k : 170 + 10 * k] = 220
    return np.clip(images + RNG.normal(size=images.shape) * 2, 0, 255).astype(np.uint8)


def test_what_moves_is_left_and_who_stands_still_is_gone():
    before, after = pictures(), moving_only(pictures())
    where = [after[k, 55:65, 155 + 10 * k : 165 + 10 * k].mean() for k in range(15)]
    assert np.allclose(where, 220, atol=5)
    assert np.ptp(before[:, 90, :100], axis=1).min() > 60
    assert np.ptp(after[:, 90, :100].astype(float), axis=1).max() < 50
