"""A watched folder: what is still being copied is left alone, what is whole is taken in once."""

import shutil
from pathlib import Path

import pytest

from release import watch
from release.record.read import clips, throws
from release.record.write_open import new_logbook
from release.watch import Stillness, WatchedFolderGone, files_in

CLIP = Path("throw.mp4")
SAMPLES = Path(__file__).parents[1] / "sample_clips"


def test_a_growing_file_is_left_alone_until_it_has_been_still():
    stillness = Stillness(still_s=3)
    sizes = [10, 20, 30, 30, 30, 30, 30]
    told = [stillness.still({CLIP: (size, size)}, now_s) for now_s, size in enumerate(sizes)]
    assert told == [[], [], [], [], [], [CLIP], []]


def test_a_file_of_the_same_size_that_is_still_written_is_left_alone():
    stillness = Stillness(still_s=3)
    assert not any(stillness.still({CLIP: (10, now_s)}, now_s) for now_s in range(20))


def test_an_empty_file_is_waited_for():
    stillness = Stillness(still_s=1)
    assert not any(stillness.still({CLIP: (0, 0)}, now_s) for now_s in range(9))


def test_a_file_that_changed_or_came_back_is_told_again():
    stillness = Stillness(still_s=1)
    for stamp in ((10, 1), (12, 2)):
        assert stillness.still({CLIP: stamp}, 0) == []
        assert stillness.still({CLIP: stamp}, 1) == [CLIP]
    stillness.still({}, 2)
    assert stillness.still({CLIP: (12, 2)}, 3) == []
    assert stillness.still({CLIP: (12, 2)}, 9) == []  # the very same file again


def test_links_hidden_files_and_other_kinds_are_not_looked_at(tmp_path):
    for name in ("a.MP4", "b.csv", "c.txt", ".d.mp4", "~e.csv", "f.mp4.part"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "g.mp4").symlink_to("/etc/passwd")
    assert [path.name for path in files_in(tmp_path)] == ["a.MP4", "b.csv"]


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(WatchedFolderGone, match="plug in its disk"):
        files_in(tmp_path / "gone")


def test_tables_and_a_broken_clip_are_taken_in_with_what_became_of_them(tmp_path):
    folder, said = tmp_path / "folder", []
    folder.mkdir()
    for name in ("sheet.csv", "cut_short.mp4"):
        shutil.copy(SAMPLES / name, folder)
    logbook = new_logbook(tmp_path / "logbook")
    watch.watch(logbook, folder, session="a", say=said.append, looks=5)
    assert any("cut_short.mp4: set aside: the file is cut off" in line for line in said)
    assert "sheet.csv: 36 rows taken in" in said
    assert (len(throws(logbook)), list(clips(logbook)["state"])) == (36, ["set aside"])
    logbook.engine.dispose()
