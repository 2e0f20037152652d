"""Stands in for the networks: reads a clip's truth and answers with errors of a stated size."""

from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from release.landmarks.result import HAND_POINTS, ArmReading, HandReading
from release.orientation.angles import palm_frame, unit
from release.orientation.kinematics import BALL_RADIUS_M
from release.orientation.read_truth import read_truth
from release.orientation.residuals import project


class TruthReader:
    """Reads one clip with truth as the networks would; in frames outside the truth nothing is found."""

    def __init__(
        self,
        truth_path: Path,
        *,
        degrees: float = 1.5,
        points: float = 0.05,
        side: float = 1.0,
        astray: range = range(0),
        hand_astray: range = range(0),
        crossed: range = range(0),
        seed: int = 0,
    ):
        self.truth = read_truth(truth_path)
        self.degrees, self.points, self.side = degrees, points, side
        # Frames in which the arm finder, or the hand model, reads the other arm, half a metre away.
        self.astray, self.hand_astray = astray, hand_astray
        self.crossed = crossed  # frames in which the arm finder calls the throwing arm the other one
        self.rng = np.random.default_rng(seed)

    def follow_arm(self, image, frame_index, scale, looks):
        return self.read_arm(image[None], np.array([frame_index]), scale)

    def read_arm(self, images, frame_index, scale):
        k, known, at = len(frame_index), *self._rows(frame_index)
        points = np.full((k, 3, 2), np.nan)
        view = np.full((k, 2), np.nan)
        upper = np.full((k, 3), np.nan)
        px, camera = self._px(at)
        points[known] = px[:, :3]
        view[known] = px[:, 1]
        true = unit(camera[:, 1] - camera[:, 0])
        upper[known] = np.einsum("kji,kj->ki", self._views(px[:, 1]), true)
        size = self._hand_px(px).mean() if len(px) else 1.0
        other = np.isin(frame_index, self.astray)
        points[other] += 6 * size
        upper[other] *= [1.0, 1.0, -1.0]
        crossed = np.isin(frame_index, self.crossed)
        return ArmReading(
            frame_index=np.asarray(frame_index),
            points_px=points + 0.1 * size * self.rng.normal(size=points.shape),
            points_cov_px2=np.tile((0.1 * size) ** 2 * np.eye(2), (k, 3, 1, 1)),
            upper_arm=self._nudged(upper),
            upper_arm_sd_deg=np.full(k, self.degrees),
            view_px=view,
            right_probability=np.where((self.truth.side == "R") ^ crossed, self.side, 1 - self.side),
            found_probability=known.astype(float),
        )

    def read_hand(self, images, frame_index, arm, side, second=True):
        k, known, at = len(frame_index), *self._rows(frame_index)
        px, camera = self._px(at)
        views = self._views(px[:, 2])
        points = np.full((k, 12, 2), np.nan)
        for row, _ in enumerate(("shoulder", "elbow", "wrist", *HAND_POINTS[2:6])):
            if row:
                points[known, row - 1] = px[:, row]
        points[known, 11] = px[:, 7]
        size = self._hand_px(px).mean() if len(px) else 1.0
        points += self.points * size * self.rng.normal(size=points.shape)
        palm = np.full((k, 3, 3), np.nan)
        noise = Rotation.from_rotvec(
            np.radians(self.degrees) * self.rng.normal(size=(len(px), 3))
        ).as_matrix()
        true = palm_frame(camera[:, 2], camera[:, 3], camera[:, 4], camera[:, 6], side)
        palm[known] = noise @ views.transpose(0, 2, 1) @ true
        forearm = np.full((k, 3), np.nan)
        forearm[known] = np.einsum("kji,kj->ki", views, unit(camera[:, 2] - camera[:, 1]))
        view, radius = np.full((k, 2), np.nan), np.full(k, np.nan)
        view[known] = px[:, 2]
        radius[known] = self.truth.camera_matrix[0, 0] * BALL_RADIUS_M / camera[:, 7, 2]
        after = np.asarray(frame_index) - (self.truth.release_frame or 0.0)
        points[after > 0, 11], radius[after > 0] = np.nan, np.nan  # what is drawn then stays in the hand
        other = np.isin(frame_index, self.hand_astray)
        points[other] += 6 * size
        after[other] = np.inf
        return HandReading(
            frame_index=np.asarray(frame_index),
            side=side,
            points_px=points,
            points_cov_px2=np.tile((self.points * size) ** 2 * np.eye(2), (k, 12, 1, 1)),
            ball_radius_px=radius,
            ball_radius_sd_px=0.05 * radius,
            palm=palm,
            palm_cov_rad2=np.tile(np.radians(self.degrees) ** 2 * np.eye(3), (k, 1, 1)),
            palm_view_px=view,
            forearm=self._nudged(forearm),
            forearm_sd_deg=np.full(k, self.degrees),
            upper_arm=np.full((k, 3), np.nan),
            upper_arm_sd_deg=np.full(k, np.nan),
            forearm_view_px=view,
            view_px=view,
            held_probability=np.where(known, 1 / (1 + np.exp(np.clip(after / 0.3, -50, 50))), np.nan),
            unfamiliarity=np.full(k, 0.5),
            second_opinion_deg=np.full(k, np.nan),
            second_opinion_sd_deg=np.full(k, np.nan),
        )

    def _rows(self, frame_index):
        if self.truth.frames is None:
            return np.zeros(len(frame_index), bool), np.zeros(0, int)
        known = np.isin(frame_index, self.truth.frames.frame_index)
        return known, np.searchsorted(self.truth.frames.frame_index, np.asarray(frame_index)[known])

    def _px(self, at):
        if self.truth.frames is None:
            return np.zeros((0, 8, 2)), np.zeros((0, 8, 3))
        frames = self.truth.frames
        world = np.stack(list(frames.points_m.values()), axis=1)[at]
        camera = np.einsum("kij,kpj->kpi", frames.rotation[at], world) + frames.offset_m[at, None]
        K = self.truth.camera_matrix
        return project(camera, K[0, 0], (K[0, 2], K[1, 2])), camera

    def _views(self, points_px):
        K = self.truth.camera_matrix
        ray = np.column_stack([(points_px - K[:2, 2]) / K[0, 0], np.ones(len(points_px))])
        return shortest_turn_to(unit(ray))

    def _hand_px(self, px):
        return np.linalg.norm(px[:, 4] - px[:, 2], axis=1)

    def _nudged(self, direction):
        return unit(direction + np.radians(self.degrees) * self.rng.normal(size=direction.shape))


def shortest_turn_to(ray):
    """Rotations (k, 3, 3) that take z to each ray by the shortest way."""
    axis = np.cross([0.0, 0.0, 1.0], ray)
    sine = np.linalg.norm(axis, axis=1, keepdims=True)
    angle = np.arctan2(sine, ray[:, 2:])
    return Rotation.from_rotvec(axis / np.maximum(sine, 1e-12) * angle).as_matrix()
