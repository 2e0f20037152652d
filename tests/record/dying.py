"""Runs work in a child process that is killed, has no rights, or has no room on its disk."""

import os
import pickle
import signal
import time

NOBODY = 65534


def killed(work, after_s):
    """Run `work` in a child and kill -9 it after so long; whether it had finished."""
    child = os.fork()
    if child == 0:
        try:
            work()
            os._exit(0)
        except BaseException:
            os._exit(1)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert not (os.WIFEXITED(status) and os.WEXITSTATUS(status)), "the work failed before it was killed"
    return os.WIFEXITED(status)


def in_child(work, before):
    """What `work` returns or raises in a child that calls `before` first."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            before()
            answer = work()
        except BaseException as error:
            answer = error
        with os.fdopen(writer, "wb") as pipe:
            pickle.dump(answer, pipe)
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as pipe:
        answer = pickle.load(pipe)
    os.waitpid(child, 0)
    return answer


def without_rights():
    """Give up root's right to write everywhere, where we have it."""
    if os.geteuid() == 0:
        os.setgid(NOBODY)
        os.setuid(NOBODY)
