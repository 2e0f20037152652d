"""Add a rename to a facility's file of words; what stands in it stays, comments and all."""

import json
from importlib.resources import files
from pathlib import Path

from release.errors import OutputUnwritable, SettingUnknown
from release.suggest.read_words import Words, read_words
from release.suggest.rename import Rename


def write_rename(path: Path, *, of: str, old: str, new: str) -> Words:
    """Add one rename at the end of the file; a file that is not there begins as the starter list.

    Returns:
        The words as they now are.

    Raises:
        WordsFileWrong: The file cannot be used as it is; nothing is written.
        SettingUnknown: An empty wording, or twice the same.
        OutputUnwritable: The folder is missing, full or read-only.
    """
    try:
        rename = Rename(of=of, old=old, new=new)
    except ValueError as error:
        raise SettingUnknown(str(error)) from error
    if path.exists():
        read_words(path)
        text = path.read_text(encoding="utf-8")
    else:
        text = (files("release.suggest") / "starter.toml").read_text(encoding="utf-8")
    lines = [
        f"{name} = {json.dumps(getattr(rename, name), ensure_ascii=False)}" for name in ("of", "old", "new")
    ]
    try:
        path.write_text("\n".join([text.rstrip("\n"), "", "[[renames]]", *lines, ""]), encoding="utf-8")
    except OSError as error:
        raise OutputUnwritable(f"cannot write {path}: {error.strerror}") from error
    return read_words(path)
