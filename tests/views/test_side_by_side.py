"""Two release moments beside each other: together at release, nobody's face, no word of the film."""

from dataclasses import replace

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from release.errors import OutputUnwritable
from release.views.result import ArmDrawing
from release.views.write_side_by_side import (
    BAR_PX,
    DRAWN,
    HOLD_S,
    KEY_PX,
    PICTURES_PER_S,
    ReleaseMoment,
    _cut,
    _moved,
    _panels,
    write_side_by_side,
)


def moment(fps: float, colour: tuple[int, int, int]) -> ReleaseMoment:
    """A fine checked wall, an arm across it, and a coloured spot in the hand at release only."""
    time_s = np.arange(-12, 13) / fps
    wall = np.kron((np.indices((120, 160)).sum(axis=0) % 2) * 255, np.ones((3, 3))).astype(np.uint8)
    images = np.repeat(np.dstack([wall] * 3)[None], len(time_s), axis=0)
    cv2.circle(images[12], (300, 120), 14, colour, -1)
    drawing = ArmDrawing(
        points_px={
            "shoulder": (160.0, 300.0),
            "elbow": (230.0, 220.0),
            "wrist": (280.0, 140.0),
            "middle_mcp": (300.0, 120.0),
        },
        points_sd_px={},
        palm=np.eye(3),
    )
    return ReleaseMoment(images=images, drawings=(drawing,) * len(time_s), time_s=time_s, caption="usual")


def pictures(path) -> tuple[list[np.ndarray], dict[str, str]]:
    with av.open(str(path)) as container:
        said = {**container.metadata, **container.streams.video[0].metadata}
        return [f.to_ndarray(format="rgb24") for f in container.decode(video=0)], said


def reds(picture: np.ndarray, left: bool) -> int:
    half = picture[BAR_PX:, : picture.shape[1] // 2] if left else picture[BAR_PX:, picture.shape[1] // 2 :]
    r, g, b = np.moveaxis(half.astype(int), -1, 0)
    return int(((r > 150) & (g < 60) & (b < 60)).sum())


def test_below_the_throws_stands_what_each_drawn_line_is(tmp_path):
    write_side_by_side(moment(240, (255, 0, 0)), moment(120, (255, 0, 0)), tmp_path / "two.png")
    picture = np.asarray(Image.open(tmp_path / "two.png").convert("RGB"))
    assert (picture.shape[0] % 16, picture.shape[1] % 16) == (0, 0)
    foot = picture[-KEY_PX:]
    for colour in DRAWN.values():
        assert (foot == colour).all(axis=2).sum() > 100


def test_a_240_and_a_120_fps_clip_meet_at_release(tmp_path):
    write_side_by_side(moment(240, (255, 0, 0)), moment(120, (255, 0, 0)), tmp_path / "two.mp4")
    shown, _ = pictures(tmp_path / "two.mp4")
    left, right = ([reds(p, side) > 200 for p in shown] for side in (True, False))
    assert left == right
    assert sum(left) == round(HOLD_S * PICTURES_PER_S)  # the release alone, held


def test_the_file_says_nothing_of_the_film(tmp_path):
    write_side_by_side(moment(240, (255, 0, 0)), moment(240, (255, 0, 0)), tmp_path / "two.mp4")
    _, said = pictures(tmp_path / "two.mp4")
    assert set(said) <= {"major_brand", "minor_version", "compatible_brands", "language", "handler_name"}
    write_side_by_side(moment(240, (255, 0, 0)), moment(240, (255, 0, 0)), tmp_path / "two.jpg")
    with Image.open(tmp_path / "two.jpg") as still:
        assert not still.getexif()


def test_far_from_the_hand_the_wall_is_coarse_and_at_the_hand_sharp(tmp_path):
    write_side_by_side(moment(240, (255, 0, 0)), moment(240, (255, 0, 0)), tmp_path / "two.png")
    with Image.open(tmp_path / "two.png") as still:
        picture = np.asarray(still.convert("L"), float)[BAR_PX:, :540]
    contrast = cv2.blur(np.abs(cv2.Laplacian(picture, cv2.CV_64F)), (15, 15))
    assert contrast[15:60, 15:60].mean() < 0.1 * contrast.max()


def test_where_the_head_can_be_nothing_is_clear_though_the_hand_passes_before_it(tmp_path):
    one = moment(240, (255, 0, 0))
    passing = replace(one.drawings[0], points_px={**one.drawings[0].points_px, "wrist": (170.0, 270.0)})
    late = tuple(passing if t > 0.006 else d for d, t in zip(one.drawings, one.time_s, strict=True))
    panels = _panels(replace(one, drawings=late))
    place, _ = _cut(replace(one, drawings=late))
    u, v = (round(c) for c in _moved((175.0, 250.0), place))  # beside the shoulder, where a face is
    face = cv2.cvtColor(panels[14], cv2.COLOR_RGB2GRAY)[v - 12 : v + 12, u - 12 : u + 12]
    hand = cv2.cvtColor(panels[12], cv2.COLOR_RGB2GRAY)
    sharpest = cv2.blur(np.abs(cv2.Laplacian(hand, cv2.CV_64F)), (15, 15)).max()
    assert np.abs(cv2.Laplacian(face, cv2.CV_64F)).mean() < 0.25 * sharpest


def test_the_same_throws_give_the_same_file_and_no_other_ending_is_taken(tmp_path):
    for name in ("a.mp4", "b.mp4"):
        write_side_by_side(moment(240, (255, 0, 0)), moment(240, (0, 0, 255)), tmp_path / name)
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()
    with pytest.raises(OutputUnwritable, match="\\.mp4 for a clip"):
        write_side_by_side(moment(240, (255, 0, 0)), moment(240, (0, 0, 255)), tmp_path / "a.gif")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.mp4", "b.mp4"]
