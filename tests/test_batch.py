from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from release.apart import Limits
from release.batch import _outcome, measure_many
from release.errors import ClipTakesTooLong, ClusterUnreachable
from release.pipeline import ThrowMeasurement, measure_clip
from release.settings import Partner, Settings
from tests.clip.movies import steady, write_movie
from tests.drawn_clips import draw_clip
from tests.synthetic import some_camera, some_throw


def same(one: object, other: object) -> bool:
    """Equal to the last digit, arrays and nested results too."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[n], other[n]) for n in one)
    if hasattr(one, "__dataclass_fields__"):
        return all(same(getattr(one, n), getattr(other, n)) for n in one.__dataclass_fields__)
    return one == other


@pytest.fixture
def clips(tmp_path):
    good = [write_movie(tmp_path / f"throw_{i}.mp4", steady(40 + i)) for i in range(3)]
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "note.mp4").write_text("no video")
    return [*good, tmp_path / "empty.mp4", tmp_path / "note.mp4", tmp_path / "gone.mp4"]


def test_every_clip_has_one_outcome_and_it_is_that_of_measure_clip(clips):
    found = {one.path: one for one in measure_many(clips, workers=2)}
    assert set(found) == set(clips)
    for path in clips[:3]:
        assert same(found[path].measured, measure_clip(path))
    assert "is empty" in found[clips[3]].why
    assert "not a video" in found[clips[4]].why
    assert "no file here" in found[clips[5]].why


def test_each_clip_is_measured_with_what_was_said_about_it(clips):
    said = {clips[0]: Settings(slowdown=4.0), clips[1]: Settings(capture_fps=480)}
    found = {one.path: one.measured for one in measure_many(clips[:2], said)}
    assert found[clips[0]].clip.time_base.slowdown == 4
    assert found[clips[1]].clip.time_base.slowdown == 2


def test_a_release_chosen_where_no_hand_is_seen_is_refused(tmp_path):
    rng = np.random.default_rng(1)
    plain = draw_clip(tmp_path, some_throw(rng), some_camera(rng))  # grey from edge to edge
    (one,) = measure_many([plain], Settings(release_frame=20, throws="R"))
    assert one.why == "the throwing hand is not seen round the throw"


def test_a_clip_that_takes_too_long_is_set_aside(clips):
    (slow,) = measure_many(clips[:1], limits=Limits(time_s=0.01))
    assert "took too long" in slow.why


def test_a_pair_that_takes_too_long_leaves_the_clip_its_own_answer(clips):
    class TooSlow:
        def ask(self, measure, path, settings, about):
            if settings.partner is not None:
                raise ClipTakesTooLong(about, 180.0)
            return measure(path, settings)

    settings = Settings(partner=Partner(path=clips[1], settings=Settings()))
    one = _outcome(TooSlow(), clips[0], settings)
    assert one.measured.partner == clips[1].name
    assert "took too long" in one.measured.apart
    assert same(replace(one.measured, partner=None, apart=None), measure_clip(clips[0]))


def test_clips_by_address_give_the_same_figures(clips):
    (local,) = measure_many(clips[:1])
    address = f"file://{clips[0]}"
    (remote,) = measure_many([address])
    assert remote.path == address
    assert remote.name == clips[0].name
    assert isinstance(remote.measured, ThrowMeasurement)
    assert same(remote.measured.clip.presentation_s, local.measured.clip.presentation_s)
    (gone,) = measure_many([f"file://{clips[5]}"])
    assert "does not hand it over" in gone.why


def test_a_scheduler_that_does_not_answer_is_said():
    with pytest.raises(ClusterUnreachable, match="dask worker"):
        list(measure_many([Path("throw.mp4")], scheduler="nonsense"))
