"""The README's own script loads an export and redoes a figure."""

import re
from pathlib import Path

import numpy as np

from release.stats.compare import compare
from release.stats.read_throws import throw_table
from release.stats.write_export import write_export
from release.stats.write_over_time import write_over_time
from tests.stats.test_study import session

README = Path(__file__).parents[2] / "README.md"


def test_the_script_of_the_readme_redoes_a_figure_from_an_export(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    out = tmp_path / "reports" / "tables"
    (out / "over_time").mkdir(parents=True)
    angles = {"palm_turn": np.linspace(-60, 0, 5)}
    write_over_time(
        out / "over_time/a.nc", np.arange(5) / 240, np.zeros((5, 1, 2)), ["wrist"], angles, {"athlete": "A"}
    )
    table = throw_table(session().assign(over_time=["over_time/a.nc", *[""] * 15]).replace("", None))
    write_export(out, table.rows, compare(table.rows, table.figures), {})
    (script,) = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    exec(script, {})
    assert (tmp_path / "reports/forearm.png").stat().st_size > 10_000
