"""The sample session's slider by the physics: one grip, two cues, from sweeping spin toward gyro spin.

The spin axis is taken as fixed in the hand. It is read from the balls thrown under the first cue, turned with
the hand as the truth files have it under the second, and flown; the second cue's balls are never looked at
for the prediction.

Run: .venv/bin/python tests/bench/worked_example.py [--quick]
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from release.flight.fly import fly, spin_axis_from_tilt
from release.orientation.angles import palm_frame
from release.session.read_files import link_files
from release.units import convert

SAMPLE = Path(__file__).parents[2] / "sample_clips"
ATHLETE, FIRST, SECOND = "B-07", "through the target", "turn the doorknob"
WITHIN_IN, WITHIN_GYRO_DEG = 1.5, 5.0  # the smallest changes worth having
FIGURES = ("forearm_rotation_deg", "gyro_angle_deg", "induced_vertical_break_in", "horizontal_break_in")


def throws() -> pd.DataFrame:
    """The athlete's sliders with the hand of the truth files and the ball of the flight file."""
    linked = link_files(clips=None, sheet=SAMPLE / "sheet.csv", flights=[SAMPLE / "flight.csv"])
    pairs = {row.throw: row.flight for row in linked.session.rows if row.throw and row.flight}
    sheet = linked.tables["throw"]
    flights = pd.read_csv(SAMPLE / "flight.csv").set_index("flight")
    rows = []
    for said in sheet[(sheet["athlete"] == ATHLETE) & (sheet["pitch"] == "slider")].to_dict("records"):
        if str(said["throw"]) not in pairs:
            continue
        truth = json.loads((SAMPLE / f"throw_{int(said['throw']):02d}.truth.json").read_text())["at_release"]
        at = {name: np.array(place) for name, place in truth["world"].items()}
        hand = palm_frame(at["wrist"], at["index_mcp"], at["middle_mcp"], at["little_mcp"], "R")
        ball = flights.loc[pairs[str(said["throw"])]].to_dict()
        rows.append(
            {
                "cue": said["cue"],
                "hand": hand,
                "from_m": at["ball"],
                "velocity_m_s": np.array(truth["ball_velocity_m_s"]),
                "forearm_rotation_deg": truth["angles"]["forearm_rotation"],
                "gyro_angle_deg": np.degrees(np.arccos(ball["spin_efficiency"])),
                **ball,
            }
        )
    return pd.DataFrame(rows)


def axis_in_hand(rows: pd.DataFrame) -> np.ndarray:
    """The mean spin axis of some throws, in the hand's own axes."""
    axes = [
        row.hand.T @ spin_axis_from_tilt(row.velocity_m_s, row.spin_tilt_deg, row.spin_efficiency)
        for row in rows.itertuples()
    ]
    mean = np.mean(axes, axis=0)
    return mean / np.linalg.norm(mean)


def flown(rows: pd.DataFrame, axis: np.ndarray) -> pd.DataFrame:
    """What each throw's ball would do with its spin axis fixed in the hand."""
    found = []
    for row in rows.itertuples():
        ball = fly(row.from_m, row.velocity_m_s, row.hand @ axis, row.spin_rpm)
        found.append(
            {
                "forearm_rotation_deg": row.forearm_rotation_deg,
                "gyro_angle_deg": np.degrees(np.arccos(ball.spin_efficiency)),
                "induced_vertical_break_in": convert(ball.induced_vertical_break_m, "metre", "inch"),
                # from third base toward first is the glove side of a right-hander
                "horizontal_break_in": convert(ball.induced_side_break_m, "metre", "inch"),
            }
        )
    return pd.DataFrame(found)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="as long as without")
    parser.parse_args()
    rows = throws()
    first, second = rows[rows["cue"] == FIRST], rows[rows["cue"] == SECOND]
    predicted = flown(second, axis_in_hand(first))
    print(f"{ATHLETE}, slider, one grip: {len(first)} throws “{FIRST}”, {len(second)} “{SECOND}”")
    print(f"{'mean of':26s} {'first cue':>10s} {'second cue':>11s} {'by physics':>11s}  goal, result")
    met, goals = 0, 0
    for name in FIGURES:
        a, b, p = (float(t[name].mean()) for t in (first, second, predicted))
        said = ""
        if name != "forearm_rotation_deg":
            goals += 1
            limit = WITHIN_GYRO_DEG if name.endswith("_deg") else WITHIN_IN
            off = abs(p - b)
            met += off <= limit
            said = f"within {limit:g}, {off:.1f} off"
        print(f"{name:26s} {a:10.1f} {b:11.1f} {p:11.1f}  {said}")
    print(f"{met} of {goals} goals met")
    sys.exit(0 if met == goals else 1)


if __name__ == "__main__":
    main()
