"""The folders are the data flow, and only the edges reach outside."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1] / "release"
STAGES = [
    *("camera", "clip", "flight", "frames", "instant", "landmarks"),
    *("orientation", "record", "session", "stats", "suggest", "views"),
]
BESIDE = ["workshop"]  # renders and trains; imported by no stage
EDGES = {"read", "write", "decode", "infer", "serve"}
OUTSIDE = {
    "av",
    "jinja2",
    "logging",
    "onnxruntime",
    "os",
    "socket",
    "sqlalchemy",
    "starlette",
    "subprocess",
    "time",
}
MODULES = sorted(p for stage in STAGES for p in (ROOT / stage).rglob("*.py"))


def imports(path: Path) -> set[str]:
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    plain = {alias.name for n in nodes if isinstance(n, ast.Import) for alias in n.names}
    return plain | {n.module or "." for n in nodes if isinstance(n, ast.ImportFrom)}


def is_edge(path: Path) -> bool:
    """Edges are named read, write, decode, infer or serve, alone or as the first word (read_csv).

    Migrations are one too: Alembic names their files.
    """
    return path.stem.split("_")[0] in EDGES or path.is_relative_to(ROOT / "record" / "migrations")


def test_folders_in_the_order_they_are_listed_are_the_stages():
    folders = sorted(p.name for p in ROOT.iterdir() if p.is_dir() and p.name[0] not in "_.")
    assert folders == STAGES + BESIDE


def test_a_stage_knows_only_the_results_of_earlier_stages():
    for path in MODULES:
        own = path.relative_to(ROOT).parts[0]
        for name in imports(path):
            parts = name.split(".")
            other = parts[1] if parts[0] == "release" and len(parts) > 1 else ""
            assert other != "workshop", f"{path}: {name}"
            if other in STAGES and other != own:
                assert other < own, f"{path}: {name} comes later"
                assert is_edge(path) or parts[-1] == "result", f"{path}: {name}"


def test_only_edges_reach_outside():
    for path in MODULES:
        if not is_edge(path) and "web" not in path.parts:
            # schema.py only declares tables; it opens nothing.
            allowed = {"sqlalchemy"} if path.name == "schema.py" else set()
            assert not {n.split(".")[0] for n in imports(path)} & (OUTSIDE - allowed), path


def test_no_drawer_for_odds_and_ends():
    assert not [p for p in ROOT.rglob("*") if p.stem in {"utils", "common", "helpers", "misc"}]
