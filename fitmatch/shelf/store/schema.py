"""The tables of a shelf. Lengths are whole nanometres, times are UTC as `2026-03-01T09:30:00Z`.

What the program promises the database holds as well, so that a fault in Python cannot break it: a shell stands in
`holds` once at most, as it is the primary key there, and a half of a bore has one shell at most.

A change here is a new version: the next number in `migrations/versions`, in `VERSIONS`, and a file of the version
before in tests/data/shelf.
"""

from typing import Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

VERSIONS: Final = ("0001", "0002")  # oldest first

SINCE: Final = "since"  # of a table that the first version did not have: the one that brought it

FREE: Final = "free"
SET_ASIDE: Final = "set-aside"
FITTED: Final = "fitted"
BARE: Final = "bare"  # how a wall was measured: without its coating
USED: Final = "used"
SCRAPPED: Final = "scrapped"
MISSING: Final = "missing"
SENT_BACK: Final = "sent-back"
STATES: Final = (FREE, SET_ASIDE, FITTED, USED, SCRAPPED, MISSING, SENT_BACK)

SEALED: Final = "sealed"
OPENED: Final = "opened"

METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _one_of(column: str, allowed: tuple[str, ...]) -> CheckConstraint:
    return CheckConstraint(f"{column} IN ({', '.join(map(repr, allowed))})", name=column)


def _number() -> "Column[int]":
    """Given out by the program under its lock, so that numbers have no gaps on any database."""
    return Column("number", Integer, primary_key=True, autoincrement=False)


def _text(name: str) -> "Column[str]":
    return Column(name, Text, nullable=False, server_default="")


def _printed() -> "list[Column[str]]":
    """What is printed on a box or a shell."""
    return [_text(name) for name in ("family", "part", "series", "undersize", "step")]


BOXES: Final = Table(
    "boxes",
    METADATA,
    _number(),
    Column("name", Text, nullable=False, index=True),  # two boxes may have one name
    Column("state", Text, nullable=False),
    _text("kind"),
    *_printed(),
    Column("step_nm", BigInteger),  # diametral, thicker positive; None: no length
    Column("undersize_nm", BigInteger),
    _text("lot"),
    _text("seller"),
    Column("price_thousandths", BigInteger),
    _text("location"),
    _text("opened"),  # a date
    _text("note"),
    Column("since", Text, nullable=False),
    _one_of("state", (SEALED, OPENED, SENT_BACK)),
    Index(None, "state", "family"),
    CheckConstraint("name <> ''", name="named"),
    CheckConstraint("price_thousandths >= 0", name="price"),
)

SHELLS: Final = Table(
    "shells",
    METADATA,
    _number(),
    Column("box", Integer, ForeignKey("boxes.number"), nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("half", Text, nullable=False),
    *_printed(),
    Column("step_nm", BigInteger),
    Column("undersize_nm", BigInteger),
    _text("grade"),
    _text("condition"),
    Column("wall_nm", BigInteger),  # over the coating; None: not yet measured
    Column("coating_nm", BigInteger, nullable=False, server_default="0"),
    Column("measured", Text, nullable=False, server_default="coated"),  # how the wall was measured
    _text("hold"),
    _text("note"),
    Column("marks", Text, nullable=False, server_default="{}"),  # further columns of its file, as JSON
    _text("location"),
    Column("state", Text, nullable=False),
    _text("reason"),  # why it was scrapped
    Column("turn", Integer, nullable=False, server_default="0"),  # which of its measurings counts
    Column("trial_fits", Integer, nullable=False, server_default="0"),
    Column("since", Text, nullable=False),
    Column("ran_in", Integer, ForeignKey("engines.number")),  # the engine that a used shell came out of
    UniqueConstraint("box", "name"),
    _one_of("half", ("upper", "lower", "either")),
    _one_of("state", STATES),
    _one_of("measured", ("coated", BARE)),
    CheckConstraint("name <> '' AND kind <> ''", name="named"),
    CheckConstraint("wall_nm BETWEEN 200000 AND 25000000", name="wall_nm"),
    CheckConstraint("coating_nm >= 0 AND (wall_nm IS NULL OR 2 * coating_nm < wall_nm)", name="coating_nm"),
    Index(None, "state", "kind", "half", "wall_nm"),
    Index(None, "box", "kind", "state", "half"),  # for singles
    Index(None, "family", "kind"),
    Index(None, "location"),
)

GAUGES: Final = Table(
    "gauges",
    METADATA,
    _number(),
    Column("name", Text, nullable=False),
    Column("figures", Text, nullable=False),  # as `[gauge.NAME]` had them, as JSON
    UniqueConstraint("name", "figures"),
)

READINGS: Final = Table(
    "readings",
    METADATA,
    Column("shell", Integer, ForeignKey("shells.number"), primary_key=True, autoincrement=False),
    Column("turn", Integer, primary_key=True, autoincrement=False),  # each time it is measured is one more
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("nm", BigInteger, nullable=False),  # as the gauge gave it
    Column("off_nm", BigInteger, nullable=False, server_default="0"),  # zero error and ball, which was taken off
    Column("station", Integer),
    Column("angle", Float),
    Column("gauge", Integer, ForeignKey("gauges.number")),
    _text("taken_by"),
    _text("at"),
    _text("confirmed"),
)

ENGINES: Final = Table(
    "engines",
    METADATA,
    _number(),
    Column("job", Text, nullable=False),
    _text("title"),
    Column("at", Text, nullable=False),
    _text("done_by"),
    _text("note"),
    _text("torn_down"),  # when
    _text("unit"),  # that of its job
    Column("names", Text, nullable=False, server_default="[]"),  # all positions of its job, in file order, as JSON
    Column("record", Text, nullable=False, server_default="{}"),  # `[record]` of its job, as JSON
)

JOBS: Final = Table(
    "jobs",
    METADATA,
    _number(),
    Column("name", Text, nullable=False, index=True),  # open is the one that holds shells
    Column("folder", Text, nullable=False),
    _text("title"),
    Column("unit", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("engine", Integer, ForeignKey("engines.number")),
    Column("since", Text, nullable=False),
)


def _bore() -> "list[Column[int] | Column[float] | Column[bool] | Column[str]]":
    """What is known of a position with two shells."""
    return [
        Column("place", Integer, nullable=False),  # in file order
        Column("kind", Text, nullable=False),
        Column("journal_nm", BigInteger, nullable=False),
        Column("journal_u_nm", Float),  # its standard uncertainty; None: not known
        Column("journal_freedom", Integer),  # degrees of freedom of that; None: endless
        Column("housing_bore_nm", BigInteger, nullable=False),
        Column("clearance_nm", BigInteger, nullable=False),
        Column("target_nm", BigInteger),
        Column("min_nm", BigInteger),
        Column("max_nm", BigInteger),
        Column("within_limits", Boolean, nullable=False),
    ]


JOB_POSITIONS: Final = Table(
    "job_positions",
    METADATA,
    Column("job", Integer, ForeignKey("jobs.number"), primary_key=True, autoincrement=False),
    Column("position", Text, primary_key=True),
    Column("upper", Integer, ForeignKey("shells.number"), nullable=False),
    Column("lower", Integer, ForeignKey("shells.number"), nullable=False),
    *_bore(),
    CheckConstraint("upper <> lower", name="two_shells"),
)

HOLDS: Final = Table(
    "holds",
    METADATA,
    Column("shell", Integer, ForeignKey("shells.number"), primary_key=True, autoincrement=False),
    Column("job", Integer, ForeignKey("jobs.number")),
    Column("engine", Integer, ForeignKey("engines.number")),
    Column("position", Text, nullable=False),
    Column("half", Text, nullable=False),
    CheckConstraint("(job IS NULL) <> (engine IS NULL)", name="one_holder"),
    _one_of("half", ("upper", "lower")),
    UniqueConstraint("job", "position", "half"),
    UniqueConstraint("engine", "position", "half"),
)

ENGINE_POSITIONS: Final = Table(
    "engine_positions",
    METADATA,
    Column("engine", Integer, ForeignKey("engines.number"), primary_key=True, autoincrement=False),
    Column("position", Text, primary_key=True),
    *_bore(),
    Column("assembled_nm", BigInteger),  # the clearance as measured with the shells in
    Column("journal_after_nm", BigInteger),  # as measured when the engine was taken down
    Column("journal_wear_u_nm", Float),  # expanded uncertainty of the wear; None: not known
    _text("permission"),  # the maker's, quoted, for one outside its limits
    Column("seating_nm", BigInteger),  # counted in; None: an earlier version did not keep it, nor any of what follows
    Column("uncounted_nm", BigInteger),  # coating of both shells that does not count as wall
    Column("clearance_u_nm", Float),  # expanded uncertainty of the clearance; None: not known
    Column("clearance_u_least", Boolean),  # whether it is at least that
    _text("housing"),  # the position that the housing came from, if it moved
    _text("limits_from"),
    Column("gauges_celsius", Float),  # None: nothing was corrected
    Column("parts_celsius", Float),
    Column("kelvin_limit", Float),
    Column("plan_number", Integer),
    _text("plan_date"),
    _text("plan_time"),
    CheckConstraint("within_limits OR permission <> ''", name="permitted"),
)

ENGINE_SHELLS: Final = Table(
    "engine_shells",
    METADATA,
    Column("engine", Integer, primary_key=True, autoincrement=False),
    Column("position", Text, primary_key=True),
    Column("half", Text, primary_key=True),
    Column("shell", Integer, ForeignKey("shells.number"), nullable=False, index=True),
    Column("wall_nm", BigInteger),  # when it was fitted; None: it left the engine without having run
    Column("wall_after_nm", BigInteger),  # as measured when the engine was taken down
    Column("wall_wear_u_nm", Float),  # as that of the journal
    Column("wall_tried_nm", BigInteger),  # when it was fitted, of one that left the engine without having run
    ForeignKeyConstraint(["engine", "position"], ["engine_positions.engine", "engine_positions.position"]),
    _one_of("half", ("upper", "lower")),
    UniqueConstraint("engine", "shell"),
)

ENGINE_READINGS: Final = Table(
    "engine_readings",
    METADATA,
    Column("engine", Integer, primary_key=True, autoincrement=False),
    Column("position", Text, primary_key=True),
    Column("feature", Text, primary_key=True),
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("nm", BigInteger, nullable=False),  # as the gauge gave it
    Column("station", Integer),
    Column("angle", Float),
    Column("gauge", Integer, ForeignKey("gauges.number")),
    _text("confirmed"),
    ForeignKeyConstraint(["engine", "position"], ["engine_positions.engine", "engine_positions.position"]),
    _one_of("feature", ("journal", "housing_bore")),
    info={SINCE: "0002"},
)

EVENTS: Final = Table(
    "events",
    METADATA,
    _number(),
    Column("at", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("shell", Integer, ForeignKey("shells.number"), index=True),
    Column("box", Integer, ForeignKey("boxes.number"), index=True),
    _text("from_state"),
    _text("to_state"),
    _text("job"),
    Column("engine", Integer, ForeignKey("engines.number")),
    _text("position"),
    _text("done_by"),
    _text("note"),
    Column("before", Text),  # what `correct` restores, as JSON; None: nothing was there before
    Column("corrects", Integer, ForeignKey("events.number"), unique=True),
    CheckConstraint("(shell IS NULL) <> (box IS NULL)", name="of_one"),
)

VERSION: Final = Table("alembic_version", METADATA, Column("version_num", Text, primary_key=True))
