from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from typer.testing import CliRunner

from release.cli import app
from release.errors import ColumnsMissing, NothingToLink
from release.record import read
from release.record.write_open import open_logbook
from release.session.read import read_clips, read_decisions, read_sheet
from release.session.read_files import link_files, summary, why_throw
from release.session.read_season import link_season, season_report
from release.session.write import write_links
from release.times import from_spreadsheet
from tests.clip.movies import steady, write_movie
from tests.session.sessions import session

SHEET = (
    "throw,time,athlete,throws,pitch,cue,mood\n1,14:05,A1,r,Slider,thumb under,calm\n2,14:06,A1,R,slider,,\n"
)


PLAN = 'unit = "block"\ncues = ["as usual", "thumb under"]\norder = ["thumb under", "as usual"]\n'


def put(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def written(folder, **changed):
    """The three lists of a simulated session as files."""
    paths = {}
    for name, table in zip(("clips", "sheet", "flight"), session(n=14), strict=True):
        time = [datetime.fromtimestamp(t, UTC).isoformat(timespec="milliseconds") for t in table["time_s"]]
        text = table.assign(time=time).drop(columns="time_s").to_csv(index=False)
        paths[name] = put(folder, f"{name}.csv", changed.get(name, lambda t: t)(text))
    return paths


def test_a_sheet_keeps_its_order_and_its_extra_columns(tmp_path):
    rows = read_sheet(put(tmp_path, "s.csv", SHEET)).rows
    assert list(rows["throw"]) == ["1", "2"]
    assert list(rows["throws"]) == ["R", "R"]
    assert list(rows["pitch"]) == ["slider", "slider"]
    assert rows["mood"].iloc[0] == "calm"
    assert rows["cue"].iloc[1] is None
    assert rows["time_s"].diff().iloc[1] == 60


def test_bad_rows_of_a_sheet_are_named_and_the_rest_goes_on(tmp_path):
    bad = (
        "3,14:07,A1,R,knuckle,,\n4,noon,A1,R,slider,,\n,14:08,A1,R,slider,,\n2,14:09,A1,R,slider,,\n5,14:10\n"
    )
    table = read_sheet(put(tmp_path, "s.csv", SHEET + bad))
    assert list(table.rows["throw"]) == ["1", "2"]
    whys = {aside.row: aside.why for aside in table.set_aside}
    assert whys.keys() == {4, 5, 6, 7, 8}
    assert "pitch 'knuckle' is none of" in whys[4]
    assert "time 'noon' is not a time" in whys[5]
    assert "throw '' is empty" in whys[6]
    assert "throw 2 is in row 3 already, with other content" in whys[7]
    assert "2 cells where the heading has 7" in whys[8]


@pytest.mark.parametrize(
    ("cells", "expected", "unclear"),
    [
        (["5/2/2026 9:05", "5/13/2026 14:05:10"], ["2026-05-02T09:05:00", "2026-05-13T14:05:10"], False),
        (["13/5/26 12:05 AM", ""], ["2026-05-13T00:05:00", ""], False),
        (["5/6/2026, 12:05:30 PM"], ["12:05:30"], True),
        (["02.05.2026 14:05"], ["2026-05-02T14:05:00"], False),
        (["2:05 pm", "9:05:33"], ["14:05:00", "09:05:33"], False),
        (["2026-05-02 14:05", "noon", "25:00"], ["2026-05-02 14:05", "noon", "25:00"], False),
    ],
)
def test_times_as_a_spreadsheet_rewrites_them(cells, expected, unclear):
    assert from_spreadsheet(cells) == (expected, unclear)


def test_a_sheet_saved_again_by_a_spreadsheet_is_linked_by_its_times(tmp_path):
    def rewritten(text):
        head, *lines = (line.split(",") for line in text.splitlines())
        at = head.index("time")
        for line in lines:
            line[at] = f"{datetime.fromisoformat(line[at]):%m/%d/%Y %I:%M:%S %p}"
        return "\n".join(";".join(line) for line in [head, *lines])

    paths = written(tmp_path, sheet=rewritten)
    found = link_files(clips=paths["clips"], sheet=paths["sheet"], flights=[])
    assert len(found.tables["throw"]) == 14
    assert {clock.name for clock in found.session.clocks} <= {"clips", "sheet"}
    assert all(row.state == "linked" for row in found.session.rows)
    assert not found.set_aside["throw"]


def test_a_heading_in_other_capitals_is_understood(tmp_path):
    assert list(read_clips(put(tmp_path, "c.csv", "Clip,Speed MPH\na.mp4,88\n")).rows["speed_mph"]) == [88]


def test_a_missing_column_is_named(tmp_path):
    with pytest.raises(ColumnsMissing, match=r"s\.csv has no column athlete, pitch; it has throw"):
        read_sheet(put(tmp_path, "s.csv", "throw\n1\n"))


def test_clips_without_times_are_in_the_order_listed(tmp_path):
    assert np.isnan(read_clips(put(tmp_path, "c.csv", "clip,time\na.mp4,\nb.mp4,\n")).rows["time_s"]).all()


def test_a_sheet_and_a_flight_file_meet_across_a_change_of_the_clocks(tmp_path):
    # The sheet is written by a wall clock in Chicago, which goes back from 2:00 CDT to 1:00 CST.
    _, sheet, flight = session(n=14)
    start = datetime(2026, 11, 1, 6, 56, tzinfo=UTC).timestamp()
    shift = start - flight["time_s"].iloc[0]
    wall = [datetime.fromtimestamp(t + shift, ZoneInfo("America/Chicago")) for t in flight["time_s"]]
    utc = [datetime.fromtimestamp(t + shift, UTC).isoformat() for t in flight["time_s"]]
    written_by_hand = sheet.assign(time=[at.strftime("%Y-%m-%d %H:%M:%S") for at in wall])
    paths = {
        "sheet": put(tmp_path, "s.csv", written_by_hand.drop(columns="time_s").to_csv(index=False)),
        "flight": put(tmp_path, "f.csv", flight.assign(time=utc).drop(columns="time_s").to_csv(index=False)),
    }
    found = link_files(
        clips=None, sheet=paths["sheet"], flights=[paths["flight"]], time_zone="America/Chicago"
    )
    assert {at.utcoffset() for at in wall} == {timedelta(hours=-5), timedelta(hours=-6)}
    assert [row.flight for row in found.session.rows if row.state == "linked"] == list(flight["flight"])
    assert abs(found.session.clocks[0].offset_s) < 1


def test_decisions_are_facts_with_who_and_when(tmp_path):
    (fact,) = read_decisions(put(tmp_path, "d.csv", "kind,throw,flight,who\nlink confirmed,3,4,coach\n"))
    assert (fact.kind, fact.clip, fact.throw, fact.flight, fact.who) == (
        "link confirmed",
        None,
        "3",
        "4",
        "coach",
    )


def test_every_row_that_came_in_comes_out_even_what_was_set_aside(tmp_path):
    def with_bad_row(text):
        return text + f"99,{'fast' if 'speed' in text.splitlines()[0] else ''},2026-06-01T10:00:00Z\n"

    paths = written(tmp_path, flight=with_bad_row)
    out = tmp_path / "links.csv"
    found = link_files(clips=paths["clips"], sheet=paths["sheet"], flights=[paths["flight"]])
    write_links(found.session, out, found.set_aside)
    lines = out.read_text("utf-8").splitlines()
    assert lines[0] == "clip,throw,flight,probability,state,why"
    assert len(lines) == 1 + 14 + 1
    assert lines[-1].startswith(",,99,,alone,row 16 was set aside: speed_mph 'fast' is not a number")
    assert "set aside: flight 99, row 16" in summary(found)


def test_why_a_throw_is_linked(tmp_path):
    paths = written(tmp_path)
    found = link_files(clips=paths["clips"], sheet=paths["sheet"], flights=[paths["flight"]])
    told = why_throw(found.session, "5")
    assert told.startswith("clip c5.mp4, throw 5, flight 5: linked, probability 1.0")
    assert "runner-up" in told
    with pytest.raises(NothingToLink, match="no throw '77'"):
        why_throw(found.session, "77")


def test_the_command_links_files(tmp_path):
    paths = written(tmp_path)
    options = [f"--{name}={path}" for name, path in paths.items()]
    answer = CliRunner().invoke(app, ["link", *options, f"--csv={tmp_path / 'out.csv'}"])
    assert answer.exit_code == 0, answer.output
    assert "14 linked, 0 to be asked, 0 alone" in answer.output
    assert len((tmp_path / "out.csv").read_text("utf-8").splitlines()) == 15


def test_a_season_is_linked_folder_by_folder(tmp_path):
    for name in ("april", "may"):
        (tmp_path / name).mkdir()
        written(tmp_path / name)
    (tmp_path / "may" / "flight.csv").unlink()
    sheet = (tmp_path / "may" / "sheet.csv").read_text("utf-8").splitlines()
    bad = sheet[7].replace("7,", "99,", 1).replace("four-seam", "knuckle").replace("changeup", "knuckle")
    put(tmp_path / "may", "sheet.csv", "\n".join([*sheet[:7], bad, *sheet[8:]]))
    (tmp_path / "june").mkdir()
    put(tmp_path / "june", "flight.csv", "flight,velocity\n1,2\n")
    put(tmp_path / "june", "notes.csv", "")
    put(tmp_path / "june", "plan.toml", 'unit = "week"')
    report = season_report(link_season(tmp_path))
    assert "april: 14 linked, 0 to be asked" in report
    assert "april: 14 linked, 0 to be asked, 0 alone, 0 rows set aside\njune" in report
    assert "may: 13 linked, 0 to be asked, 1 alone, 1 rows set aside\n  alone: clip c" in report
    assert "  set aside: 99: pitch 'knuckle' is none of" in report
    assert "june: not linked: flight.csv has no column time, speed_mph" in report
    assert "left out: notes.csv cannot be read" in report
    assert "plan.toml" in report
    assert 'unit must be "throw" or "block", it is \'week\'' in report


def test_the_printed_form_holds_the_planned_cues(tmp_path):
    plan = put(tmp_path, "plan.toml", PLAN)
    out = tmp_path / "form.html"
    answer = CliRunner().invoke(app, ["sheet", f"--print={out}", f"--plan={plan}", "--throws=8"])
    assert answer.exit_code == 0, answer.output
    page = out.read_text("utf-8")
    assert page.count("<td>thumb under</td>") == 2
    assert page.count("<tr") == 1 + 8
    assert "Pain ends the" in page


def test_a_season_of_videos_is_linked_by_their_own_times_and_taken_in(tmp_path):
    past = tmp_path / "past" / "april"
    past.mkdir(parents=True)
    written(past)
    (past / "clips.csv").unlink()
    for row in session(n=14)[0].itertuples():
        at = datetime.fromtimestamp(row.time_s, UTC).isoformat()
        write_movie(past / row.clip, steady(3), tags={"creation_time": at})
    (past / "torn.mp4").write_bytes(b"no video")
    (past / "._c1.mp4").write_bytes(b"what a Mac leaves beside a file it copies")
    put(past, "plan.toml", PLAN)
    arguments = ["season", str(tmp_path / "past"), f"--into={tmp_path / 'book'}"]
    answer = CliRunner().invoke(app, arguments)
    assert answer.exit_code == 0, answer.output
    assert "april: 14 linked, 0 to be asked, 0 alone, 1 rows set aside" in answer.output
    assert "set aside: torn.mp4: " in answer.output
    book = open_logbook(tmp_path / "book")
    (row,) = read.session_counts(book).to_dict("records")
    assert (row["name"], row["throws"], row["waiting"]) == ("april", 14, 15)
    assert len(read.flights(book, row["session"])) == 14
    assert read.sessions(book)["plan"].tolist() == [PLAN]
    book.engine.dispose()
    assert (
        f"next:\n  release measure {tmp_path / 'book'}\n  release report {tmp_path / 'book'} --session april"
        in (answer.output)
    )
    assert "clips: 0 new, 15 known already" in CliRunner().invoke(app, arguments).output


@pytest.mark.system
def test_the_form_prints_on_a4(tmp_path):
    out = tmp_path / "form.pdf"
    assert CliRunner().invoke(app, ["sheet", f"--print={out}"]).exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")
