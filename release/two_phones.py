"""One throw filmed by two phones: clocks brought together, one arm fitted to both."""

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, TypeVar

import numpy as np

from release.camera.result import FieldCamera
from release.clip.read import read_clip
from release.clip.read_sound import read_sound
from release.clip.result import Clip
from release.errors import ReleaseError
from release.field_camera import Stand, stand_of
from release.frames.window import frame_at, time_at
from release.instant.parting import SeenFlight, parting
from release.instant.result import ReleaseInstant
from release.landmarks.result import ArmReading, Side
from release.landmarks.side import throwing_side
from release.orientation.measure import angle_estimates
from release.orientation.place import release_place
from release.orientation.quality import flags, limits, seen_round_release
from release.orientation.read_calibration import read_factors
from release.orientation.result import Estimate, Orientation
from release.orientation.score_text import figure_lines
from release.orientation.sync import Offset, joint_curves, offset_of_curves, offset_of_fit, offset_of_sound
from release.orientation.together import TOO_FAR, Pair, Together
from release.orientation.write_look import look_row
from release.pipeline import (
    FEWEST_FLOWN,
    Fitted,
    Measured,
    ThrowMeasurement,
    find_release,
    fit_throw,
    held_path,
    measuring,
    nearest_row,
    seen_flight,
)
from release.settings import Partner, Settings
from release.throw_search import Close, fastest_moment, until

T = TypeVar("T")

SOUND_HZ = 16_000
NEAR_S = 0.012  # searched this far to both sides of the likeliest of the first guesses
GUESSES_APART_S = 0.003
OPEN_SD_S = 0.03  # of a release taken to be at the wrist's fastest moment; common practice, no source
OPEN_REACH_S = 3 * OPEN_SD_S
SOUND_WAY_S = 0.06  # sound from 20 m farther away: a guess by sound farther off is another bang


@dataclass(frozen=True, slots=True, kw_only=True)
class PairMeasurement:
    """One throw as measured from two clips, or why it was refused."""

    clips: tuple[str, str]
    throws: Literal["R", "L"] | None
    release: ReleaseInstant | None  # on the first clip's frames
    offset: Offset | None  # what to add to the second clip's clock to get the first's
    misfit: float | None  # what the readings lose by being fitted together, per frame
    orientation: Orientation | None
    refused: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """One clip of the two, read and fitted alone."""

    clip: Clip
    stand: Stand
    close: Close
    release: ReleaseInstant
    fitted: Fitted
    released: bool = True  # whether the ball is seen leaving; else the other clip tells when it does


def measure_pair(
    paths: tuple[Path, Path],
    cameras: tuple[Path, Path],
    settings: tuple[Settings, Settings] = (Settings(), Settings()),
) -> PairMeasurement:
    """Measure one throw from two clips that nobody synchronised.

    Args:
        paths: The clips; any two frame rates.
        cameras: A camera file for each, with marks.
        settings: For each clip; the camera in them is not looked at.

    Raises:
        ClipError: A file cannot be read as a video.
        CameraUnreadable: A camera file cannot be used.
    """
    first, second = (replace(s, camera=camera) for s, camera in zip(settings, cameras, strict=True))
    names = (paths[0].name, paths[1].name)
    return _of_both(names, paths, (first, second), [_look(paths[0], first), _look(paths[1], second)])


def measuring_together(
    path: Path, settings: Settings, *, found: tuple[Close, ReleaseInstant] | None = None
) -> Generator[str, None, Measured]:
    """`pipeline.measuring`; where the settings name a partner, the figures are those of both clips together.

    A pair that does not fit keeps this clip's own figures, and why. Picture, points and the arm over time are
    always its own.
    """
    partner = settings.partner
    alone = yield from measuring(path, replace(settings, partner=None), found=found)
    if partner is None or alone.found is None or alone.fitted is None:
        return alone
    yield "fitting both phones"
    clip, (close, release) = alone.measured.clip, alone.found
    stand = stand_of(clip, view=None, camera=settings.camera)
    own = _Seen(clip=clip, stand=stand, close=close, release=release, fitted=alone.fitted)
    looks = [own, _look(partner.path, partner.settings)]
    pair = _of_both(("this clip", "the other"), (path, partner.path), (settings, partner.settings), looks)
    if pair.refused is not None:
        return replace(alone, measured=kept_apart(alone.measured, partner, pair.refused))
    # The side that it was linked by stays its own, or the next linking might part what is fitted here.
    measured = replace(
        alone.measured, release=pair.release, orientation=pair.orientation, partner=partner.path.name
    )
    return replace(alone, measured=measured)


def asked_together(ask: Callable[[Settings], T], settings: Settings) -> tuple[T, str | None]:
    """What is answered; where a pair cannot be measured, what is answered for the clip by itself, and why.

    Raises:
        ReleaseError: Nor can the clip by itself.
    """
    try:
        return ask(settings), None
    except ReleaseError as error:
        if settings.partner is None:
            raise
        return ask(replace(settings, partner=None)), str(error)


def kept_apart(alone: ThrowMeasurement, partner: Partner, why: str) -> ThrowMeasurement:
    """A clip with its own figures, and why they are not those of both phones."""
    orientation = alone.orientation
    if orientation is not None:
        flagged = (*orientation.flagged, f"not fitted together with the other phone's clip: {why}")
        orientation = replace(orientation, flagged=flagged)
    return replace(alone, orientation=orientation, partner=partner.path.name, apart=why)


def _of_both(
    names: tuple[str, str],
    paths: tuple[Path, Path],
    settings: tuple[Settings, Settings],
    looks: Sequence[_Seen | str],
) -> PairMeasurement:
    seen: list[_Seen] = []
    for at, one in enumerate(looks):
        other = looks[1 - at]
        if isinstance(one, str) and not isinstance(other, str):
            one = _look_unreleased(paths[at], settings[at], other) or one
        if isinstance(one, str):
            return _refused(names, f"{names[at]}: {one}")
        seen.append(one)
    if seen[0].close.hand.side != seen[1].close.hand.side:
        side, _ = throwing_side(*(_until_release(s) for s in seen))
        at = next(k for k, s in enumerate(seen) if s.close.hand.side != side)
        again = _look(paths[at], replace(settings[at], throws=side))
        if isinstance(again, str):
            return _refused(names, f"{names[at]}: {again}")
        seen[at] = again
    return _fitted_together(names, seen[0], seen[1])


def _until_release(seen: _Seen) -> ArmReading:
    time_s = seen.clip.presentation_s / seen.fitted.slowdown
    return until(seen.close.arm, time_s, time_at(seen.release.frame_index, time_s))


def _look(path: Path, settings: Settings) -> _Seen | str:
    clip = read_clip(path, slowdown=settings.slowdown, capture_fps=settings.capture_fps)
    stand = stand_of(clip, view=None, camera=settings.camera)
    if stand.camera is None:
        return stand.why_not
    found = find_release(clip, settings)
    if isinstance(found, str):
        return found
    close, release = found
    fitted = fit_throw(clip, close, release, settings.pins, stand)
    return _Seen(clip=clip, stand=stand, close=close, release=release, fitted=fitted)


def _look_unreleased(path: Path, settings: Settings, other: _Seen) -> _Seen | None:
    """A clip that does not show the ball leaving, read round the wrist's fastest moment; None if in vain."""
    clip = read_clip(path, slowdown=settings.slowdown, capture_fps=settings.capture_fps)
    fastest = fastest_moment(clip)
    if fastest is None:
        return None
    throws = other.close.hand.side
    seen = _look(path, replace(settings, release_frame=fastest, throws=throws))
    return None if isinstance(seen, str) else _released_at(replace(seen, released=False), fastest)


def _released_at(seen: _Seen, frame: float) -> _Seen:
    """The clip fitted with its release there, which the clip itself leaves open."""
    interval_s = float(np.median(np.diff(seen.clip.presentation_s))) / seen.fitted.slowdown
    release = replace(seen.release, frame_index=frame, sd_frames=OPEN_SD_S / interval_s, source="ball")
    fitted = fit_throw(seen.clip, seen.close, release, stand=seen.stand)
    return replace(seen, release=release, fitted=fitted)


def _released_as(seen: _Seen, release_s: float) -> _Seen:
    """The clip with the release that the other one tells, on its own clock."""
    frame = frame_at(release_s, seen.clip.presentation_s / seen.fitted.slowdown)
    return replace(_released_at(seen, frame), released=True)


def _fitted_together(names: tuple[str, str], a: _Seen, b: _Seen) -> PairMeasurement:
    assert a.stand.camera is not None
    assert b.stand.camera is not None
    side = a.close.hand.side
    pair = Pair((a.fitted.window, b.fitted.window), (a.stand.camera, b.stand.camera), a.fitted.arm.release_s)
    costs = {guess: pair.fit(guess)[0].cost for guess in _guesses(a, b)}
    guess = min(costs, key=lambda g: costs[g])
    offset = offset_of_fit(lambda s: pair.fit(s)[0].cost, guess, NEAR_S)
    if offset is None:
        return _refused(
            names, "the two clips cannot be brought onto one clock: they may show different throws"
        )
    if not a.released:
        return _fitted_together(names, _released_as(a, b.fitted.arm.release_s + offset.offset_s), b)
    if not b.released:
        return _fitted_together(names, a, _released_as(b, a.fitted.arm.release_s - offset.offset_s))
    both = pair.together(offset.offset_s)
    release_s, release_sd_s = _one_release(a, b, offset, both)
    pair.let_go(release_s, offset.offset_s)
    both = pair.together(offset.offset_s)
    if both.misfit > TOO_FAR:
        return _refused(
            names,
            f"the two clips do not show one throw, or a camera is wrong (misfit {both.misfit:.1f}, "
            f"at most {TOO_FAR:g})",
            misfit=both.misfit,
            offset=offset,
        )
    figures: Mapping[str, Estimate] = angle_estimates(
        both.arm, side, release_sd_s=release_sd_s, heading=both.heading, factors=read_factors()
    ) | release_place(both.arm, side, both.cameras[0], release_sd_s=release_sd_s)
    near = nearest_row(a.close, a.release)
    doubtful = a.close.side_doubtful and b.close.side_doubtful
    looks = seen_round_release(a.close.hand, a.fitted.window, both.arm, near, side_doubtful=doubtful)
    said = (*flags(looks), *a.stand.said, *b.stand.said)
    return PairMeasurement(
        clips=names,
        throws=side,
        release=_on_first(a, b, release_s, release_sd_s),
        offset=offset,
        misfit=both.misfit,
        orientation=Orientation(figures=figures, limits=limits(looks), flagged=said),
        refused=None,
    )


def _guesses(a: _Seen, b: _Seen) -> list[float]:
    """First guesses of the offset: by the two releases, by the joints' curves, by sound.

    Where one clip does not show its release, all round the moment that was taken for it.
    """
    by_release = a.fitted.arm.release_s - b.fitted.arm.release_s
    one, two = a.fitted.arm, b.fitted.arm
    by_joints = offset_of_curves(
        one.path_s,
        joint_curves(one.path_m, one.path_s),
        two.path_s,
        joint_curves(two.path_m, two.path_s),
        guess_s=by_release,
        reach_s=0.04,
    )
    guesses = [by_release]
    if by_joints is not None:
        guesses.append(by_joints.offset_s)
    if not (a.released and b.released):  # its arm alone may have been fitted to another part of the throw
        open_s = np.arange(-OPEN_REACH_S, OPEN_REACH_S + NEAR_S, 2 * NEAR_S)
        guesses.extend((by_release + open_s).tolist())
    by_sound = _sound_offset(a.clip, b.clip)
    if by_sound is not None and abs(by_sound - by_release) < SOUND_WAY_S:
        guesses.append(by_sound)
    kept: list[float] = []
    for guess in guesses:
        if all(abs(guess - k) > GUESSES_APART_S for k in kept):
            kept.append(guess)
    return kept


def _sound_offset(a: Clip, b: Clip) -> float | None:
    """By sound where both clips have a track and play in real time: slowed sound is slowed too."""
    if not (a.has_sound and b.has_sound and a.time_base.slowdown == b.time_base.slowdown == 1.0):
        return None
    found = offset_of_sound(read_sound(a.path, SOUND_HZ), read_sound(b.path, SOUND_HZ), SOUND_HZ)
    return None if found is None else found.offset_s


def _one_release(a: _Seen, b: _Seen, offset: Offset, both: Together) -> tuple[float, float]:
    """The release on the first clock, by what both clips show of hand and ball; a person's word holds.

    The hand's frames of each clip tell it; then both clips' view of the ball's flight against the one arm.
    """
    chosen = [_is_chosen(seen) for seen in (a, b)]
    told = [_told(a, 0.0, 0.0), _told(b, offset.offset_s, offset.sd_s)]
    if any(chosen):
        return _counted([t for t, is_chosen in zip(told, chosen, strict=True) if is_chosen])
    flights = [
        in_first(seen_flight(seen.clip, seen.close, seen.fitted), seen.close.hand.side, both.cameras, n)
        for n, seen in enumerate((a, b))
    ]
    later = [0.0, offset.offset_s]
    flights = [
        replace(flight, time_s=flight.time_s + s)
        for flight, s in zip(flights, later, strict=True)
        if len(flight.time_s) >= FEWEST_FLOWN
    ]
    return parting(held_path(both.arm), flights, _counted(told))


def _told(seen: _Seen, later_s: float, later_sd_s: float) -> tuple[float, float]:
    """The release by a clip's own frames of the hand, on the first clock, with its uncertainty."""
    release = seen.close.told or seen.release
    time_s = seen.clip.presentation_s / seen.fitted.slowdown
    sd_s = release.sd_frames * float(np.median(np.diff(time_s)))
    return time_at(release.frame_index, time_s) + later_s, float(np.hypot(sd_s, later_sd_s))


def _counted(told: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The mean of times with its uncertainty, each counted by its certainty."""
    at, sd = np.array(told).T
    worth = 1 / sd**2
    # Where they differ by more than they say, that counts instead.
    spread = float(np.sqrt(max(np.ptp(at) ** 2 / np.sum(sd**2), 1.0)))
    return float(np.sum(worth * at) / np.sum(worth)), spread / float(np.sqrt(np.sum(worth)))


def in_first(seen: SeenFlight, side: Side, cameras: Sequence[FieldCamera], number: int) -> SeenFlight:
    """A flight as one of the cameras sees it, with the camera in the first one's axes.

    Args:
        seen: In the camera's own axes, in the mirror for a left arm.
        side: The throwing arm.
        cameras: In the field.
        number: Which of them saw it.
    """
    first, camera = cameras[0], cameras[number]
    mirror = np.diag([-1.0 if side == "L" else 1.0, 1.0, 1.0])
    return replace(
        seen,
        focal_px=camera.focal_px,
        rotation=mirror @ camera.rotation @ first.rotation.T @ mirror,
        place_m=mirror @ first.rotation @ (camera.position_m - first.position_m),
    )


def _is_chosen(seen: _Seen) -> bool:
    return seen.release.source == "chosen by hand"


def _on_first(a: _Seen, b: _Seen, release_s: float, sd_s: float) -> ReleaseInstant:
    slowdown = a.clip.time_base.slowdown
    own_s = a.fitted.window.time_s
    interval_s = float(np.median(np.diff(own_s)))
    frame = a.release.frame_index + (release_s - a.fitted.arm.release_s) / interval_s
    return ReleaseInstant(
        frame_index=max(frame, 0.0),
        time_s=None if slowdown is None else release_s,
        sd_frames=max(sd_s / interval_s, 1e-3),
        source="chosen by hand" if _is_chosen(a) or _is_chosen(b) else "ball",
    )


def _refused(
    names: tuple[str, str], why: str, *, misfit: float | None = None, offset: Offset | None = None
) -> PairMeasurement:
    return PairMeasurement(
        clips=names,
        throws=None,
        release=None,
        offset=offset,
        misfit=misfit,
        orientation=None,
        refused=why,
    )


def pair_lines(measured: PairMeasurement) -> list[str]:
    """What `release pair` prints."""
    names = " and ".join(measured.clips)
    if measured.orientation is None or measured.release is None or measured.offset is None:
        return [f"{names}: refused, {measured.refused}"]
    offset, sd_ms = measured.offset, 1000 * measured.offset.sd_s
    arm = "right" if measured.throws == "R" else "left"
    return [
        f"{names}: {arm} arm, release in frame {measured.release.frame_index:.2f} of the first "
        f"(sd {measured.release.sd_frames:.2f})",
        f"  the second clip's clock runs {1000 * offset.offset_s:+.2f} ms behind (sd {sd_ms:.2f}); "
        f"misfit {measured.misfit:.2f} of {TOO_FAR:g} allowed",
        *figure_lines(measured.orientation),
    ]


def pair_row(measured: PairMeasurement) -> dict[str, str]:
    """The row of the CSV, under the first clip's frames."""
    return look_row(" + ".join(measured.clips), measured.release, measured.orientation, measured.refused)
