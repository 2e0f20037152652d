"""Clips' clocks held against the flight unit, from what a logbook keeps of each clip."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from release.camera.ball_speed import check_clock
from release.camera.result import FieldCamera
from release.clip.read import read_clip
from release.clock_check import clock_checks, clock_sentences
from release.field_camera import Stand
from release.seen_ball import flown_ball
from release.settings import Settings
from release.throw_search import SLOWDOWNS, find_throw

SAMPLE = Path(__file__).parents[1] / "sample_clips"

MPH = 0.44704  # m/s, exact by definition


def base(mph: float, slowdown: float | None) -> dict:
    return {"slowdown": slowdown, "source": "x", "why": "", "ball_m_s": mph * MPH, "ball_sd_m_s": 0.5}


def test_each_clip_is_held_against_its_own_ball():
    table = pd.DataFrame(
        {"clip": ["right", "slowed", "unknown", "unseen", "alone"], "speed_mph": [85, 85, 84, 80, np.nan]}
    )
    bases = {
        "right": base(85, 1.0),
        "slowed": base(85 / 8, 1.0),
        "unknown": base(84 / 8, None),
        "unseen": {"slowdown": 1.0, "source": "x", "why": ""},  # as kept before there was such a thing
        "alone": base(80, 1.0),
    }
    checks = clock_checks(table, bases)
    assert {clip: check.verdict for clip, check in checks.items()} == {
        "right": "agrees",
        "slowed": "contradicts",
        "unknown": "fills",
    }
    lines = clock_sentences(checks, {clip: f"{clip}.mp4" for clip in checks})
    assert "1 of 3 clips" in lines[0]
    assert "in slowed.mp4 the ball contradicts" in lines[1]
    assert "8.0 times would fit" in lines[1]
    assert "in unknown.mp4 the ball tells" in lines[2]
    assert lines[2].endswith("slowed 8 times.")


def test_a_clock_filled_in_by_the_ball_is_not_called_confirmed_by_it():
    table = pd.DataFrame({"clip": ["a", "b"], "speed_mph": [85, 85]})
    checks = clock_checks(table, {"a": base(85, 1.0), "b": base(85 / 8, 8.0)})
    told, confirmed = clock_sentences(checks, {"a": "a.mp4", "b": "b.mp4"}, {"b"})
    assert "in b.mp4 the ball told the clip's clock, which was unknown" in told
    assert "in 1 of 2 clips" in confirmed


def test_without_flights_nothing_is_said():
    assert clock_checks(pd.DataFrame({"clip": ["a"]}), {"a": base(85, 1.0)}) == {}


@pytest.mark.system
@pytest.mark.parametrize(
    ("name", "stated", "verdict"),
    [
        ("throw_01", 1.0, "agrees"),
        ("slowed", 8.0, "agrees"),
        ("slowed", 1.0, "contradicts"),
        ("slowed", None, "fills"),
    ],
)
def test_the_ball_of_a_sample_clip_tells_its_clock(name, stated, verdict):
    truth = json.loads((SAMPLE / f"{name}.truth.json").read_text())
    turn, offset = np.array(truth["R"]), np.array(truth["t"])
    camera = FieldCamera(
        rotation=turn,
        position_m=-turn.T @ offset,
        focal_px=truth["K"][0][0],
        size_px=(truth["width"], truth["height"]),
        covariance=np.zeros((7, 7)),
        reprojection_px=0.0,
        source="marks",
    )
    clip = read_clip(SAMPLE / f"{name}.mp4")
    close, release = find_throw(clip, Settings())
    clocks_s = [clip.presentation_s / slowdown for slowdown in SLOWDOWNS]
    flown = flown_ball(close.ball, close.hand, clocks_s, release.frame_index)
    seen = Stand(camera=camera).ball_speed(clip.presentation_s, flown)
    assert check_clock(seen, truth["ball_speed_m_s"] / MPH, stated).verdict == verdict
