"""Read camera.toml: the marks clicked, what is known beside them, and the camera once it is solved."""

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast, get_args

import cv2
import numpy as np
from numpy.typing import NDArray

from release.camera.field import Field, places_m
from release.camera.pose import CLICK_SD_PX, GIVEN_LOG_SD, Known, solve_camera
from release.camera.result import FieldCamera, View
from release.camera.view import HEADING_SD_DEG, facing_deg
from release.errors import CameraUnreadable

Array = NDArray[np.float64]

NUMBERS = {
    *("height_m", "distance_m", "field_of_view_deg", "click_sd_px", "width_px", "height_px"),
    *("plate_back_ft", "mound_height_in", "stick_m", "stick_x_m", "stick_y_m"),
}
# 35 mm film is 36 mm wide. Where equal diagonals are meant (43.3 mm), a 4:3 or 16:9 picture is 34.6 to
# 37.7 mm wide on it; steadying the picture crops more of it (about a tenth, assumed).
FILM_WIDE_MM, FILM_LOG_SD = 36.0, 0.1
WORDS = {"view", "throws", "picture", "marks", "solved"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One mark as clicked."""

    name: str
    px: tuple[float, float]
    place_m: tuple[float, float, float] | None  # given in the file; None: a named place of the field


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraFile:
    """What a camera.toml says."""

    path: Path
    field: Field
    view: View | None
    throws: str  # R or L: which side is open
    numbers: Mapping[str, float]
    marks: Sequence[Mark]
    picture: str | None  # the frame the marks were clicked in, beside the file
    solved: FieldCamera | None


def read_camera(path: Path) -> CameraFile:
    """Read a camera file.

    Raises:
        CameraUnreadable: It is missing, not TOML, or names what is not known.
    """
    try:
        return _file(path, tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except FileNotFoundError:
        raise CameraUnreadable(path, "there is no such file") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValueError, KeyError, TypeError) as error:
        raise CameraUnreadable(path, str(error)) from None


def camera_of(file: CameraFile, size_px: tuple[int, int], focal_35mm: float | None = None) -> FieldCamera:
    """The camera for pictures of a size: as solved before, else from the marks.

    Args:
        file: With marks, or solved.
        size_px: Of the upright picture.
        focal_35mm: As the clip's own metadata tells it; a field of view in the file comes first.

    Raises:
        CameraRefused: The marks do not tell where the camera stands.
        CameraUnreadable: The picture clicked in had another shape.
    """
    if file.solved is not None:
        return resized(file.solved, size_px, file.path)
    clicked_in = _clicked_in(file, size_px)
    placed = [m for m in file.marks if not m.name.startswith("horizon")]
    horizon = [m.px for m in file.marks if m.name.startswith("horizon")]
    known_places = places_m(file.field)
    places = [known_places[m.name] if m.place_m is None else np.array(m.place_m) for m in placed]
    camera = solve_camera(
        [m.name for m in placed],
        np.array(places, float).reshape(-1, 3),
        np.array([m.px for m in placed], float).reshape(-1, 2),
        _known(file, clicked_in, np.array(horizon, float).reshape(-1, 2), focal_35mm),
    )
    return resized(camera, size_px, file.path)


def read_picture(file: CameraFile) -> NDArray[np.uint8] | None:
    """The frame the camera was solved for, (height, width, 3) RGB; None where the file names none.

    Raises:
        CameraUnreadable: It names one that is missing or no picture.
    """
    if file.picture is None:
        return None
    path = file.path.parent / file.picture
    try:
        image = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    except (OSError, cv2.error) as error:
        raise CameraUnreadable(file.path, f"its picture {file.picture} cannot be read") from error
    if image is None:
        raise CameraUnreadable(file.path, f"its picture {file.picture} is none")
    return np.asarray(image[:, :, ::-1], np.uint8)


def resized(camera: FieldCamera, size_px: tuple[int, int], path: Path) -> FieldCamera:
    """The same camera for the same picture kept larger or smaller.

    Raises:
        CameraUnreadable: The shapes differ.
    """
    if camera.size_px == size_px:
        return camera
    factor = size_px[0] / camera.size_px[0]
    if abs(size_px[1] / camera.size_px[1] / factor - 1) > 0.01:
        was, now = (" x ".join(map(str, s)) for s in (camera.size_px, size_px))
        raise CameraUnreadable(
            path, f"its picture is {was} px, the clip's {now}: another shape, another camera"
        )
    return replace(
        camera,
        focal_px=camera.focal_px * factor,
        size_px=size_px,
        reprojection_px=camera.reprojection_px * factor,
    )


def _clicked_in(file: CameraFile, size_px: tuple[int, int]) -> tuple[int, int]:
    width, height = file.numbers.get("width_px", size_px[0]), file.numbers.get("height_px", size_px[1])
    return int(width), int(height)


def _known(file: CameraFile, size_px: tuple[int, int], horizon_px: Array, focal_35mm: float | None) -> Known:
    numbers = file.numbers
    focal, sd = None, GIVEN_LOG_SD
    if "field_of_view_deg" in numbers:
        focal = max(size_px) / 2 / math.tan(math.radians(numbers["field_of_view_deg"]) / 2)
    elif focal_35mm is not None:
        focal, sd = max(size_px) * focal_35mm / FILM_WIDE_MM, FILM_LOG_SD
    return Known(
        size_px=size_px,
        click_sd_px=numbers.get("click_sd_px", CLICK_SD_PX),
        focal_px=focal,
        focal_log_sd=sd,
        horizon_px=horizon_px,
        facing_deg=None if file.view is None else facing_deg(file.view, "L" if file.throws == "L" else "R"),
        facing_sd_deg=HEADING_SD_DEG,
        height_m=numbers.get("height_m"),
        distance_m=numbers.get("distance_m"),
    )


def _file(path: Path, content: Mapping[str, Any]) -> CameraFile:
    unknown = set(content) - NUMBERS - WORDS
    if unknown:
        known = ", ".join(sorted(NUMBERS | WORDS))
        raise ValueError(f"nothing is called {', '.join(sorted(unknown))}; there are {known}")
    numbers = {name: _number(name, content[name]) for name in NUMBERS & set(content)}
    view, throws = content.get("view"), content.get("throws", "R")
    if view is not None and view not in get_args(View):
        raise ValueError(f"no such view: {view!r}. Say one of: {', '.join(get_args(View))}")
    if throws not in ("R", "L"):
        raise ValueError(f"throws is R or L, not {throws!r}")
    if not 5 < numbers.get("field_of_view_deg", 60.0) < 150:
        raise ValueError("field_of_view_deg is that of the picture's longer side, 5 to 150")
    field = Field(
        **{n: numbers[n] for n in ("plate_back_ft", "mound_height_in", "stick_m") if n in numbers},
        stick_at_m=(numbers.get("stick_x_m", 0.0), numbers.get("stick_y_m", 0.0)),
    )
    solved = content.get("solved")
    return CameraFile(
        path=path,
        field=field,
        view=cast(View | None, view),
        throws=throws,
        numbers=numbers,
        marks=_marks(content.get("marks", []), field),
        picture=content.get("picture"),
        solved=None if solved is None else _solved(solved),
    )


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{name} is a number, not {value!r}")
    free = ("mound_height_in", "stick_x_m", "stick_y_m", "height_m", "x_px", "y_px")
    if name not in free and not value > 0:
        raise ValueError(f"{name} is above 0, not {value:g}")
    return float(value)


def _marks(rows: Sequence[Mapping[str, Any]], field: Field) -> list[Mark]:
    named, found = places_m(field), []
    for row in rows:
        name, own = str(row["name"]), [row.get(f"{axis}_m") for axis in "xyz"]
        place = None
        if all(value is not None for value in own):
            x, y, z = (float(value) for value in own if value is not None)
            place = (x, y, z)
        elif not name.startswith("horizon") and name not in named:
            hint = " (a stick needs stick_m, its length)" if name.startswith("stick") else ""
            raise ValueError(
                f"no mark is called {name!r}{hint}. There are horizon, {', '.join(named)}; "
                "any other needs its own x_m, y_m and z_m"
            )
        if place is None and not name.startswith("horizon") and name in {m.name for m in found}:
            raise ValueError(f"the mark {name!r} is there twice")
        px = (_number("x_px", row["x_px"]), _number("y_px", row["y_px"]))
        found.append(Mark(name=name, px=px, place_m=place))
    return found


def _solved(table: Mapping[str, Any]) -> FieldCamera:
    width, height = table["size_px"]
    return FieldCamera(
        rotation=np.array(table["rotation"], float).reshape(3, 3),
        position_m=np.array(table["position_m"], float),
        focal_px=_number("focal_px", table["focal_px"]),
        size_px=(int(width), int(height)),
        covariance=np.array(table["covariance"], float).reshape(7, 7),
        reprojection_px=float(table["reprojection_px"]),
        source=table["source"],
    )
