"""`python -m release`."""

from release.cli import main

main()
