"""A way to run the command in this process."""

import pytest

from fitmatch.cli.main import main


class Ran:
    """Exit status and the two outputs of one run in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *args: object) -> None:
        with pytest.raises(SystemExit) as left:
            main([str(a) for a in args])
        self.status = left.value.code
        self.out, self.err = capsys.readouterr()
