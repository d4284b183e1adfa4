"""A shelf of an earlier version brought up to date by Alembic, all steps at once, after a copy of it was made."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from fitmatch.shelf.store.addresses import file_of
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import METADATA, VERSION, VERSIONS

SCRIPTS: Final = Path(__file__).parent / "migrations"


def migrate(shelf: Shelf) -> None:
    """Bring the tables to the newest version; nothing is done if somebody else did so meanwhile."""
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(SCRIPTS))
    with shelf.writing() as connection:
        found = connection.execute(VERSION.select()).scalar_one()
        if found == VERSIONS[-1]:
            return
        if (path := file_of(shelf.engine.url)) is not None:
            _copy(path, path.with_name(f"{path.name}.version-{found}"))
        context = MigrationContext.configure(connection, opts={"target_metadata": METADATA})
        with Operations.context(context):
            for step in reversed([*scripts.iterate_revisions(VERSIONS[-1], found)]):
                step.module.upgrade()
        connection.execute(VERSION.update().values(version_num=VERSIONS[-1]))


def _copy(path: Path, copy: Path) -> None:
    """A whole copy, also while others read, that only the user may read."""
    os.close(os.open(copy, os.O_CREAT, 0o600))
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
