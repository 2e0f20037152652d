"""Writes the research export: tidy tables with a data dictionary, frozen under a hash.

Tables as CSV and Parquet, described by a Frictionless data package (`datapackage.json`, an open standard),
which lists the files of `write_over_time` too; the methods in words. `frozen.txt` holds the hash of every
file and one hash of them all.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from release.spreadsheet import spreadsheet_safe
from release.stats.dictionary import COMPARISONS, THROWS, described, typed
from release.stats.methods import methods_paragraph
from release.stats.result import Comparison
from release.stats.write_comparisons import comparison_table

DESCRIBED = {"throws": THROWS, "comparisons": COMPARISONS}


def write_export(
    folder: Path, throws: pd.DataFrame, comparisons: Sequence[Comparison], settings: Mapping[str, str]
) -> str:
    """Write `throws`, `comparisons`, `datapackage.json`, `methods.md` and `frozen.txt`.

    Args:
        folder: Made if it is not there; files of these names are written over. Files of landmarks and
            angles over time belong in it beforehand.
        throws: A row a throw.
        comparisons: A row each.
        settings: Name to value of what was set, for the methods (versions, model hashes, worths).

    Returns:
        The SHA-256 under which the export is frozen.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = {"throws": typed(throws), "comparisons": comparison_table(comparisons)}
    for name, table in tables.items():
        spreadsheet_safe(table).to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
        table.to_parquet(folder / f"{name}.parquet", index=False)
    (folder / "methods.md").write_text(methods_paragraph(comparisons, settings), encoding="utf-8")
    written = [*(folder / f"{name}.csv" for name in tables), *sorted(folder.rglob("*.nc"))]
    package = data_package(tables, {p.relative_to(folder).as_posix(): _sha256(p) for p in written})
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
    """A Frictionless data package descriptor (Data Package and Table Schema, version 1).

    Args:
        tables: By name, each in `NAME.csv`.
        sha256: Of every file of the package, by its path in it; those that are no table are netCDF.
    """
    others = [path for path in sha256 if path.removesuffix(".csv") not in tables]
    return {
        "profile": "data-package",
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
                "schema": {
                    "fields": [_field(c, table[c], DESCRIBED[name]) for c in table.columns],
                    "missingValues": [""],
                },
            }
            for name, table in tables.items()
        ]
        + [_over_time(path, sha256[path]) for path in others],
    }


def _over_time(path: str, sha256: str) -> dict[str, str]:
    return {
        "profile": "data-resource",
        "name": path.removesuffix(".nc").replace("/", "-"),
        "path": path,
        "format": "nc",
        "mediatype": "application/x-netcdf",
        "hash": f"sha256:{sha256}",
        "description": THROWS["over_time"],
    }


def _field(name: str, column: pd.Series, known: Mapping[str, str]) -> dict[str, object]:
    kind = "string"
    if pd.api.types.is_bool_dtype(column):
        kind = "boolean"
    elif pd.api.types.is_integer_dtype(column):
        kind = "integer"
    elif pd.api.types.is_numeric_dtype(column):
        kind = "number"
    field: dict[str, object] = {"name": name, "type": kind, "description": described(name, known)}
    if kind == "boolean":
        return field | {"trueValues": ["True"], "falseValues": ["False"]}
    return field


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
