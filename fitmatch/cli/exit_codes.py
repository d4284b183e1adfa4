"""Exit codes other than 0, all is well, and 1, something needs attention."""

BAD_INPUT = 2
HELD = 3  # another job holds what was asked for
FAULT = 70  # EX_SOFTWARE of sysexits.h
INTERRUPTED = 130


def is_interrupt(error: BaseException | None) -> bool:
    """Whether Ctrl-C is what an exception comes from: one that arrives while a class is made is wrapped in another."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__ or error.__context__
    return error is not None
