"""The way in from a shell: the command `fitmatch`, and `python -m fitmatch`."""

import sys


def run() -> None:
    """Run one command. All of it is loaded in here, so that Ctrl-C ends in one line however early it comes."""
    try:
        from fitmatch.cli.main import main
    except BaseException as error:
        from fitmatch.cli.exit_codes import INTERRUPTED, is_interrupt

        if not is_interrupt(error):
            raise
        sys.stderr.write("stopped by Ctrl-C\n")
        sys.exit(INTERRUPTED)
    main()


if __name__ == "__main__":
    run()
