"""Published numbers of the throwing arm that the fit leans on.

Angles in degrees here, as they are published; lengths in metres.
"""

import numpy as np

BALL_RADIUS_M = 0.0366  # circumference 9 to 9 1/4 in is 36.4 to 37.3 mm

# Joint limits as soft walls: the largest published mean range (goniometry tables after Boone and Azen
# 1979, and AAOS, AMA) with its spread; below zero is the opposite motion.
ELBOW_FLEXION_DEG = (-5.0, 150.0)
FOREARM_ROTATION_DEG = (-96.0, 96.0)
WRIST_DEVIATION_DEG = (-25.0, 41.0)
WRIST_FLEXION_DEG = (-89.0, 96.0)
LIMIT_SD_DEG = 5.0  # how softly a wall gives way

# How hard the joints are accelerated. Acceleration that keeps its sign for T and brings a joint to v has
# a spectral density of v^2 / T. Peak velocities and the 50 ms acceleration phase: Pappas et al. (1985)
# Am J Sports Med; wrist from 42 degrees extension to straight within 39 ms: Sakurai et al. (1993)
# J Appl Biomech 9:47-65, at twice the mean speed; pronation up to 3000 deg/s: from memory, wide.
ACCELERATION_PHASE_S = 0.05
SHOULDER_TURN_DEG_S = 6180.0
ELBOW_EXTENSION_DEG_S = 4595.0
PRONATION_DEG_S = 3000.0
WRIST_FLEXION_DEG_S = 2 * 42 / 0.039
WRIST_DEVIATION_DEG_S = WRIST_FLEXION_DEG_S / 2  # no source: the smaller of the wrist's two motions
SHOULDER_M_S = 4.0  # no source: the trunk carries the shoulder at a run's speed at most


def acceleration_density() -> np.ndarray:
    """Spectral density of the acceleration of each of the ten degrees of freedom of chain.py.

    Returns:
        Shape (10,): three of the shoulder's place in m^2/s^3, the rest in rad^2/s^3.
    """
    peaks = [SHOULDER_TURN_DEG_S] * 3 + [
        ELBOW_EXTENSION_DEG_S,
        PRONATION_DEG_S,
        WRIST_DEVIATION_DEG_S,
        WRIST_FLEXION_DEG_S,
    ]
    return np.array([SHOULDER_M_S] * 3 + list(np.radians(peaks))) ** 2 / ACCELERATION_PHASE_S


# Segment lengths and joint centres of the hand in hand axes (thumb side, distal, palm side): between those
# of adults by de Leva (1996) J Biomech 29:1223-1230 (upper arm 0.282, forearm 0.269, wrist to middle knuckle
# 0.086 m in men; from memory) and those of the parametric body that throws are rendered with. The spread
# holds both.
UPPER_ARM_M, FOREARM_M = 0.276, 0.255
LENGTH_SD = 0.12  # of the logarithm, each segment for itself
SIZE_SD = 0.12  # of the logarithm, the whole body
HAND_M = np.array(
    [[0.026, 0.100, 0.004], [0.0, 0.100, 0.0], [-0.020, 0.094, 0.0], [-0.040, 0.085, 0.004]]
)  # index, middle, ring, little
HAND_SD_M = 0.008
BALL_IN_HAND_M = np.array([0.010, 0.130, 0.060])  # no source: in front of the palm, before the fingers
BALL_IN_HAND_SD_M = 0.03
