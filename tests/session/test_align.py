from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from release.session.align import link
from release.session.result import Fact, LinkedRow
from release.session.spoken import Words
from release.session.told import Match, _as_a_whole
from tests.session.sessions import START_S, session


def by_throw(found):
    return {row.throw: row for row in found.rows if row.throw is not None}


def key(row: LinkedRow):
    return row.clip, row.throw, row.flight, row.state


def test_every_throw_is_linked_over_clocks_that_disagree_by_hours():
    found = link(*session(offset_s=-7 * 3600, missing=("5", "11")))
    rows = by_throw(found)
    assert all(rows[t].flight == (None if t in ("5", "11") else t) for t in rows)
    assert all(rows[t].clip == f"c{t}.mp4" and rows[t].state == "linked" for t in rows)
    offset = {clock.name: clock for clock in found.clocks}
    assert {clock.against for clock in found.clocks} <= {"clips", "sheet", "flight"}
    assert len(offset) == 2


def test_every_row_of_every_list_comes_out_once():
    clips, sheet, flight = session(seed=3, n=15, missing=("2",))
    found = link(clips, sheet, flight)
    for column, table in (("clip", clips), ("throw", sheet), ("flight", flight)):
        out = [getattr(row, column) for row in found.rows if getattr(row, column) is not None]
        assert sorted(out) == sorted(table[column])


def test_even_throwing_without_other_evidence_is_asked_about():
    clips, _, flight = session(even=True, n=30)
    found = link(clips.drop(columns="throws"), None, flight)
    assert not [row for row in found.rows if row.state == "linked"]
    asked = [row for row in found.rows if row.state == "asked"]
    assert asked
    assert all(1 <= len(row.candidates) <= 3 for row in asked)
    assert "could be clip" in asked[0].why or "could be flight" in asked[0].why


def test_one_confirmed_link_settles_an_even_session():
    clips, _, flight = session(even=True, n=30)
    fact = Fact(kind="link confirmed", clip="c7.mp4", flight="7", who="coach", at="2026-05-02T15:00:00Z")
    found = link(clips.drop(columns="throws"), None, flight, [fact])
    linked = [row for row in found.rows if row.state == "linked"]
    assert len(linked) > 25
    assert all(row.clip == f"c{row.flight}.mp4" for row in linked)


def test_a_persons_word_is_final():
    clips, sheet, flight = session()
    facts = [
        Fact(kind="link confirmed", throw="4", flight="6"),  # against all evidence
        Fact(kind="link rejected", throw="9", flight="9"),
        Fact(kind="marked extra", clip="c12.mp4"),
    ]
    rows = by_throw(link(clips, sheet, flight, facts))
    assert rows["4"].flight == "6"
    assert rows["9"].flight != "9"
    assert "a person said that it is not flight 9" in rows["9"].why
    assert rows["12"].clip is None
    extra = next(row for row in link(clips, sheet, flight, facts).rows if row.clip == "c12.mp4")
    assert (extra.state, extra.why) == ("alone", "marked as extra")


def test_a_longer_flight_file_changes_no_confirmed_link():
    clips, sheet, flight = session(n=30)
    facts = [Fact(kind="link confirmed", throw=t, flight=t, clip=f"c{t}.mp4") for t in ("1", "8", "15")]
    short = by_throw(link(clips, sheet, flight.iloc[:16], facts))
    longer = by_throw(link(clips, sheet, flight, facts))
    assert all(key(short[t]) == key(longer[t]) for t in ("1", "8", "15"))


def test_a_sheet_without_times_is_linked_by_order_and_speed():
    clips, sheet, flight = session(n=30, seed=2)
    rows = by_throw(link(clips, sheet.drop(columns="time_s"), flight))
    linked = [row for row in rows.values() if row.state == "linked"]
    assert len(linked) >= 24
    assert all(row.flight == row.throw for row in linked)


@pytest.mark.parametrize("untimed", ["sheet", "clips"])
def test_a_long_sheet_is_linked_with_few_clips_and_fewer_balls(untimed):
    clips, sheet, flight = session(n=1000)
    tables = {"clips": clips[:120], "sheet": sheet, "flight": flight[:6]}
    tables[untimed] = tables[untimed].drop(columns="time_s")
    found = link(**tables)
    assert sum(row.throw is not None for row in found.rows) == 1000
    assert all(0 <= row.probability <= 1 for row in found.rows)


def test_clips_stamped_while_being_copied_are_known_by_their_order():
    clips, sheet, flight = session(n=20)
    copied = clips.assign(time_s=START_S + 9e5 + np.arange(20) * 0.4)
    found = link(copied, sheet, flight)
    assert any("copying" in note for note in found.notes)
    assert all(row.clip in (None, f"c{row.throw}.mp4") for row in found.rows if row.state == "linked")


def test_a_list_without_times_takes_no_link_from_the_lists_that_have_them():
    clips, sheet, flight = session(n=40, missing=("5", "11", "30"))
    untimed = clips.drop(columns=["time_s", "throws"]).drop(index=[2, 7, 20, 33])
    linked = [row for row in link(untimed, sheet, flight).rows if row.throw and row.flight]
    assert len(linked) == 37
    assert all(row.throw == row.flight and row.state == "linked" for row in linked)


def test_two_cameras_are_two_lists():
    clips, sheet, flight = session(n=20)
    second = clips.assign(clip="side-" + clips["clip"], camera="side", time_s=clips["time_s"] + 77)
    both = pd.concat([clips.assign(camera="rear"), second], ignore_index=True)
    rows = [row for row in link(both, sheet, flight).rows if row.throw == "10"]
    assert {row.clip for row in rows} == {"c10.mp4", "side-c10.mp4"}
    assert {row.flight for row in rows} == {"10"}


def test_pitchers_taking_turns_are_told_apart_by_the_throwing_hand():
    clips, sheet, _ = session(n=24, even=True)
    hands = np.array(list("RLLRRRLRLLRLRRLRLLLRRLRL"))
    found = link(clips.assign(throws=hands), sheet.assign(throws=hands, athlete="A" + pd.Series(hands)), None)
    linked = [row for row in found.rows if row.state == "linked"]
    assert len(linked) > 18
    assert all(row.clip == f"c{row.throw}.mp4" for row in linked)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), n=st.integers(4, 40), jitter=st.floats(0, 3))
def test_links_keep_the_order_of_every_list(seed, n, jitter):
    clips, sheet, flight = session(seed, n, jitter, missing=("2",))
    clips, flight = (t.sort_values("time_s") for t in (clips, flight))
    found = link(clips, sheet, flight)
    assert found == link(clips, sheet, flight)  # the same again
    for one, other, first in (("throw", "flight", sheet), ("clip", "flight", clips)):
        order = {str(name): i for i, name in enumerate((flight if other == "flight" else sheet)[other])}
        place = {str(name): i for i, name in enumerate(first.sort_values("time_s")[one])}
        pairs = [
            (place[getattr(r, one)], order[getattr(r, other)])
            for r in found.rows
            if r.state == "linked" and getattr(r, one) and getattr(r, other)
        ]
        assert [b for _, b in sorted(pairs)] == sorted(b for _, b in pairs)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 1000), data=st.data())
def test_what_is_confirmed_stays_linked(seed, data):
    tables = session(seed, n=16)
    throw, flight = (str(data.draw(st.integers(1, 16))) for _ in range(2))
    rows = by_throw(link(*tables, [Fact(kind="link confirmed", throw=throw, flight=flight)]))
    assert rows[throw].flight == flight


def test_what_a_person_said_of_two_lists_whose_clocks_are_open_stands():
    fact = Fact(kind="link confirmed", throw="1", flight="2")
    found = link(*session(454, n=16), [fact])
    assert sum("several ways" in note for note in found.notes) == 2
    assert (by_throw(found)["1"].flight, by_throw(found)["1"].state) == ("2", "linked")


@pytest.mark.parametrize(
    ("then", "flight"),
    [
        pytest.param(Fact(kind="link confirmed", throw="4", flight="5"), "5", id="pinned to another"),
        pytest.param(Fact(kind="link rejected", throw="4", flight="6"), "4", id="taken apart"),
        pytest.param(Fact(kind="marked extra", flight="6"), "4", id="marked as extra"),
    ],
)
def test_of_two_words_on_a_row_the_later_holds(then, flight):
    first = Fact(kind="link confirmed", throw="4", flight="6")
    rows = by_throw(link(*session(), [first, then]))
    assert rows["4"].flight == flight
    assert by_throw(link(*session(), [then, first]))["4"].flight == "6"


def test_two_throws_that_a_person_swapped_stay_swapped():
    swapped = [Fact(kind="link confirmed", throw=a, flight=b) for a, b in (("4", "5"), ("5", "4"))]
    rows = by_throw(link(*session(), swapped))
    assert [rows[throw].flight for throw in "3456"] == ["3", "5", "4", "6"]


def test_a_candidate_of_two_rows_is_as_doubtful_as_they_are_together():
    clip, throw, flight = ("clips", 0), ("sheet", 0), ("flight", 0)
    matches = {
        clip: [Match(keys=(flight, throw), probability=0.7, reasons={})],
        flight: [Match(keys=(clip,), probability=0.6, reasons={})],
    }
    of_both = Match(keys=(clip, flight), probability=0.9, reasons={})
    assert _as_a_whole(of_both, matches, Words({}, [])).probability == pytest.approx(0.9 * 0.7)
    assert _as_a_whole(matches[flight][0], matches, Words({}, [])).probability == 0.6


@pytest.mark.parametrize("left_out", [0, 1, 2])
def test_any_list_may_be_missing(left_out):
    tables = [None if i == left_out else table for i, table in enumerate(session())]
    assert sum(row.state == "linked" for row in link(*tables).rows) > 20


def test_nothing_to_link_is_no_links():
    assert link(None, None, None).rows == ()
    clips, _, _ = session(n=1)
    assert [row.state for row in link(clips, None, None).rows] == ["alone"]


def test_a_link_says_what_made_it_and_what_else_it_could_have_been():
    row = by_throw(link(*session(seed=1, jitter_s=3.0)))["6"]
    assert "s apart" in row.why
    assert "speed for the pitch" in row.why
    assert "runner-up" in row.why
    assert replace(row, why="") != row


def test_a_linked_row_tells_what_a_person_said_it_is_not():
    clips, _, flight = session()
    rows = link(clips, None, flight, [Fact(kind="link rejected", clip="c9.mp4", flight="3")]).rows
    told = next(row for row in rows if row.clip == "c9.mp4")
    assert (told.state, told.flight) == ("linked", "9")
    assert told.why.endswith("a person said that it is not flight 3")
