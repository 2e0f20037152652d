"""How many of the machine's cores this process may use."""

import os

OPENMP = "OMP_NUM_THREADS"  # OpenMP's own variable; numpy's and scipy's linear algebra reads it too


def cores() -> int:
    """Those that the system gives the process, or fewer where OMP_NUM_THREADS says so."""
    given = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    said = os.environ.get(OPENMP, "")
    return min(given, int(said)) if said.isdecimal() and int(said) > 0 else given


def environment_for(n_cores: int) -> dict[str, str]:
    """This process's environment for another that is to use so many: its libraries would take them all."""
    return os.environ | {OPENMP: str(n_cores), "OPENCV_FOR_THREADS_NUM": str(n_cores)}
