"""Clips that lie at an address (`s3://barn/clip.mov`) instead of in a folder; fsspec fetches them."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

from release.errors import ClipEmpty, ClipNotFetched


def is_address(source: str) -> bool:
    return "://" in source


def name_of(address: str) -> str:
    """The clip's own name, without what signs the address."""
    return PurePosixPath(urlsplit(address).path).name or "clip"


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
