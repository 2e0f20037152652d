"""Wanted balls, typed into a TOML file: one entry a pitcher and pitch."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from release.errors import ReleaseError
from release.suggest.result import BALL_FIGURES, Target

# Where no tolerance is typed in: the smallest changes worth having (mph, in, in).
USUAL_TOLERANCE = np.array([1.0, 1.5, 1.5])


class TargetFileWrong(ReleaseError):
    """The file of wanted balls cannot be used as it is."""

    def __init__(self, file: str, fault: str) -> None:
        super().__init__(
            f'{fault}. Mend it in {file}; an entry reads: [[targets]] athlete = "B-07", pitch = '
            '"slider", horizontal_break_in = [5, 1.5] (wanted, give or take)'
        )


def read_targets(path: Path) -> dict[tuple[str, str], Target]:
    """Wanted balls by athlete and pitch.

    Each entry of `targets` has `athlete`, `pitch` and one or more of `speed_mph`,
    `induced_vertical_break_in`, `horizontal_break_in`: a number, or a pair (wanted, give or take).

    Raises:
        TargetFileWrong: No such file, not TOML, or an entry that is no target.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        entries = table.get("targets")
        if not isinstance(entries, list) or not entries:
            raise ValueError("it has no [[targets]]")
        return {(str(e["athlete"]), str(e["pitch"])): target_of(e) for e in entries}
    except FileNotFoundError:
        raise TargetFileWrong(path.name, f"there is no file {path}") from None
    except KeyError as error:
        raise TargetFileWrong(path.name, f"an entry has no {error.args[0]}") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, TypeError, ValueError) as error:
        raise TargetFileWrong(path.name, f"cannot read the wanted balls: {error}") from error


def target_of(entry: Mapping[str, Any]) -> Target:
    """The target of one entry.

    Raises:
        ValueError: No figure, no number, or a tolerance that is not positive.
    """
    unknown = set(entry) - {"athlete", "pitch", *BALL_FIGURES}
    if unknown:
        raise ValueError(f"no such figure: {', '.join(sorted(unknown))}; there are {', '.join(BALL_FIGURES)}")
    centre, tolerance = np.full(3, np.nan), USUAL_TOLERANCE.copy()
    for i, name in enumerate(BALL_FIGURES):
        wish = entry.get(name)
        if wish is None:
            continue
        pair = wish if isinstance(wish, list) else [wish, tolerance[i]]
        if len(pair) != 2 or not all(isinstance(v, int | float) for v in pair):
            raise ValueError(f"{name} is a number or a pair (wanted, give or take), not {wish!r}")
        centre[i], tolerance[i] = pair
    return Target(centre=centre, tolerance=tolerance)
