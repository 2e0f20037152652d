import csv
import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from release.orientation.write_look import look_row, write_look_csv
from release.session.result import LinkedRow, Session
from release.session.write import write_links
from release.spreadsheet import spreadsheet_safe

# OWASP ASVS 5.0, 1.2.10, and its page on CSV injection; the full-width forms as that page lists them.
STARTS = ["=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠"]


@pytest.mark.parametrize("start", STARTS)
def test_text_that_begins_like_a_formula_is_made_inert(start):
    text = f'{start}HYPERLINK("http://example.invalid","x")'
    assert spreadsheet_safe(pd.DataFrame({"cue": [text]}))["cue"][0] == f"'{text}"


def test_headings_and_row_labels_are_made_inert_too():
    safe = spreadsheet_safe(pd.DataFrame({"=1+1": [1.0]}, index=["@a"]))
    assert (list(safe.columns), list(safe.index)) == (["'=1+1"], ["'@a"])


def test_numbers_stay_numbers_also_below_zero_and_as_text():
    frame = pd.DataFrame({"deg": [-3.5, 2.0], "n": [-1, 2], "text": ["-3.5", "+1e-3"], "ok": [True, False]})
    pd.testing.assert_frame_equal(spreadsheet_safe(frame), frame, check_dtype=False)


def test_missing_cells_stay_missing_and_the_table_given_stays_as_it_was():
    frame = pd.DataFrame({"cue": ["=x", None]})
    assert spreadsheet_safe(frame)["cue"].isna().tolist() == [False, True]
    assert frame["cue"][0] == "=x"


@given(st.lists(st.text(st.characters(codec="utf-8")), min_size=1))
def test_no_cell_of_the_written_file_begins_like_a_formula(cells):
    out = spreadsheet_safe(pd.DataFrame({"note": cells})).to_csv(index=False)
    for row in list(csv.reader(io.StringIO(out, newline="")))[1:]:
        for cell in row:
            number = pd.to_numeric(pd.Series([cell]), errors="coerce").notna()[0]
            assert number or not cell.startswith(tuple(STARTS))


def test_what_leaves_as_links_or_angles_is_inert(tmp_path):
    write_look_csv(tmp_path / "look.csv", [look_row("=HYPERLINK(1).mp4", None, None, "no throw")])
    row = LinkedRow(
        clip="@a.mp4", throw="1", flight=None, probability=1.0, state="linked", why="x", candidates=()
    )
    write_links(Session(rows=(row,), axis_s={}, clocks=(), notes=()), tmp_path / "links.csv", {})
    assert "\n'=HYPERLINK(1).mp4," in (tmp_path / "look.csv").read_text(encoding="utf-8")
    assert "\n'@a.mp4," in (tmp_path / "links.csv").read_text(encoding="utf-8")
