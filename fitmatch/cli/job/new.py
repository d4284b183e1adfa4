"""`fitmatch new`: a job folder ready to be filled in, or a filled sample to try things on."""

import os
from contextlib import suppress
from pathlib import Path

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import print_report
from fitmatch.wording import as_argument, printable

_MOST = 99
_SEPARATORS = {",": ",", ";": ";", "tab": "\t"}


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--unit", type=click.Choice(["in", "mm"]), help="The unit of the job's numbers.  [default: in]")
@click.option("--rods", type=options.Whole(0, _MOST), help="How many rods there are.  [default: 4]")
@click.option("--mains", type=options.Whole(0, _MOST), help="How many mains there are.  [default: 5]")
@click.option(
    "--separator",
    type=click.Choice([*_SEPARATORS]),
    help="What separates the cells; `;` if your spreadsheet writes decimal commas.  [default: ,]",
)
@click.option("--xlsx", is_flag=True, help="Write workbooks instead of text tables.")
@click.option("--sample", metavar="NAME", help="Copy this filled-in sample instead of blank files.")
@options.debug
def command(
    folder: Path,
    unit: str | None,
    rods: int | None,
    mains: int | None,
    separator: str | None,
    xlsx: bool,
    sample: str | None,
    debug: bool,
) -> int:
    """Create a job folder ready to be filled in.

    FOLDER must not exist yet, or be empty.

    \b
    Example:
      fitmatch new my-build
      fitmatch new my-build --unit mm --rods 6 --mains 7
      fitmatch new my-build --separator ";"
      fitmatch new trial --sample generator-five
    """
    if separator is not None and xlsx:
        raise click.UsageError("--separator is for tables of text, and --xlsx writes workbooks; choose one")
    next_line = f"fitmatch assign {as_argument(str(folder))}"
    if sample is not None:
        if not (unit is None and rods is None and mains is None and separator is None and not xlsx):
            raise click.UsageError("--sample is copied as it is; leave out the options for blank files")
        files = _sample_files(sample)
        then = f"Filled in already. Next: {next_line}"
    else:
        rods, mains = 4 if rods is None else rods, 5 if mains is None else mains
        if rods + mains == 0:
            raise click.UsageError("a job needs at least one rod or main")
        files = _blank_files(folder, unit or "in", rods, mains, None if xlsx else _SEPARATORS[separator or ","])
        then = f"Fill in the lines marked TO DO in job.toml first, then the readings. Then: {next_line}"
    try:
        _write_folder(folder, files)
    except OSError as error:
        raise click.ClickException(f"{printable(folder)} cannot be written: {error.strerror}") from error
    print_report("".join(f"{printable(folder / path)}\n" for path in files) + then + "\n")
    return 0


def _blank_files(folder: Path, unit: str, rods: int, mains: int, separator: str | None) -> dict[str, bytes]:
    """The files of a blank job, its tables parted by the separator; None: as workbooks."""
    from fitmatch.cli.job.blank import TEXT_COLUMNS, blank_job
    from fitmatch.names import fault_in_name

    name = folder.resolve().name.strip(" .~$")
    if fault_in_name(f"{name}-mains-B") is not None:
        name = ""
    blank = blank_job(unit, rods=rods, mains=mains, name=name, workbooks=separator is None)
    files = {"job.toml": blank.job_toml.encode()}
    if separator is None:
        from fitmatch.intake.writing.workbooks import workbook_of

        return files | {f"{path}.xlsx": workbook_of(rows, TEXT_COLUMNS) for path, rows in blank.tables.items()}
    return files | {f"{path}.csv": _csv(rows, separator) for path, rows in blank.tables.items()}


def _csv(rows: list[list[str]], separator: str) -> bytes:
    import csv
    from io import StringIO

    text = StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


def samples_home() -> Path:
    """Where the samples are: inside the installed package, or beside it in a source tree."""
    package = Path(__file__).parents[2]
    inside = package / "samples"
    return inside if inside.is_dir() else package.parent / "samples"


def sample_names() -> list[str]:
    return sorted(path.parent.name for path in samples_home().glob("*/job.toml"))


def _sample_files(name: str) -> dict[str, bytes]:
    known = sample_names()
    if name not in known:
        hint = f"choose one of {', '.join(known)}" if known else "this installation has none"
        raise click.BadParameter(f"there is no sample `{name}`; {hint}", param_hint="--sample")
    home = samples_home() / name
    paths = sorted(path for path in home.rglob("*") if path.is_file() and not path.name.startswith("."))
    return {path.relative_to(home).as_posix(): path.read_bytes() for path in paths}


def _write_folder(folder: Path, files: dict[str, bytes]) -> None:
    """Write all files or none: they are made in a draft folder and moved into place when complete."""
    exists = folder.is_dir()
    if not exists and (folder.exists() or folder.is_symlink()):
        raise click.UsageError(f"{printable(folder)} is a file; name a folder that does not exist yet")
    if exists and any(folder.iterdir()):
        raise click.UsageError(f"{printable(folder)} is not empty; name a folder that does not exist yet")
    if not folder.absolute().parent.is_dir():
        raise click.UsageError(f"{printable(folder.absolute().parent)} does not exist; make that folder first")
    draft = folder / f".draft.{os.getpid()}" if exists else folder.absolute().with_name(f".{folder.name}.{os.getpid()}")
    draft.mkdir()  # fails where anything has that name, even a link that leads elsewhere
    moved: list[Path] = []
    try:
        for path, content in files.items():
            file = draft / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
        if not exists:
            draft.rename(folder)
            return
        for entry in sorted(draft.iterdir()):
            moved.append(folder / entry.name)
            entry.rename(moved[-1])
        draft.rmdir()
    except BaseException:
        from shutil import rmtree

        for leftover in (draft, *moved):
            rmtree(leftover, ignore_errors=True)  # a file stays
            with suppress(OSError):
                leftover.unlink()
        raise
