from dataclasses import replace

import av
import numpy as np
import pytest

from release.clip.read import read_clip
from release.errors import ClipDamaged
from release.frames.decode import Reduced, decode, decode_every, stored, stream
from release.frames.result import Square
from tests.clip.movies import TICK, number_of, ramp, steady, write_movie


@pytest.mark.parametrize("b_frames", [0, 3])
@pytest.mark.parametrize("suffix", ["mp4", "mkv", "ts", "avi"])
def test_a_hundred_seeks_on_a_ramp_give_the_frame_asked_for(tmp_path, b_frames, suffix):
    """Seeking by frame number got 58 of 100 wrong on such a clip; each frame shows its own number."""
    if suffix == "avi" and b_frames:
        pytest.skip("AVI stores no presentation times for reordered frames")
    clip = read_clip(write_movie(tmp_path / f"ramp.{suffix}", ramp(10, 120), b_frames=b_frames))
    asked = np.random.default_rng(1).integers(0, len(clip.presentation_s), 100)
    got = [number_of(decode(clip, int(i), int(i)).images[0]) for i in asked]
    assert np.array_equal(got, asked)


def test_a_window_crosses_key_frames(tmp_path):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60), b_frames=2))
    frames = decode(clip, 20, 50)
    assert [number_of(image) for image in frames.images] == frames.index.tolist() == list(range(20, 51))


def test_frames_after_an_edit_list_are_numbered_from_its_start(tmp_path):
    cut = -round(10 / 240 / TICK)
    clip = read_clip(write_movie(tmp_path / "cut.mp4", steady(60), b_frames=3, first_ticks=cut))
    decode_every(clip, 10_000)
    assert [number_of(i) for i in decode(clip, 0, 49).images] == list(range(10, 60))


def test_frames_with_one_time_stamp_come_in_their_order(tmp_path):
    times_s = np.round(steady(60), 3)
    times_s[[11, 24, 25]] = times_s[[10, 23, 23]]  # 24 is a key frame
    clip = read_clip(write_movie(tmp_path / "twice.mkv", times_s))
    for index in (10, 11, 12, 22, 23, 24, 25, 26):
        assert number_of(decode(clip, index, index).images[0]) == index


def test_a_coarse_pass_takes_every_step_at_its_scale(tmp_path):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60)))
    frames = decode_every(clip, 7, first=3, scale=0.5)
    assert frames.index.tolist() == list(range(3, 60, 7))
    assert frames.images.shape[1:] == (24, 96, 3)
    assert [number_of(image, scale=0.5) for image in frames.images] == frames.index.tolist()


def test_streaming_gives_what_was_asked_for_in_order(tmp_path):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60)))
    assert [(i, number_of(image)) for i, image in stream(clip, [2, 3, 40])] == [(2, 2), (3, 3), (40, 40)]


@pytest.mark.parametrize("indices", [[], [-1], [60], [5, 5], [7, 3]])
def test_frames_the_clip_does_not_have_are_a_mistake(tmp_path, indices):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60)))
    with pytest.raises(ValueError, match="increasing frame indices"):
        list(stream(clip, indices))


def test_colours_survive(tmp_path):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(3)))
    image = decode(clip, 1, 1).images[0].astype(int)
    assert image[-5, 10, 0] > 200 > 60 > image[-5, 10, 2]
    assert image[-5, -10, 2] > 200 > 60 > image[-5, -10, 0]


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
@pytest.mark.parametrize("flip", [False, True])
def test_a_turned_picture_comes_upright(tmp_path, turns, flip):
    plain = decode(read_clip(write_movie(tmp_path / "plain.mov", steady(3))), 0, 0).images[0]
    clip = read_clip(write_movie(tmp_path / "turned.mov", steady(3), display=(90 * turns, flip)))
    image = decode(clip, 0, 0).images[0]
    assert image.shape[:2] == (clip.height_px, clip.width_px)
    expected = np.rot90(plain, turns)
    expected = (
        expected[:, ::-1] if flip else expected
    )  # as the ffmpeg command shows it: see test_against_ffmpeg
    np.testing.assert_array_equal(image, expected)


@pytest.mark.parametrize(
    ("codec", "suffix", "pix_fmt"),
    [
        ("libx264", "mp4", "yuv420p10le"),
        ("libvpx-vp9", "webm", "yuv420p"),
        ("mjpeg", "mov", "yuvj420p"),
        ("prores_ks", "mov", "yuv422p10le"),
    ],
)
def test_codecs_and_depths(tmp_path, codec, suffix, pix_fmt):
    path = tmp_path / f"throw.{suffix}"
    clip = read_clip(write_movie(path, steady(30), codec=codec, pix_fmt=pix_fmt))
    decode_every(clip, 10_000)
    assert number_of(decode(clip, 17, 17).images[0]) == 17


def test_odd_sizes_and_a_single_frame(tmp_path):
    path = write_movie(tmp_path / "odd.mp4", [0.0], size_px=(197, 51), pix_fmt="yuv444p")
    clip = read_clip(path)
    decode_every(clip, 10_000)
    assert decode(clip, 0, 0).images.shape == (1, 51, 197, 3)


def test_a_file_that_decodes_short_is_damaged(tmp_path):
    """The container lists every frame, but the bytes of some in the middle are gone."""
    path = write_movie(tmp_path / "throw.mp4", steady(60), gop=12)
    whole = read_clip(path)
    content = bytearray(path.read_bytes())
    start = content.index(b"mdat") + int(whole.packet_bytes[:30].sum())
    content[start : start + 400] = bytes(400)
    path.write_bytes(content)
    clip = read_clip(path)
    with pytest.raises(ClipDamaged, match="damaged"):
        decode_every(clip, 10_000)


def test_who_has_seen_enough_is_told_of_damage_up_to_there_alone(tmp_path):
    path = write_movie(tmp_path / "throw.mp4", steady(60), gop=12)
    content = bytearray(path.read_bytes())
    start = content.index(b"mdat") + int(read_clip(path).packet_bytes[:30].sum())
    content[start : start + 400] = bytes(400)
    path.write_bytes(content)
    clip = read_clip(path)
    assert [frame.index for frame in stored(clip, [0, 58, 59], enough=lambda: True)] == [0]
    answers = iter([False, True])  # after 0 and after 58
    with pytest.raises(ClipDamaged, match="damaged"):
        list(stored(clip, [0, 58, 59], enough=lambda: next(answers)))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("corner", [(20, 10), (21, 11)], ids=["even", "odd"])
def test_a_sharp_square_is_that_part_of_the_whole_picture(tmp_path, turns, mirrored, corner):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60)))
    if turns % 2:
        clip = replace(clip, width_px=clip.height_px, height_px=clip.width_px)
    clip = replace(clip, turns=turns, mirrored=mirrored)
    (left, top), index = corner, np.array([3, 5, 8])
    square = Square(left=left, top=top, right=left + 18, bottom=top + 14, scale=1.0)
    for frame in stored(clip, index):
        whole = decode(clip, frame.index, frame.index).images[0]
        assert np.array_equal(frame.part(square).rgb(), whole[top : top + 14, left : left + 18])
        assert np.array_equal(
            frame.whole(0.5).rgb(), decode(clip, frame.index, frame.index, scale=0.5).images[0]
        )


def test_a_square_may_be_held_smaller_than_it_is(tmp_path):
    clip = read_clip(write_movie(tmp_path / "throw.mp4", steady(60)))
    square = Square(left=0, top=0, right=40, bottom=20, scale=0.5)
    assert next(stored(clip, [7])).part(square).rgb().shape == (10, 20, 3)
    odd = next(stored(clip, [7])).part(replace(square, scale=0.47)).rgb()
    assert odd.shape == (10, 18, 3)  # even sides, of which RGB is quickly made


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize(
    "edges",
    [
        pytest.param((10, 6, 28, 24), id="two columns more than sixteen"),
        pytest.param((6, 8, 26, 30), id="four more"),
        pytest.param((0, 0, 48, 64), id="up to the edge"),
        pytest.param((7, 3, 20, 40), id="odd"),
    ],
)
def test_a_part_is_the_same_in_rgb_as_in_the_whole(tmp_path, turns, mirrored, edges):
    clip = replace(read_clip(write_movie(tmp_path / "throw.mp4", steady(2))), turns=turns, mirrored=mirrored)
    frame = av.VideoFrame(66, 66, "yuv420p")
    for plane in frame.planes:
        plane.update(np.random.default_rng(3).integers(16, 235, plane.buffer_size, np.uint8).tobytes())
    picture, (left, top, right, bottom) = Reduced(clip=clip, frame=frame), edges
    part = picture.rgb_of(*edges)[..., :3]
    assert np.array_equal(part, picture.rgb()[top:bottom, left:right])


@pytest.mark.parametrize("kind", ["yuv420p", "yuvj420p", "yuv444p"])
def test_brightness_is_that_of_the_colours(tmp_path, kind):
    clip = replace(read_clip(write_movie(tmp_path / "throw.mp4", steady(2))), turns=1)
    y, x = np.mgrid[0:32, 0:64]
    colours = np.stack([4 * x, 8 * y, 255 - 4 * x], axis=-1).astype(np.uint8)
    picture = Reduced(clip=clip, frame=av.VideoFrame.from_ndarray(colours).reformat(format=kind))
    expected = picture.rgb() @ [0.299, 0.587, 0.114]
    assert picture.grey().shape == (64, 32)
    assert picture.grey() == pytest.approx(expected, abs=4)
