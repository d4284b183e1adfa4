"""`fitmatch shelf export` and `import`."""

from pathlib import Path

import click

from fitmatch.cli.shelf.opened import Asked, shelf_command

_folder = click.argument("folder", type=click.Path(path_type=Path))


@shelf_command("export")
@_folder
def export(asked: Asked, folder: Path) -> int:
    """Write the whole shelf to a folder of plain .csv files.

    There is one for each table, events included. FOLDER must be new or empty. Lengths are whole nanometres, columns
    that end in `_nm`, so that nothing is rounded.

    \b
    Example:
      fitmatch shelf export shelf-in-march
    """
    from fitmatch.report.shelf.data import copied_document
    from fitmatch.report.shelf.texts import copied_text
    from fitmatch.shelf.actions.archiving import export as action

    asked.answer(action(asked.known_shelf(), folder), copied_text, copied_document)
    return 0


@shelf_command("import")
@_folder
def import_(asked: Asked, folder: Path) -> int:
    """Read an exported folder onto a shelf that is still empty.

    All of it is read or nothing. This is also the way to move a shelf from a file to a server, or back.

    \b
    Example:
      fitmatch shelf import shelf-in-march --db new.db
    """
    from fitmatch.report.shelf.data import copied_document
    from fitmatch.report.shelf.texts import copied_text
    from fitmatch.shelf.actions.archiving import import_ as action

    asked.answer(action(asked.shelf(), folder), copied_text, copied_document)
    return 0
