"""The packaged weights read one drawn picture as they did on the machine that calibrated them."""

import hashlib
import json

import numpy as np
import pytest

from release.landmarks.read_models import OWN_WEIGHTS
from release.landmarks.result import KINDS
from release.workshop.known_picture import known_reads


@pytest.mark.parametrize("kind", KINDS)
def test_the_known_picture_is_read_as_the_card_says(kind):
    card = json.loads((OWN_WEIGHTS / f"{kind}.json").read_text(encoding="utf-8"))
    read = known_reads(kind)
    assert read.keys() == card["known_picture"].keys()
    for name, values in read.items():
        # Another machine's arithmetic differs in the sixth digit; another network by far more.
        np.testing.assert_allclose(values, card["known_picture"][name], rtol=2e-3, atol=2e-3, err_msg=name)


@pytest.mark.parametrize("kind", KINDS)
def test_the_card_names_the_weights_by_their_hash(kind):
    card = json.loads((OWN_WEIGHTS / f"{kind}.json").read_text(encoding="utf-8"))
    assert card["sha256"] == hashlib.sha256((OWN_WEIGHTS / f"{kind}.onnx").read_bytes()).hexdigest()


def test_the_four_files_take_ten_megabytes_at_most():
    assert sum((OWN_WEIGHTS / f"{kind}.onnx").stat().st_size for kind in KINDS) <= 10e6
