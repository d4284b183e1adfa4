"""Options that several commands have."""

import click

from fitmatch.lengths import JOB_UNITS

as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
unit = click.option("--unit", type=click.Choice(JOB_UNITS), help="Show lengths in this unit instead of the job's.")
quiet = click.option("--quiet", is_flag=True, help="Print nothing on standard error except errors.")
debug = click.option("--debug", is_flag=True, help="Show the traceback if fitmatch itself fails.")
