"""`python -m fitmatch`."""

from fitmatch.cli import main

main()
