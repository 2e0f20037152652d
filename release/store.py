"""Clips that lie at an address (`s3://barn/clip.mov`) instead of in a folder; fsspec fetches them."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

from release.errors import ClipEmpty, ClipNotFetched


def is_address(source: str) -> bool:
    return "://" in source


def name_of(clip: Path | str) -> str:
    """The clip's own name, of an address without what signs it."""
    return clip.name if isinstance(clip, Path) else PurePosixPath(urlsplit(clip).path).name or "clip"


def at_hand(clip: Path | str) -> AbstractContextManager[Path]:
    """The clip where it lies, or a copy `fetched` from its address."""
    return nullcontext(clip) if isinstance(clip, Path) else fetched(clip)


@contextmanager
def fetched(address: str) -> Iterator[Path]:
    """A copy of the clip under its own name, which is deleted afterwards.

    Raises:
        ClipNotFetched: Its store does not hand it over, or the package for that store is missing.
        ClipEmpty: There is nothing in it.
    """
    import fsspec

    with TemporaryDirectory(prefix="release-") as folder:
        copy = Path(folder) / name_of(address)
        try:
            filesystem, inside = fsspec.core.url_to_fs(address)
            filesystem.get_file(inside, str(copy))
        except Exception as error:  # every store's package has errors of its own
            raise ClipNotFetched(address, str(error)) from error
        if not copy.stat().st_size:
            raise ClipEmpty(address)
        yield copy
