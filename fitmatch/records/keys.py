"""What tells one shell, or one position, from every other."""

ShellKey = tuple[str, str]  # box and name
PositionKey = tuple[str, str]  # job, empty where there is one job alone, and name
ItemKey = str | ShellKey  # of what readings are taken: a position's name, or a shell


def full_name(key: ShellKey | PositionKey) -> str:
    """BOX/NAME of a shell; JOB/NAME of a position, or its name where there is one job alone."""
    return "/".join(filter(None, key))
