"""What identifies a shell or a position."""

ShellKey = tuple[str, str]  # box and name
PositionKey = tuple[str, str]  # job (empty for a single job) and name
ItemKey = str | ShellKey  # of an item that is measured: a position's name, or a shell


def full_name(key: ShellKey | PositionKey) -> str:
    """BOX/NAME of a shell; JOB/NAME of a position, or its name alone for a single job."""
    return "/".join(filter(None, key))
