"""Run a function in a process of its own that may crash, hang or run out of memory.

In:   a function and its arguments (pickled), a limit of time and of memory.
Out:  its answer, or an error that says in words what became of it; the process is replaced then.
Why:  plain pipes and `subprocess`, since neither `multiprocessing` nor `concurrent.futures` gives a limit
      for each call: a pool of theirs is lost with the first process that dies.
"""

import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Generator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Self, TypeVar

from release.cores import cores, environment_for
from release.errors import ClipCrashes, ClipFails, ClipTakesTooLong, ClipTakesTooMuch, ReleaseError

T = TypeVar("T")
OUT_OF_MEMORY = "out of memory"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one clip may take before it is set aside."""

    time_s: float = 180.0
    memory_bytes: int = 3_000_000_000  # of data asked for; a 1080p clip asks for up to 2 GB and uses less


class Apart:
    """One such process; it is started at the first question, and again after it was lost."""

    def __init__(self, limits: Limits = Limits(), *, n_cores: int | None = None) -> None:
        """None: as many cores as this process may use."""
        self.limits = limits
        self._n_cores = n_cores or cores()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def ask(
        self,
        function: Callable[..., T | Generator[str, None, T]],
        *arguments: object,
        about: Path | str,
        told: Callable[[str], None] | None = None,
    ) -> T:
        """The function's answer, from the process.

        Args:
            function: Found by its module and name there. Of a generator, what it yields is told on the way,
                and what it returns is the answer.
            arguments: Whatever pickles.
            about: The clip that an error names.
            told: Called with what a generator yields.

        Raises:
            ClipTakesTooLong: No answer within the time limit; the process was killed.
            ClipTakesTooMuch: It wanted more memory than the limit.
            ClipCrashes: The process died.
            ClipFails: An error that is none of the tool's own.
            ReleaseError: The tool's own errors come through as they are.
        """
        process = self._running()
        late = threading.Event()

        def stop() -> None:
            late.set()
            process.kill()

        timer = threading.Timer(self.limits.time_s, stop)
        timer.start()
        try:
            pickle.dump((function, arguments), _pipe(process.stdin))
            _pipe(process.stdin).flush()
            fine, answer = pickle.load(_pipe(process.stdout))
            while fine is None:
                if told is not None:
                    told(answer)
                fine, answer = pickle.load(_pipe(process.stdout))
        except (EOFError, OSError, pickle.UnpicklingError) as error:
            raise self._lost(about, late.is_set()) from error
        finally:
            timer.cancel()
        if fine:
            return answer
        raise self._failed(about, answer)

    def stop(self) -> None:
        """End the process, if there is one."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            code = f"from release.apart import serve_apart; serve_apart({self.limits.memory_bytes})"
            command = [sys.executable, "-c", code]
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment_for(self._n_cores)
            )
        return self._process

    def _lost(self, about: Path | str, late: bool) -> Exception:
        assert self._process is not None
        self._process.kill()
        status = self._process.wait()
        self.stop()
        if late:
            return ClipTakesTooLong(about, f"more than {self.limits.time_s:g} s")
        if status == -signal.SIGKILL and os.name == "posix":
            return ClipTakesTooMuch(about, "the system killed it")
        died = signal.Signals(-status).name if status < 0 else f"status {status}"
        return ClipCrashes(about, died)

    def _failed(self, about: Path | str, error: Exception | str) -> Exception:
        if isinstance(error, Exception):
            return error
        self.stop()  # what went wrong may have left anything behind
        if error == OUT_OF_MEMORY:
            return ClipTakesTooMuch(about, f"more than {self.limits.memory_bytes / 1e9:g} GB")
        return ClipFails(about, error)


def _pipe(end: Any) -> BinaryIO:
    assert end is not None
    return end


def _serve(questions: BinaryIO, answers: BinaryIO) -> None:
    """Answer until the other end closes: (True, answer), (False, our own error) or (False, what it was).

    Before that come (None, what is told on the way).
    """

    def tell(step: str) -> None:
        answers.write(pickle.dumps((None, step)))
        answers.flush()

    while True:
        try:
            function, arguments = pickle.load(questions)
        except EOFError:
            return
        answers.write(_answer(function, arguments, tell))
        answers.flush()


def _answer(
    function: Callable[..., object], arguments: tuple[object, ...], tell: Callable[[str], None]
) -> bytes:
    try:
        answer = function(*arguments)
        while isinstance(answer, Generator):
            try:
                tell(next(answer))
            except StopIteration as end:
                answer = end.value
        return pickle.dumps((True, answer))
    except Exception as error:  # whatever it is concerns this clip alone
        if isinstance(error, ReleaseError):
            return pickle.dumps((False, error))
        if _for_memory(error):
            return pickle.dumps((False, OUT_OF_MEMORY))
        return pickle.dumps((False, f"{type(error).__name__}: {error}"))


def _for_memory(error: BaseException | None) -> bool:
    """ONNX Runtime's errors hide that it was memory, so the words and the causes are looked at too."""
    while error is not None:
        text = str(error).lower()
        if isinstance(error, MemoryError) or "bad_alloc" in text or "allocate memory" in text:
            return True
        error = error.__cause__ or error.__context__
    return False


def serve_apart(memory_bytes: int) -> None:
    """What the process runs: limit itself, then answer what it is asked on standard input."""
    # Libraries that print to standard output must not break into the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the asking process decides when to stop
    with suppress(ImportError):  # there is no such limit on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (memory_bytes, memory_bytes))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with suppress(BrokenPipeError):
        _serve(sys.stdin.buffer, answers)
