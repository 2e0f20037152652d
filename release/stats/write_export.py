"""Writes the research export: tidy tables with a data dictionary, frozen under a hash.

Tables as CSV and Parquet, described by a Frictionless data package (`datapackage.json`, an open standard);
the methods in words. `frozen.txt` holds the hash of every file and one hash of them all, those of
`write_over_time` among them where they are written before.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from release.spreadsheet import spreadsheet_safe
from release.stats.methods import methods_paragraph
from release.stats.result import Comparison
from release.stats.write_comparisons import comparison_table

DESCRIBED: Mapping[str, str] = {
    "athlete": "Code of the athlete; names are never exported",
    "pitch": "Pitch type as called on the throw sheet",
    "throw": "Running number of the throw in its session",
    "session": "Session, numbered from 0 within the table",
    "cue": "Cue given before the throw; empty for none",
    "block": "Block the throw belongs to; empty where the cue was drawn per throw",
    "cue_a": "First cue of the pair",
    "cue_b": "Second cue; differences are second minus first",
    "difference": "Second cue minus first, trend over throws taken out, in the figure's unit",
    "low": "Lower end of the 95 % interval by inverting the re-randomisation test; empty where open",
    "high": "Upper end of the 95 % interval",
    "p": "Two-sided re-randomisation p; empty where the design is too small",
    "q": "p after false-discovery control over the group's other outcomes",
    "answer": "changed, no meaningful change, cannot tell yet, or design too small",
    "more_throws": "Throws that would likely settle it; 0 when settled",
    "worth": "Smallest change worth having, set by staff",
    "detectable": "1.96 * sqrt(2) * standard error of measurement of a cue's mean",
}
UNITS: Mapping[str, str] = {
    "_deg": "degrees; flexion, ulnar deviation and pronation positive",
    "_mph": "miles per hour",
    "_in": "inches; horizontal break positive to the glove side",
    "_ft": "feet",
    "_m": "metres",
    "_s": "seconds",
    "_rpm": "turns a minute",
    "_px": "pixels of the upright picture, (0, 0) the outer corner of the top left one",
}


def write_export(
    folder: Path, throws: pd.DataFrame, comparisons: Sequence[Comparison], settings: Mapping[str, str]
) -> str:
    """Write `throws`, `comparisons`, `datapackage.json`, `methods.md` and `frozen.txt`.

    Args:
        folder: Made if it is not there; files of these names are written over.
        throws: A row a throw.
        comparisons: A row each.
        settings: Name to value of what was set, for the methods (versions, model hashes, worths).

    Returns:
        The SHA-256 under which the export is frozen.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = {"throws": throws, "comparisons": comparison_table(comparisons)}
    for name, table in tables.items():
        spreadsheet_safe(table).to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
        table.to_parquet(folder / f"{name}.parquet", index=False)
    (folder / "methods.md").write_text(methods_paragraph(comparisons, settings), encoding="utf-8")
    package = data_package(tables, {f"{n}.csv": _sha256(folder / f"{n}.csv") for n in tables})
    (folder / "datapackage.json").write_text(json.dumps(package, indent=2) + "\n", encoding="utf-8")
    return freeze(folder)


def freeze(folder: Path) -> str:
    """Hash every file of the export into `frozen.txt`; the same files give the same last line."""
    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.name != "frozen.txt")
    lines = [f"{_sha256(p)}  {p.relative_to(folder).as_posix()}" for p in files]
    whole = hashlib.sha256("\n".join(lines).encode()).hexdigest()
    (folder / "frozen.txt").write_text(
        "\n".join([*lines, f"{whole}  all of the above"]) + "\n", encoding="utf-8"
    )
    return whole


def data_package(tables: Mapping[str, pd.DataFrame], sha256: Mapping[str, str]) -> dict[str, object]:
    """A Frictionless data package descriptor (Data Package and Table Schema, version 1)."""
    return {
        "profile": "tabular-data-package",
        "name": "release-export",
        "resources": [
            {
                "profile": "tabular-data-resource",
                "name": name,
                "path": f"{name}.csv",
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "hash": f"sha256:{sha256[f'{name}.csv']}",
                "schema": {"fields": [_field(c, table[c]) for c in table.columns], "missingValues": [""]},
            }
            for name, table in tables.items()
        ],
    }


def _field(name: str, column: pd.Series) -> dict[str, str]:
    kind = "string"
    if pd.api.types.is_bool_dtype(column):
        kind = "boolean"
    elif pd.api.types.is_integer_dtype(column):
        kind = "integer"
    elif pd.api.types.is_numeric_dtype(column):
        kind = "number"
    field = {"name": name, "type": kind, "description": _described(name)}
    if kind == "boolean":
        return field | {"trueValues": ["True"], "falseValues": ["False"]}  # type: ignore[dict-item]
    return field


def _described(name: str) -> str:
    if name in DESCRIBED:
        return DESCRIBED[name]
    base = name.removesuffix("_sd")
    unit = next((words for end, words in UNITS.items() if base.endswith(end)), "as stored")
    what = "Standard uncertainty of " + base if name.endswith("_sd") else name.replace("_", " ").capitalize()
    return f"{what}; {unit}"


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
