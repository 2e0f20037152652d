"""Clips at addresses instead of in folders: taken in and looked at as those in folders are."""

import fsspec
import pytest
from fsspec.spec import AbstractFileSystem
from typer.testing import CliRunner

from release.batch import measure_many
from release.cli import app
from release.errors import ClipNotFetched
from release.record import read
from release.record.write import session_for
from release.record.write_clips import add_clips, file_sha256
from release.store import fetched
from tests.clip.movies import steady, write_movie


class OwnTrouble(Exception):
    """As the packages of stores raise: neither an OSError nor a ValueError."""


class NoKey(AbstractFileSystem):
    protocol = "nokey"

    def get_file(self, *_: object, **__: object) -> None:
        raise OwnTrouble("no credentials were found")


@pytest.fixture
def clip(tmp_path):
    return write_movie(tmp_path / "throw.mp4", steady(40))


@pytest.fixture
def stored(clip):
    memory = fsspec.filesystem("memory")
    memory.pipe_file("/barn/throw.mp4", clip.read_bytes())
    memory.pipe_file("/barn/empty.mp4", b"")
    yield "memory://barn/throw.mp4"
    memory.rm("/barn", recursive=True)


@pytest.fixture
def no_key():
    fsspec.register_implementation("nokey", NoKey, clobber=True)
    return "nokey://barn/throw.mp4"


def test_a_clip_is_taken_in_from_its_address_under_its_own_name(logbook, clip, stored):
    taken = list(add_clips(logbook, [stored, stored], session_for(logbook, "monday")))
    assert [(one.source, one.new, one.why_not) for one in taken] == [
        (stored, True, None),
        (stored, False, None),
    ]
    (row,) = read.clips(logbook).to_dict("records")
    assert (row["name"], row["sha256"]) == ("throw.mp4", file_sha256(clip))
    assert (logbook.clips / f"{row['sha256']}.mp4").read_bytes() == clip.read_bytes()


@pytest.mark.parametrize(
    ("address", "said"),
    [
        pytest.param("memory://barn/gone.mp4", "memory://barn/gone.mp4", id="not there"),
        pytest.param("nokey://barn/throw.mp4", "no credentials were found", id="an error of the store's own"),
        pytest.param("memory://barn/empty.mp4", "the file is empty", id="nothing in it"),
        pytest.param("unheard://barn/throw.mp4", "Protocol not known", id="no such store"),
    ],
)
def test_what_a_store_does_not_hand_over_is_told_and_the_rest_goes_on(logbook, stored, no_key, address, said):
    bad, good = add_clips(logbook, [address, stored], session_for(logbook, "monday"))
    assert (bad.sha256, good.new) == (None, True)
    assert said in bad.why_not
    assert bad.why_not.endswith(f"Clip: {address}")
    (one,) = measure_many([address])
    assert "does not hand it over" in one.why


def test_loose_clips_may_lie_at_addresses(clip, no_key):
    answer = CliRunner().invoke(app, ["look", f"file://{clip}", no_key])
    assert answer.output.startswith("throw.mp4: refused")
    assert "no credentials were found" in answer.output
    assert answer.exit_code == 1


def test_a_copy_has_the_clips_name_and_goes_away(clip, stored):
    with fetched(stored) as copy:
        assert (copy.name, copy.read_bytes()) == ("throw.mp4", clip.read_bytes())
    assert not copy.exists()
    with pytest.raises(ClipNotFetched), fetched("file:///barn/long.mp4?signed=" + "x" * 300):
        pass
