"""Where a session was thrown and with what ball, as the logbook keeps it."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

from sqlalchemy import select

from release.errors import SettingUnknown
from release.flight.result import Setting
from release.record import read, schema, write
from release.record.write_clips import file_sha256
from release.record.write_open import Logbook


def enter_setting(logbook: Logbook, session: str | None, declared: Mapping[str, object]) -> Setting:
    """Keep where a session was thrown and with what ball; what is not declared stays as it is.

    Args:
        logbook: Where.
        session: Its name; None for today's.
        declared: Fields of `Setting`.

    Raises:
        SettingUnknown: No such distance, mound or weight.
    """
    into = write.session_for(logbook, session)
    try:
        setting = replace(setting_of(logbook, into), **declared)
    except ValueError as error:
        raise SettingUnknown(str(error)) from None
    write.set_session(logbook, into, settings=asdict(setting))
    return setting


def setting_of(logbook: Logbook, session: str | None, file: Path | None = None) -> Setting:
    """Where a session was thrown and with what ball: the rule book's where nothing was declared.

    Args:
        logbook: Where.
        session: Its name or id; None for the one that `file` was read into before, or else today's.
        file: A flight file.
    """
    sessions, imports = schema.sessions, schema.imports
    if session is None and file is not None:
        query = select(imports.c.session).where(imports.c.sha256 == file_sha256(file))
        session = next(iter(read.table(logbook, query)["session"]), None)
    called = session or date.today().isoformat()
    query = select(sessions.c.settings).where((sessions.c.name == called) | (sessions.c.session == called))
    return Setting(**(next(iter(read.table(logbook, query)["settings"]), None) or {}))
