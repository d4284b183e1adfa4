"""Mistakes in options of the command line, for whoever reads more from them than click does."""


class OptionError(ValueError):
    """A mistake in an option: `option`, and what is wrong and what to do."""

    def __init__(self, option: str, text: str) -> None:
        super().__init__(text)
        self.option = option


def option_of(key: str) -> str:
    """The option that gives what a key of job.toml gives."""
    return "--" + key.replace("_", "-")
