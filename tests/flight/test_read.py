from pathlib import Path

import numpy as np
import pytest

from release.errors import BreaksNotComparable, ColumnsMissing, MappingUnreadable, TableUnreadable
from release.flight.filled import one_break_definition
from release.flight.read import read_flights
from release.flight.read_mapping import read_mapping

PLAIN = (
    "flight,time,speed_mph,spin_rpm\n1,2026-05-02T14:00:00-05:00,88.1,2200\n2,2026-05-02T14:00:30-05:00,71,\n"
)
MAPPING = """
break_window = "last 40 ft"
time_zone = "America/Chicago"
[columns.time]
name = "When"
[columns.speed_mph]
name = "Ball speed"
unit = "km/h"
[columns.horizontal_break_in]
name = "Side movement"
unit = "cm"
positive = "toward first base"
[columns.spin_tilt_deg]
name = "Tilt"
unit = "clock"
"""
EXPORT = "When;Ball speed;Side movement;Tilt;Mood\n2026-05-02 14:00:00;144,84096;25,4;1:30;calm\n"


def put(folder: Path, name: str, text: str, encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_text(text, encoding=encoding)
    return path


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])
@pytest.mark.parametrize("swap", [str, lambda t: t.replace(",", ";").replace("88.1", "88,1")])
def test_the_same_rows_come_out_of_every_way_of_writing_them(tmp_path, encoding, swap):
    rows = read_flights([put(tmp_path, "f.csv", swap(PLAIN), encoding)]).rows
    assert list(rows["speed_mph"]) == [88.1, 71]
    assert rows["time_s"].diff().iloc[1] == 30
    assert np.isnan(rows["spin_rpm"].iloc[1])


def test_a_mapped_export_comes_in_our_units_and_signs(tmp_path):
    mapping = read_mapping(put(tmp_path, "m.toml", 'throws = "L"\n' + MAPPING))
    row = read_flights([put(tmp_path, "e.csv", EXPORT)], mapping).rows.iloc[0]
    assert row["speed_mph"] == pytest.approx(90)
    assert row["horizontal_break_in"] == pytest.approx(-10)  # a left-hander's glove is toward third
    assert row["spin_tilt_deg"] == 45
    assert row["break_definition"] == "last 40 ft, drag removed"
    assert row["Mood"] == "calm"
    assert row["time_s"] == 1777748400  # 19:00 UTC: daylight saving in Chicago


def test_without_the_throwing_hand_the_side_is_kept_toward_first_base(tmp_path):
    row = read_flights(
        [put(tmp_path, "e.csv", EXPORT)], read_mapping(put(tmp_path, "m.toml", MAPPING))
    ).rows.iloc[0]
    assert row["break_toward_first_in"] == pytest.approx(10)
    assert np.isnan(row["horizontal_break_in"])


def test_bad_rows_are_named_and_the_rest_goes_on(tmp_path):
    text = PLAIN + "3,2026-05-02T14:01:00-05:00,fast,1\n4,yesterday,80,1\n5,2026-05-02T14:02:00-05:00,80\n"
    table = read_flights([put(tmp_path, "f.csv", text)])
    assert list(table.rows["flight"]) == ["1", "2"]
    assert {(aside.row, aside.key) for aside in table.set_aside} == {(4, "3"), (5, "4"), (6, "5")}
    whys = " ".join(aside.why for aside in table.set_aside)
    assert "speed_mph 'fast' is not a number" in whys
    assert "time 'yesterday' is not a time" in whys
    assert "3 cells where the heading has 4" in whys


def test_a_row_written_twice_is_taken_once_and_said_so(tmp_path):
    again = PLAIN + "9,2026-05-02T14:00:30-05:00,71,\n"
    table = read_flights([put(tmp_path, "f.csv", again)])
    assert len(table.rows) == 2
    assert table.set_aside[0].why == "the same measurement as flight 2"


def test_overlapping_exports_merge(tmp_path):
    later = (
        PLAIN.replace("1,2026-05-02T14:00:00-05:00,88.1,2200\n", "") + "1,2026-05-02T14:05:00-05:00,75,2000\n"
    )
    table = read_flights([put(tmp_path, "a.csv", PLAIN), put(tmp_path, "b.csv", later)])
    assert list(table.rows["flight"]) == ["1", "2", "1 (b)"]


def test_a_value_no_baseball_reaches_is_flagged_and_kept(tmp_path):
    table = read_flights([put(tmp_path, "f.csv", PLAIN.replace("88.1", "141").replace("71", "115"))])
    assert len(table.rows) == 2
    assert "speed_mph 141 is not possible" in table.rows["flagged"].iloc[0]
    assert any("is a unit wrong?" in note for note in table.notes)


def test_times_without_a_zone_are_used_and_said_so(tmp_path):
    table = read_flights([put(tmp_path, "f.csv", PLAIN.replace("-05:00", ""))])
    assert table.rows["time_s"].notna().all()
    assert any("no zone" in note for note in table.notes)


def test_the_hour_that_comes_twice_is_placed_by_row_order(tmp_path):
    # Clocks in Chicago went from 2:00 CDT back to 1:00 CST on 2026-11-01.
    text = "When;Ball speed;Side movement;Tilt\n" + "".join(
        f"2026-11-01 {time};130;1;1:00\n" for time in ("00:50:00", "01:50:00", "01:20:00", "02:10:00")
    )
    rows = read_flights([put(tmp_path, "e.csv", text)], read_mapping(put(tmp_path, "m.toml", MAPPING))).rows
    assert list(rows["time_s"].diff().iloc[1:] / 60) == [60, 30, 50]
    assert "twice" in rows["time_doubt"].iloc[2]


def test_an_hour_that_the_clock_skipped_keeps_the_throws_in_their_order(tmp_path):
    # Clocks in Chicago went from 2:00 CST forward to 3:00 CDT on 2026-03-08; this unit's did so late.
    text = "When;Ball speed;Side movement;Tilt\n" + "".join(
        f"2026-03-08 {time};130;1;1:00\n" for time in ("01:50:00", "02:20:00", "03:30:00")
    )
    rows = read_flights([put(tmp_path, "e.csv", text)], read_mapping(put(tmp_path, "m.toml", MAPPING))).rows
    assert list(rows["time_s"].diff().iloc[1:] / 60) == [30, 10]
    assert "skipped" in rows["time_doubt"].iloc[1]


def test_breaks_of_two_definitions_are_never_pooled(tmp_path):
    rows = read_flights([put(tmp_path, "f.csv", PLAIN)]).rows
    mixed = rows.assign(break_definition=["full flight, drag removed", "last 40 ft, drag removed"])
    assert one_break_definition(rows) == "full flight, drag removed"
    with pytest.raises(BreaksNotComparable, match="last 40 ft"):
        one_break_definition(mixed)


def test_a_trajectory_fills_the_break_that_is_missing(tmp_path):
    nine = "x0_ft,y0_ft,z0_ft,vx0_ft_s,vy0_ft_s,vz0_ft_s,ax_ft_s2,ay_ft_s2,az_ft_s2"
    text = (
        f"flight,time,speed_mph,throws,extension_ft,{nine}\n1,2026-05-02T14:00:00Z,79,R,6,10.5,1.958,6.041,"
    )
    text += "115.739,-0.469,-0.622,-23.455,-10.947,-32.665\n"
    row = read_flights([put(tmp_path, "f.csv", text)]).rows.iloc[0]
    assert row["induced_vertical_break_in"] == pytest.approx(-2.71274, abs=1e-4)  # check values 2.4, case A
    assert row["horizontal_break_in"] == pytest.approx(-15.76818, abs=1e-4)
    assert "horizontal_break_in" in row["from_trajectory"]
    assert row["speed_mph"] == 79


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("", TableUnreadable, "no heading"),
        ("flight,speed_kmh\n1,2\n", ColumnsMissing, r"no column time, speed_mph; it has flight, speed_kmh"),
        ("a,a\n1,2\n", TableUnreadable, "names a twice"),
        ("\x00\x01\x02,\x00", TableUnreadable, "not text"),
    ],
)
def test_a_file_that_is_no_flight_file_says_why(tmp_path, text, error, message):
    with pytest.raises(error, match=message):
        read_flights([put(tmp_path, "f.csv", text)])


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"Ball speed"', '"Pace"', r"e\.csv has no column Pace"),
        ('"km/h"', '"kg"', "cannot be turned"),
        ("toward first base", "leftish", "positive may be"),
        ("America/Chicago", "Middle/Earth", "no time zone"),
        ("columns.spin_tilt_deg", "columns.zest", "none of ours"),
        ('break_window = "last 40 ft"', "", "no break_window"),
    ],
)
def test_a_mapping_that_names_what_is_not_there_says_so(tmp_path, old, new, message):
    with pytest.raises(MappingUnreadable, match=message):
        read_flights(
            [put(tmp_path, "e.csv", EXPORT)], read_mapping(put(tmp_path, "m.toml", MAPPING.replace(old, new)))
        )
