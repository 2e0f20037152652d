"""The chain's joints are the angles of the definitions, and its slopes are those of its points."""

import numpy as np
import pytest

from release.orientation import chain
from release.orientation.angles import joint_angles_deg

RNG = np.random.default_rng(7)


def some_pose(k=20):
    turn = np.linalg.qr(RNG.normal(size=(k, 3, 3)))[0]
    turn *= np.linalg.det(turn)[:, None, None]
    low, high = np.radians([15, -80, -30, -60]), np.radians([120, 80, 30, 60])
    return chain.Pose(
        shoulder_m=RNG.normal(size=(k, 3)) + np.array([0, 0, 5]),
        turn=turn,
        joints=RNG.uniform(low, high, (k, 4)),
    )


BODY = chain.Body(steps=RNG.normal(size=chain.SHARED) * 0.02)


def test_the_joints_of_the_chain_are_the_angles_of_the_definitions():
    pose = some_pose()
    posed = chain.place(pose, BODY)
    angles = joint_angles_deg(posed.upper_arm, posed.forearm, posed.palm, "R")
    names = ("elbow_flexion", "forearm_rotation", "wrist_deviation", "wrist_flexion")
    assert np.stack([angles[n] for n in names], axis=-1) == pytest.approx(np.degrees(pose.joints))


def test_a_pose_comes_back_from_its_directions():
    posed = chain.place(some_pose(), BODY)
    again = chain.place(
        chain.pose_from_directions(posed.points_m[:, 2], posed.upper_arm, posed.forearm, posed.palm, BODY),
        BODY,
    )
    assert again.points_m == pytest.approx(posed.points_m)
    assert again.palm == pytest.approx(posed.palm)


def test_slopes_are_what_small_steps_do():
    pose, h = some_pose(), 1e-6
    own, shared = chain.point_slopes(chain.place(pose, BODY), BODY)
    for dof in range(chain.DOF):
        step = np.zeros((20, chain.DOF))
        step[:, dof] = h
        ahead, behind = (chain.place(pose.moved(s * step), BODY).points_m for s in (1, -1))
        assert (ahead - behind) / (2 * h) == pytest.approx(own[..., dof], abs=1e-6)
    for parameter in range(chain.SHARED - 1):  # the focal length moves no point
        step = np.zeros(chain.SHARED)
        step[parameter] = h
        ahead, behind = (chain.place(pose, BODY.moved(s * step)).points_m for s in (1, -1))
        assert (ahead - behind) / (2 * h) == pytest.approx(shared[..., parameter], abs=1e-6)
