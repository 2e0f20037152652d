"""A PostgreSQL server of Debian's package, started in a folder of its own on a socket of its own."""

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

OWNER = "postgres"


def binaries():
    """Where the server's programs lie; None where it is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextlib.contextmanager
def running():
    """Start a server that listens on no network; yields a function that makes an empty database's address."""
    programs = binaries()
    folder = Path(tempfile.mkdtemp(prefix="pg"))  # short: a socket's path may have 107 letters
    as_owner = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, OWNER, OWNER)
        as_owner = {"user": OWNER, "group": OWNER, "extra_groups": []}

    def do(program, *arguments):
        command = [programs / program, *arguments]
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, **as_owner)

    data, options = folder / "data", f"-k {folder} -c listen_addresses= -c fsync=off"
    do("initdb", "-D", data, "-A", "trust", "-U", OWNER, "-E", "UTF8", "--no-sync")
    do("pg_ctl", "-D", data, "-o", options, "-l", folder / "log", "-w", "start")

    def address(name):
        do("createdb", "-h", folder, "-U", OWNER, name)
        return f"postgresql://{OWNER}@/{name}?host={folder}"

    try:
        yield address
    finally:
        do("pg_ctl", "-D", data, "-m", "immediate", "stop")
        shutil.rmtree(folder)
