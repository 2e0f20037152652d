"""Where the camera stands, from marks whose places are known.

In:   marks with their places in the field and in the picture, what else is known of the camera.
Out:  the likeliest camera with its covariance; CameraRefused where the marks do not tell.

OpenCV's PnP gives every start; the last word has one weighted least squares over turn, place and focal
length at once, so that click errors reach all of them. Of the solutions a flat set of marks leaves open, only
a camera above ground whose picture is upright counts.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from scipy.special import chdtri  # scipy.stats holds 25 MB and takes 0.4 s to load

from release.camera.result import FieldCamera
from release.errors import CameraRefused

Array = NDArray[np.float64]

CLICK_SD_PX = 2.0  # a mark clicked by hand, per axis
# Phones reach from half the picture's longer side (wide lens) to eight times it (zoomed). No source.
FOCAL_SIDES, FOCAL_LOG_SD = 2.0, 0.7
# Nine tripods of ten stand 2 to 25 m from the rubber (common practice, no source). Far marks through a
# long lens leave the distance open, down to a camera that touches the nearest mark; they leave the turn sure.
FAR_M, FAR_LOG_SD = 7.0, 0.77
GIVEN_LOG_SD = 0.02  # of a field of view that was given
FOCAL_STARTS = np.geomspace(0.6, 7.0, 9)
FEWEST = 4
LINE_M = 0.03  # root summed square off the line: less is one line
TRIED = 4  # starts of each kind, the nearest first
AS_LIKELY = 9.0  # of two cameras whose costs differ by less (odds of 1 to 90), neither is taken
APART_DEG, APART_SHARE = 8.0, 0.25  # two cameras are two where turned or moved apart by so much
LEVEL_M = 0.6  # the lowest ground a tripod stands on, below the rubber
NOT_FIXED_DEG = 25.0  # a camera whose turn is less sure is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of a camera beside its marks."""

    size_px: tuple[int, int]
    click_sd_px: float = CLICK_SD_PX
    focal_px: float | None = None
    focal_log_sd: float = GIVEN_LOG_SD
    horizon_px: Array | None = None  # shape (h, 2), points of the far level horizon
    facing_deg: float | None = None  # where it looks, seen from above, as declared
    facing_sd_deg: float = 12.0
    height_m: float | None = None  # of the lens above the rubber's level, within 5 cm
    distance_m: float | None = None  # from the lens to the rubber along the ground, within 5 %


@dataclass(frozen=True, slots=True, kw_only=True)
class _Start:
    rotation: Array
    position_m: Array
    focal_px: float


def solve_camera(names: Sequence[str], places_m: Array, clicked_px: Array, known: Known) -> FieldCamera:
    """The camera that sees the marks where they were clicked.

    Args:
        names: Of the n marks, for messages.
        places_m: Shape (n, 3), field frame.
        clicked_px: Shape (n, 2), upright picture.

    Raises:
        CameraRefused: Too few marks, in one line, mislabelled, mirrored, or open between two cameras.
    """
    _enough(places_m, clicked_px, known)
    given = (places_m, clicked_px, known)
    starts = sorted(_starts(*given), key=lambda s: float(np.sum(_residual(np.zeros(7), s, *given) ** 2)))
    likely = [[s for s in starts if _stands(s) == stands][:TRIED] for stands in (True, False)]
    fits = [_refined(s, *given) for s in likely[0] + likely[1]]
    fits = sorted((f for f in fits if f is not None), key=lambda f: f[0])
    if not fits:
        raise CameraRefused(
            "no camera has all these marks in front of it there", "Look whether marks are named wrongly"
        )
    upright = [f for f in fits if _stands(f[1])]
    if not upright or fits[0][0] < upright[0][0] - 4 * AS_LIKELY:
        raise CameraRefused(
            "only a camera below the ground or upside down sees the marks there",
            "Left and right are the pitcher's when facing home: look whether two names are swapped",
        )
    cost, best = upright[0]
    _fits_well(names, places_m, clicked_px, best, known)
    if any(c - cost < AS_LIKELY and _apart(best, other) for c, other in upright[1:]):
        raise CameraRefused(
            "two different cameras see these marks equally well",
            "Add a mark off the ground (a stick's top) or far from the others, or the field of view",
        )
    return _with_covariance(best, places_m, clicked_px, known)


def _enough(places_m: Array, clicked_px: Array, known: Known) -> None:
    horizon = 0 if known.horizon_px is None else len(known.horizon_px)
    if len(places_m) + horizon < FEWEST or len(places_m) < 2:
        raise CameraRefused(
            f"{len(places_m) + horizon} marks are too few, it takes {FEWEST}", "Click more marks"
        )
    across = np.linalg.svd(places_m - places_m.mean(axis=0))[1]
    if across[1] < LINE_M and (horizon < 2 or known.facing_deg is None):
        raise CameraRefused(
            "the marks lie in one line, which leaves the camera free to turn about it",
            "Add a mark beside the line; a stick alone needs two points of the horizon and the view",
        )
    seen = np.linalg.svd(clicked_px - clicked_px.mean(axis=0))[1]
    if seen[1] < 2 * known.click_sd_px * np.sqrt(len(clicked_px)) and horizon < 2:
        raise CameraRefused(
            "the marks are seen in one line, within the error of a click",
            "Add a mark off that line, such as the top of a stick, or raise the camera",
        )


def _starts(places_m: Array, clicked_px: Array, known: Known) -> Iterator[_Start]:
    longer = max(known.size_px)
    focals = FOCAL_STARTS * longer if known.focal_px is None else np.array([known.focal_px])
    flat = np.linalg.svd(places_m - places_m.mean(axis=0))[1][2] < 1e-6 if len(places_m) > 2 else True
    for focal in focals:
        if len(places_m) >= FEWEST and np.linalg.matrix_rank(places_m - places_m.mean(axis=0), LINE_M) > 1:
            yield from _pnp(places_m, clicked_px, known, float(focal), flat)
        else:
            yield from _ring(places_m, clicked_px, float(focal), known)


def _pnp(places_m: Array, clicked_px: Array, known: Known, focal: float, flat: bool) -> Iterator[_Start]:
    width, height = known.size_px
    matrix = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    ways = (cv2.SOLVEPNP_IPPE,) if flat else (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_EPNP)
    centre = places_m.mean(axis=0)
    for way in ways:
        try:
            _, turns, shifts, _ = cv2.solvePnPGeneric(
                places_m - centre, clicked_px, matrix, np.zeros(4), flags=way
            )
        except cv2.error:  # no solution for marks that contradict each other
            continue
        for turn, shift in zip(turns, shifts, strict=True):
            rotation = Rotation.from_rotvec(turn.ravel()).as_matrix()
            yield _Start(rotation=rotation, position_m=centre - rotation.T @ shift.ravel(), focal_px=focal)


def _ring(places_m: Array, clicked_px: Array, focal: float, known: Known) -> Iterator[_Start]:
    """Cameras all round, or as declared, at the distance that the marks' size tells."""
    middle, size = places_m.mean(axis=0), np.ptp(places_m, axis=0).max()
    far = focal * size / max(np.ptp(clicked_px, axis=0).max(), 1.0)
    facings = np.arange(0, 360, 30.0) if known.facing_deg is None else np.array([known.facing_deg])
    for way in np.radians(facings):
        away = np.array([np.cos(way), np.sin(way), 0.0])
        right = np.cross(away, [0, 0, 1])
        rotation = np.stack([right, [0, 0, -1.0], away])
        seen = np.append((clicked_px.mean(axis=0) - np.array(known.size_px) / 2) / focal, 1.0) * far
        yield _Start(rotation=rotation, position_m=middle - rotation.T @ seen, focal_px=focal)


def _residual(step: Array, start: _Start, places_m: Array, clicked_px: Array, known: Known) -> Array:
    camera = _moved(start, step)
    seen = (places_m - camera.position_m) @ camera.rotation.T
    px = seen[:, :2] / np.maximum(seen[:, 2:], 0.05) * camera.focal_px + np.array(known.size_px) / 2
    found = [((px - clicked_px) / known.click_sd_px).ravel()]
    if known.horizon_px is not None and len(known.horizon_px):
        off = (known.horizon_px - np.array(known.size_px) / 2) / camera.focal_px
        ray = np.column_stack([off, np.ones(len(off))]) @ camera.rotation
        found.append(camera.focal_px * ray[:, 2] / known.click_sd_px)
    found.append(_told(camera, known))
    return np.concatenate(found)


def _told(camera: _Start, known: Known) -> Array:
    """What is known beside marks, whitened."""
    focal, sd = known.focal_px, known.focal_log_sd
    if focal is None:
        focal, sd = FOCAL_SIDES * max(known.size_px), FOCAL_LOG_SD
    found = [np.log(camera.focal_px / focal) / sd]
    if known.facing_deg is not None:
        away = camera.rotation[2]
        off = np.arctan2(away[1], away[0]) - np.radians(known.facing_deg)
        found.append(((off + np.pi) % (2 * np.pi) - np.pi) / np.radians(known.facing_sd_deg))
    if known.height_m is not None:
        found.append((camera.position_m[2] - known.height_m) / 0.05)
    far = max(float(np.hypot(*camera.position_m[:2])), 0.05)
    if known.distance_m is None:
        found.append(np.log(far / FAR_M) / FAR_LOG_SD)
    else:
        found.append((far - known.distance_m) / (0.05 * known.distance_m))
    return np.array(found)


def _moved(start: _Start, step: Array) -> _Start:
    """A small turn of the camera in field axes, a shift, a step of the focal length's logarithm."""
    turn = Rotation.from_rotvec(step[:3]).as_matrix()
    return _Start(
        rotation=start.rotation @ turn.T,
        position_m=start.position_m + step[3:6],
        focal_px=float(start.focal_px * np.exp(np.clip(step[6], -3, 3))),
    )


def _refined(start: _Start, places_m: Array, clicked_px: Array, known: Known) -> tuple[float, _Start] | None:
    given = (start, places_m, clicked_px, known)
    if not np.isfinite(_residual(np.zeros(7), *given)).all():
        return None
    # The distance sets how far a step goes, so that turn, place and focal length count alike.
    far = max(float(np.linalg.norm(places_m.mean(axis=0) - start.position_m)), 0.5)
    scale = np.array([0.1] * 3 + [0.1 * far] * 3 + [0.3])
    found = least_squares(_residual, np.zeros(7), args=given, x_scale=scale, max_nfev=60, method="trf")
    camera = _moved(start, found.x)
    ahead = ((places_m - camera.position_m) @ camera.rotation.T)[:, 2] > 0.1
    return (2 * float(found.cost), camera) if ahead.all() else None


def _stands(camera: _Start) -> bool:
    """Above the lowest ground round a mound, and with up upward in the picture."""
    return bool(camera.position_m[2] > -LEVEL_M and camera.rotation[1, 2] < 0)


def _apart(a: _Start, b: _Start) -> bool:
    turned = np.degrees(Rotation.from_matrix(a.rotation @ b.rotation.T).magnitude())
    moved = np.linalg.norm(a.position_m - b.position_m) / max(np.linalg.norm(a.position_m), 1.0)
    return bool(turned > APART_DEG or moved > APART_SHARE)


def _fits_well(
    names: Sequence[str], places_m: Array, clicked_px: Array, camera: _Start, known: Known
) -> None:
    residual = _residual(np.zeros(7), camera, places_m, clicked_px, known)
    spare = max(len(residual) - 7, 1)
    if float(residual @ residual) <= chdtri(spare, 1e-4) * 2.25:  # clicks half as wild again are let pass
        return
    miss = np.linalg.norm(residual[: 2 * len(names)].reshape(-1, 2), axis=1) * known.click_sd_px
    raise CameraRefused(
        f"the marks do not go together: {names[int(miss.argmax())]!r} is {miss.max():.0f} px off at best",
        "Look whether marks are swapped or named wrongly; left is the pitcher's left when facing home",
    )


def _with_covariance(camera: _Start, places_m: Array, clicked_px: Array, known: Known) -> FieldCamera:
    given = (camera, places_m, clicked_px, known)
    here = least_squares(_residual, np.zeros(7), args=given, max_nfev=1, jac="3-point")
    residual = _residual(np.zeros(7), *given)
    spare = max(len(residual) - 7, 1)
    wild = max(float(residual @ residual) / spare, 1.0)  # clicks worse than stated widen everything
    slopes = np.asarray(here.jac)
    information = slopes.T @ slopes
    values = np.linalg.eigvalsh(information)
    turn_sd = np.inf
    covariance = np.zeros((7, 7))
    if values[0] > 1e-9 * values[-1]:
        covariance = wild * np.linalg.inv(information)
        turn_sd = float(np.degrees(np.sqrt(np.diag(covariance)[:3].max())))
    if not turn_sd < NOT_FIXED_DEG:
        raise CameraRefused(
            "the marks hardly fix how the camera is turned",
            "Add marks far from the others, a stick's top, two points of the horizon, or the view",
        )
    miss = (residual[: 2 * len(places_m)] * known.click_sd_px).reshape(-1, 2)
    return FieldCamera(
        rotation=camera.rotation,
        position_m=camera.position_m,
        focal_px=camera.focal_px,
        size_px=known.size_px,
        covariance=covariance,
        reprojection_px=float(np.sqrt(np.mean(np.sum(miss**2, axis=1)))),
        source="marks",
    )
