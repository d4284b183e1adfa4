"""How a command leaves where it does not leave with 0, all is well, or 1, something needs attention."""

from typing import Final

BAD_INPUT: Final = 2
FAULT: Final = 70  # EX_SOFTWARE of sysexits.h
INTERRUPTED: Final = 130
