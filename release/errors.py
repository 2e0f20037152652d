"""Every error that a user can cause. Programming mistakes stay ValueError.

A message says what was wrong, in which file or row, and what to do. `cli.main` and the page catch
`ReleaseError` once; nothing else does, except a batch that sets one item aside and goes on.
"""

from pathlib import Path


class ReleaseError(Exception):
    """Shown by the command line as one line, without a traceback."""

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle without calling the constructor again, whose arguments a message does not tell."""
        return _as_it_was, (type(self), self.args, vars(self))


def _as_it_was(
    kind: type[ReleaseError], arguments: tuple[object, ...], fields: dict[str, object]
) -> ReleaseError:
    error = kind.__new__(kind)
    error.args, error.__dict__ = arguments, dict(fields)
    return error


class ModelsNotFetched(ReleaseError):
    def __init__(self, why: str) -> None:
        super().__init__(
            f"the MediaPipe models could not be fetched: {why}. Connect to a network and run `release "
            "models fetch`, or name a folder that holds the four .tflite files with --from. Everything but "
            "the second opinion works without them"
        )


class ModelDamaged(ReleaseError):
    def __init__(self, path: Path, *, found: str, wanted: str) -> None:
        self.path, self.found, self.wanted = path, found, wanted
        super().__init__(
            f"not the published model: {path} has SHA-256 {found[:12]}..., expected {wanted[:12]}.... "
            "Delete it and run `release models fetch` again"
        )


class PlanUnreadable(ReleaseError):
    """plan.toml is missing, not TOML, or contradicts itself."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"the plan {path.name} cannot be used: {why}")


class ClipError(ReleaseError):
    """Something about one video file; `clip` is its path or address."""

    what: str
    todo: str

    def __init__(self, clip: Path | str, detail: str = "") -> None:
        self.clip, self.detail = clip, detail
        said = f"{self.what}: {detail}" if detail else self.what
        super().__init__(f"{said}. {self.todo}. Clip: {clip}")


class ClipMissing(ClipError):
    what = "there is no file here"
    todo = "Check the path, or plug in the disk that holds the clips"


class ClipNotFetched(ClipError):
    what = "its store does not hand it over"
    todo = "Check the address, the network and your credentials for that store"


class ClipUnreadable(ClipError):
    what = "the system does not let this file be read"
    todo = "Check its permissions and the disk"


class ClipEmpty(ClipError):
    what = "the file is empty (0 bytes)"
    todo = "Copy it from the phone again"


class NotAVideo(ClipError):
    what = "this is not a video the tool reads"
    todo = "Give the phone's own file: MP4, MOV, MKV, WebM, AVI or MPEG-TS"


class ClipTruncated(ClipError):
    what = "the file is cut off"
    todo = "Copying or recording broke off: copy it from the phone again"


class ClipDamaged(ClipError):
    what = "the file is damaged"
    todo = "Copy it from the phone again; if that file is damaged too, film the throw again"


class NoVideoTrack(ClipError):
    what = "the file holds no video track"
    todo = "Give the video itself, not its sound alone"


class NoFrames(ClipError):
    what = "the video track holds no frame"
    todo = "Export or copy the clip again"


class ClipTooLarge(ClipError):
    what = "the picture is larger than the tool takes"
    todo = "Film at 4K or less"


class TruthUnreadable(ReleaseError):
    """A folder or file of truth that `release accuracy` cannot use."""


class TableUnreadable(ReleaseError):
    """A CSV is missing, empty, or no table of text."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path.name} cannot be read: {why}")


class ColumnsMissing(ReleaseError):
    """A table lacks a column that it must have."""

    def __init__(self, path: Path, missing: list[str], found: list[str]) -> None:
        self.missing, self.found = missing, found
        super().__init__(
            f"{path.name} has no column {', '.join(missing)}; it has {', '.join(found)}. Rename the column, "
            "or map a flight file's own names with --mapping"
        )


class MappingUnreadable(ReleaseError):
    """A mapping file is not TOML, or names what is not there."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"the mapping {path.name} cannot be used: {why}")


class LogbookError(ReleaseError):
    """Something about a whole logbook; `folder` is where it lies."""

    what: str
    todo: str

    def __init__(self, folder: Path, detail: str = "") -> None:
        self.folder, self.detail = folder, detail
        said = f"{self.what}: {detail}" if detail else self.what
        super().__init__(f"{said}. {self.todo}. Logbook: {folder}")


class NotALogbook(LogbookError):
    what = "this folder is no logbook"
    todo = "Check the path; nothing was written"


class LogbookTooNew(LogbookError):
    what = "a newer version of the tool has written this logbook"
    todo = "Install that version or a later one; nothing was changed"


class LogbookReadOnly(LogbookError):
    what = "the logbook cannot be written"
    todo = "Check the permissions, and that the disk is not mounted read-only; nothing was changed"


class DiskFull(LogbookError):
    what = "the disk is full"
    todo = "Make room and run the same command again: it goes on where it stopped, nothing is lost"


class LogbookBusy(LogbookError):
    what = "another program has kept the logbook locked for half a minute"
    todo = "Close it, then run the same command again"


class LogbookDamaged(LogbookError):
    what = "the database is damaged"
    todo = "Bring back the newest copy with `release restore`; the clips can be taken in again"


class LogbookUnreachable(LogbookError):
    what = "the logbook does not answer"
    todo = "Plug in its disk or start its database server, then run the same command again"


class DatabaseAddressUnusable(ReleaseError):
    def __init__(self, why: str) -> None:
        super().__init__(
            f"the database address cannot be used: {why}. Give postgresql://USER@HOST/DATABASE, and install "
            "the driver with `pip install 'release[postgres]'`"
        )


class NoSuchSession(ReleaseError):
    def __init__(self, name: str, known: list[str]) -> None:
        names = ", ".join(known[:10]) or "none yet"
        super().__init__(f"no single session is called {name!r}. There are: {names}. See `release sessions`")


class NoSuchAthlete(ReleaseError):
    def __init__(self, athlete: str) -> None:
        super().__init__(f"nobody in this logbook has the code {athlete!r}. See `release roster`")


class NotABackup(ReleaseError):
    def __init__(self, path: Path, why: str) -> None:
        self.path = path
        super().__init__(f"{path} is not a whole backup: {why}. Nothing was changed")


class BreaksNotComparable(ReleaseError):
    """Rows measured under different definitions of break were about to be pooled."""

    def __init__(self, definitions: list[str]) -> None:
        super().__init__(
            f"break is defined differently in these rows ({'; '.join(definitions)}), by up to a factor of "
            "two: compare the rows of one definition"
        )


class NoThrowsToCut(ClipError):
    what = "nothing in it moves as a throw does"
    todo = "If it was filmed slowed, say so with --slowdown or --capture-fps"


class OutputUnwritable(ReleaseError):
    """A file that the user asked for cannot be written."""


class SettingUnknown(ReleaseError):
    """An option of a command has a value that means nothing."""


class NothingToLink(ReleaseError):
    """`release link` was given nothing, or asked for what is not there."""

    def __init__(self, why: str = "give two or three of --clips, --sheet and --flight") -> None:
        super().__init__(f"nothing to link: {why}")


class ModelsMissing(ReleaseError):
    """One of our own networks is not in the installed package."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"the model {path.name} is not in the installed package. Install it again")


class SampleMissing(ReleaseError):
    """The demo is run outside a checkout."""

    def __init__(self, folder: Path) -> None:
        super().__init__(
            f"there is no sample session in {folder}: run the demo from a checkout of the project"
        )


class ProtractorTableUnreadable(ReleaseError):
    def __init__(self, table: Path, why: str) -> None:
        super().__init__(
            f"cannot read the table of held angles: {why}. It needs a column `clip` and one or more of "
            f"wrist_flexion_deg, wrist_deviation_deg, forearm_rotation_deg. Table: {table}"
        )


class ClipStillGrowing(ClipError):
    what = "the file changed while it was read"
    todo = "Wait until it has been copied or recorded to its end, then add it again"


class ClipTakesTooLong(ClipError):
    what = "measuring it took too long and was stopped"
    todo = "Trim the clip to the throw, or copy it from the phone again if it should be short"


class ClipTakesTooMuch(ClipError):
    what = "measuring it needs more memory than a clip may take"
    todo = "Trim the clip to the throw, or film at 1080p"


class ClipCrashes(ClipError):
    what = "reading it crashed the process that did so; no other clip was touched"
    todo = "Copy it from the phone again, or export it to MP4"


class ClipFails(ClipError):
    what = "the tool failed on this clip"
    todo = "Copy it from the phone again; if it fails again, report this message with the clip"


class ClusterUnreachable(ReleaseError):
    def __init__(self, scheduler: str, why: str) -> None:
        super().__init__(
            f"the Dask cluster at {scheduler} cannot be used: {why}. Start `dask scheduler` and, on each "
            "machine, `dask worker` with the same version of the tool; then run the same command again"
        )


class CameraRefused(ReleaseError):
    """The marks, or two clips, do not tell where a camera stands."""

    def __init__(self, why: str, todo: str) -> None:
        self.why = why
        super().__init__(f"no camera: {why}. {todo}")


class CameraUnreadable(ReleaseError):
    """camera.toml is missing, not TOML, or says what cannot be."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"the camera file {path.name} cannot be used: {why}")


class WordUnclear(ReleaseError):
    """A person's word on a link names what is not there, or too few or too many rows."""

    def __init__(self, why: str) -> None:
        super().__init__(f"nothing was written down: {why}. `release link` lists what there is")
