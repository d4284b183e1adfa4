"""`python -m fitmatch`."""

from fitmatch.cli.main import main

main()
