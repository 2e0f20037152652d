"""A session drawn, not filmed: two invented athletes, a slider under two cues in eight blocks of two."""

import cv2
import numpy as np
import pandas as pd

from release.views.result import ArmDrawing, ReleasePicture

CUES = ("through the target", "turn the doorknob")
SWAP = (0, 1, 1, 0, 1, 0, 0, 1)  # the cue of each block


def throws(*, swap: float = 20.0) -> pd.DataFrame:
    """The first athlete's forearm turns by `swap` degrees under the second cue; the other's does not."""
    rng = np.random.default_rng(4)
    rows = []
    for athlete, turned_deg in (("B-07", swap), ("B-12", 0.0)):
        for i in range(16):
            cue = SWAP[i // 2]
            turn = -turned_deg * cue
            rows.append(
                {
                    "athlete": athlete,
                    "pitch": "slider",
                    "throw": i + 1,
                    "cue": CUES[cue],
                    "block": i // 2 + 1,
                    "forearm_rotation_deg": -18 + turn + rng.normal(0, 4),
                    "forearm_rotation_deg_sd": 4.0 + rng.uniform(0, 2),
                    "palm_turn_deg": -40 + turn + rng.normal(0, 4),
                    "palm_turn_deg_sd": 6.0,
                    "wrist_flexion_deg": -12 + rng.normal(0, 3),
                    "wrist_flexion_deg_sd": 3.5,
                    "wrist_deviation_deg": 6 + rng.normal(0, 3),
                    "wrist_deviation_deg_sd": 3.0,
                    "elbow_flexion_deg": np.nan if i == 5 else 31 + rng.normal(0, 3),
                    "elbow_flexion_deg_sd": 5.0,
                    "speed_mph": 82.4 + rng.normal(0, 0.8),
                    "horizontal_break_in": 9 - 0.25 * turn + rng.normal(0, 1.2),
                    "induced_vertical_break_in": 2 + 0.15 * turn + rng.normal(0, 1.2),
                }
            )
    return pd.DataFrame(rows)


def comparisons() -> pd.DataFrame:
    """What `release compare` would say of `throws`, typed in as plain rows."""
    columns = [
        "athlete",
        "pitch",
        "figure",
        "cue_a",
        "cue_b",
        "n_a",
        "n_b",
        "difference",
        "low",
        "high",
        "p",
        "answer",
        "more_throws",
    ]
    a, b = CUES
    rows = [
        (
            "B-07",
            "slider",
            "forearm_rotation_deg",
            a,
            b,
            8,
            8,
            -19.6,
            -26.2,
            -13.1,
            0.0286,
            "changed",
            np.nan,
        ),
        ("B-07", "slider", "wrist_flexion_deg", a, b, 8, 8, 1.2, -3.0, 5.4, 0.60, "cannot tell yet", 14),
        ("B-07", "slider", "horizontal_break_in", a, b, 8, 8, 4.9, 3.1, 6.6, 0.0286, "changed", np.nan),
        (
            "B-07",
            "slider",
            "induced_vertical_break_in",
            a,
            b,
            8,
            8,
            -3.0,
            -4.9,
            -1.2,
            0.0286,
            "changed",
            np.nan,
        ),
        ("B-07", "slider", "speed_mph", a, b, 8, 8, -0.1, -0.7, 0.5, 0.74, "no meaningful change", np.nan),
        (
            "B-12",
            "slider",
            "forearm_rotation_deg",
            a,
            b,
            8,
            8,
            0.4,
            -4.1,
            4.9,
            0.86,
            "no meaningful change",
            np.nan,
        ),
        ("B-12", "slider", "horizontal_break_in", a, b, 8, 8, 0.6, -1.9, 3.1, 0.57, "cannot tell yet", 22),
    ]
    return pd.DataFrame(rows, columns=columns)


def arm(*, width: int = 640, height: int = 480, turn_deg: float = 0.0) -> ArmDrawing:
    """A forearm pointing up with the hand above it, the palm turned about it."""
    x, y = width * 0.55, height * 0.9
    turn = np.radians(turn_deg)
    palm = np.array(
        [[-np.sin(turn), 0.05, np.cos(turn)], [0.0, -1.0, 0.0], [np.cos(turn), 0.0, np.sin(turn)]]
    )
    points = {
        "shoulder": (x - 110, y + 20),
        "elbow": (x, y - 40),
        "wrist": (x + 25, y - 190),
        "index_mcp": (x + 10, y - 250),
        "middle_mcp": (x + 30, y - 255),
        "ring_mcp": (x + 46, y - 248),
        "little_mcp": (x + 60, y - 238),
        "ball": (x + 38, y - 290),
    }
    return ArmDrawing(points_px=points, points_sd_px={"wrist": 4.0, "little_mcp": 9.0}, palm=palm)


def frame(drawing: ArmDrawing | None, *, width: int = 640, height: int = 480) -> np.ndarray:
    """A flat figure on a plain ground, with a chequered disc where the head is."""
    image = np.full((height, width, 3), (96, 118, 104), np.uint8)
    image[height * 3 // 4 :] = (142, 116, 92)
    head = (width * 55 // 100 - 150, height * 9 // 10 - 120)
    yy, xx = np.mgrid[:height, :width]
    disc = np.hypot(xx - head[0], yy - head[1]) < 48
    image[disc] = np.where(((xx // 6 + yy // 6) % 2)[disc][:, None], (30, 22, 18), (232, 196, 170))
    if drawing is not None:
        p = {k: tuple(int(c) for c in v) for k, v in drawing.points_px.items()}
        cv2.line(image, p["shoulder"], p["elbow"], (60, 72, 110), 56, cv2.LINE_AA)
        cv2.line(image, p["elbow"], p["wrist"], (205, 160, 132), 40, cv2.LINE_AA)
        cv2.ellipse(image, (p["middle_mcp"], (62, 92), 5), (205, 160, 132), -1, cv2.LINE_AA)
        cv2.circle(image, p["ball"], 26, (240, 238, 230), -1, cv2.LINE_AA)
    return image


def pictures(table: pd.DataFrame) -> list[ReleasePicture]:
    return [
        ReleasePicture(
            athlete=row.athlete,
            pitch=row.pitch,
            throw=row.throw,
            cue=row.cue,
            image=frame(drawing := arm(turn_deg=row.forearm_rotation_deg)),
            drawing=drawing,
            flags=("the two hand models differ by 21°",) if row.throw == 5 else (),
        )
        for row in table.itertuples()
    ]
