"""The sample session in an invented training barn: who throws what, when and under which cue, and its tables.

Two coded athletes throw a slider under two cues in eight blocks of two throws each, and two fastballs.
For one of them the second cue turns the forearm toward supination, for the other it changes nothing. The
ball follows the hand: its spin axis is fixed in the plane of palm and fingers (Jinji, Sakurai and Hirano,
2011, Journal of Sports Sciences 29:761-767) and flight does the rest.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta, timezone
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from release.flight.fly import fly

if TYPE_CHECKING:  # tables only: a machine that renders may lack pandas
    import pandas as pd

ZONE = timezone(timedelta(hours=-5))
START = datetime(2026, 5, 14, 15, 30, tzinfo=ZONE)
PLAIN_CUE, TURNING_CUE = "through the target", "turn the doorknob"
BLOCKS, BLOCK_THROWS, FASTBALLS = 8, 2, 2
FLIGHT_CLOCK_AHEAD_S = 252.7  # the flight unit's clock against the phone's
CUE_EFFECT_DEG = -20.0  # of forearm rotation: toward supination
THROW_SD_DEG = 3.5
INCH_M, FOOT_M, MPH_M_S = 0.0254, 0.3048, 0.44704


@dataclass(frozen=True, slots=True, kw_only=True)
class Athlete:
    """An invented pitcher: how the arm is turned at release, and what the cue does."""

    code: str
    throws: str  # R or L
    cue_effect_deg: float
    slider_rotation_deg: float
    arm_angle_deg: float
    slider_mph: float
    fastball_mph: float


ATHLETES = (
    Athlete(
        code="B-07",
        throws="R",
        cue_effect_deg=CUE_EFFECT_DEG,
        slider_rotation_deg=-46,
        arm_angle_deg=48,
        slider_mph=79,
        fastball_mph=88,
    ),
    Athlete(
        code="B-12",
        throws="L",
        cue_effect_deg=0,
        slider_rotation_deg=-52,
        arm_angle_deg=38,
        slider_mph=76,
        fastball_mph=84,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedThrow:
    """One throw of the session, before it is rendered."""

    throw: int  # running number in the session
    time: datetime  # by the phone's clock
    athlete: Athlete
    pitch: str
    cue: str
    block: int | None
    wrist_flexion_deg: float
    wrist_deviation_deg: float
    forearm_rotation_deg: float
    elbow_flexion_deg: float
    speed_m_s: float
    spin_rpm: float
    lean_deg: float  # of the spin axis in the plane of palm and fingers, from the radial axis to the fingers


def draw_order(rng: np.random.Generator) -> tuple[str, ...]:
    """Cue of each of eight blocks: one of the 70 ways to give four blocks to each cue, all alike."""
    ways = list(combinations(range(BLOCKS), BLOCKS // 2))
    turning = ways[int(rng.integers(len(ways)))]
    return tuple(TURNING_CUE if block in turning else PLAIN_CUE for block in range(BLOCKS))


def draw_session(seed: int) -> tuple[tuple[PlannedThrow, ...], tuple[str, ...]]:
    """Every throw in order, and the cue of every block; blocks are numbered through the session."""
    rng = np.random.default_rng(seed)
    order: tuple[str, ...] = ()
    throws: list[PlannedThrow] = []
    clock = START
    for athlete in ATHLETES:
        own = draw_order(rng)
        plan: list[tuple[str, str, int | None]] = [("four-seam", "", None)] * FASTBALLS
        plan += [
            ("slider", cue, len(order) + block + 1)
            for block, cue in enumerate(own)
            for _ in range(BLOCK_THROWS)
        ]
        order += own
        for pitch, cue, block in plan:
            clock += timedelta(seconds=float(rng.uniform(20, 40)))
            throws.append(_throw(len(throws) + 1, clock, athlete, pitch, cue, block, rng))
        clock += timedelta(minutes=4)
    return tuple(throws), order


def _throw(
    number: int,
    time: datetime,
    athlete: Athlete,
    pitch: str,
    cue: str,
    block: int | None,
    rng: np.random.Generator,
) -> PlannedThrow:
    slider = pitch == "slider"
    rotation = athlete.slider_rotation_deg if slider else 4.0
    rotation += athlete.cue_effect_deg if cue == TURNING_CUE else 0.0
    speed_mph = athlete.slider_mph if slider else athlete.fastball_mph
    return PlannedThrow(
        throw=number,
        time=time,
        athlete=athlete,
        pitch=pitch,
        cue=cue,
        block=block,
        wrist_flexion_deg=(18 if slider else 4) + THROW_SD_DEG * float(rng.standard_normal()),
        wrist_deviation_deg=(5 if slider else 2) + 2 * float(rng.standard_normal()),
        forearm_rotation_deg=rotation + THROW_SD_DEG * float(rng.standard_normal()),
        elbow_flexion_deg=27 + 2 * float(rng.standard_normal()),
        speed_m_s=(speed_mph + 0.8 * float(rng.standard_normal())) * MPH_M_S,
        spin_rpm=(2450 if slider else 2200) + 60 * float(rng.standard_normal()),
        lean_deg=(25 if slider else 5) + 2 * float(rng.standard_normal()),
    )


def spin_axis(palm: NDArray[np.float64], throws: str, lean_deg: float) -> NDArray[np.float64]:
    """Spin axis of a ball rolled off the fingers, fixed in the plane of palm and fingers.

    Args:
        palm: Shape (3, 3), columns r_h, d_h, p at release, field frame.
        throws: R or L. Spin is a pseudovector: mirrored throws turn it the other way round.
        lean_deg: From the radial axis toward the fingers.

    Returns:
        Shape (3,), unit, right-hand rule. A right hand behind the ball, fingers up: backspin (0, -1, 0).
    """
    lean = np.radians(lean_deg)
    axis = -np.cos(lean) * palm[:, 0] + np.sin(lean) * palm[:, 1]
    return axis if throws == "R" else -axis


def flight_row(
    planned: PlannedThrow,
    palm: NDArray[np.float64],
    ball_m: NDArray[np.float64],
    velocity_m_s: NDArray[np.float64],
    rng: np.random.Generator,
) -> dict[str, object]:
    """What a flight unit would say of one throw, in our own columns, with its measuring noise."""
    axis = spin_axis(palm, planned.athlete.throws, planned.lean_deg)
    flown = fly(ball_m, velocity_m_s, axis, planned.spin_rpm)
    glove = 1 if planned.athlete.throws == "R" else -1
    shake = rng.standard_normal(5)
    return {
        "time": planned.time + timedelta(seconds=FLIGHT_CLOCK_AHEAD_S + 0.6 + 0.5 * float(shake[0])),
        "pitch": planned.pitch,
        "speed_mph": np.linalg.norm(velocity_m_s) / MPH_M_S + 0.3 * shake[1],
        "induced_vertical_break_in": flown.induced_vertical_break_m / INCH_M + 0.4 * shake[2],
        "horizontal_break_in": glove * flown.induced_side_break_m / INCH_M + 0.4 * shake[3],
        "spin_rpm": planned.spin_rpm + 20 * shake[4],
        "spin_tilt_deg": flown.spin_tilt_deg,
        "spin_efficiency": flown.spin_efficiency,
        "release_height_ft": ball_m[2] / FOOT_M,
        "release_side_ft": -glove * ball_m[1] / FOOT_M,
        "extension_ft": ball_m[0] / FOOT_M,
    }


def sheet_table(throws: Sequence[PlannedThrow]) -> "pd.DataFrame":
    """The throw sheet as staff would keep it on a phone, in the order thrown."""
    import pandas as pd

    rows = [
        {
            "throw": t.throw,
            "time": t.time.replace(microsecond=0).isoformat(),  # a tap on the phone as the ball is caught
            "athlete": t.athlete.code,
            "throws": t.athlete.throws,
            "pitch": t.pitch,
            "cue": t.cue,
            "block": t.block,
            "grip_seams": "index and middle across the narrow seams"
            if t.pitch == "slider"
            else "across four",
            "grip_index": "flat",
            "grip_thumb": "side" if t.pitch == "slider" else "under",
            "ball": "baseball",
        }
        for t in throws
    ]
    return pd.DataFrame(rows).astype({"block": "Int64"})


def flight_table(rows: Sequence[dict[str, object]], rng: np.random.Generator) -> "pd.DataFrame":
    """The flight unit's export: two throws it missed, one ball that was nobody's throw."""
    import pandas as pd

    table = pd.DataFrame(rows)
    thrown_back = table.iloc[[len(table) // 2]].assign(speed_mph=58.3, pitch="", spin_rpm=1350.0)
    thrown_back["time"] += timedelta(seconds=11)
    missed = rng.choice(np.arange(3, len(table)), 2, replace=False)
    table = pd.concat([table.drop(index=list(missed)), thrown_back]).sort_values("time", ignore_index=True)
    table.insert(0, "flight", [f"F{i + 1:03d}" for i in range(len(table))])
    return table


def plan_toml(order: Sequence[str], seed: int) -> str:
    """How the cues were drawn: for each athlete four of eight blocks to each cue, every way alike."""
    quoted = ",\n    ".join(f'"{cue}"' for cue in order)
    return (
        f'unit = "block"\ncues = ["{PLAIN_CUE}", "{TURNING_CUE}"]\nblocks = {len(order)}\n'
        f"strata = [{', '.join([str(BLOCKS)] * len(ATHLETES))}]  # each athlete's blocks were drawn apart\n"
        f'seed = {seed}\nmain_outcome = "forearm_rotation_deg"\norder = [\n    {quoted},\n]\n'
    )


def as_record(planned: PlannedThrow) -> dict[str, object]:
    """The plan of one throw as plain values, for the truth file."""
    record = asdict(planned)
    record["athlete"] = planned.athlete.code
    record["time"] = planned.time.isoformat()
    return record
