"""Exit codes other than 0, all is well, and 1, something needs attention."""

from typing import Final

BAD_INPUT: Final = 2
FAULT: Final = 70  # EX_SOFTWARE of sysexits.h
INTERRUPTED: Final = 130
