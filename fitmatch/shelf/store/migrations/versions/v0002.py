"""Engines keep what their record needs to be checked, and the walls of shells that were only tried in them."""

import sqlalchemy as sa

revision = "0002"
down_revision = "0001"


def _text(name: str, default: str = "") -> "sa.Column[str]":
    return sa.Column(name, sa.Text, nullable=False, server_default=default)


def upgrade() -> None:
    """Of engines that stand already none of it is known."""
    from alembic import op

    for own in (_text("unit"), _text("names", "[]"), _text("record", "{}")):
        op.add_column("engines", own)
    op.add_column("engine_shells", sa.Column("wall_tried_nm", sa.BigInteger))
    for column in (
        sa.Column("seating_nm", sa.BigInteger),
        sa.Column("uncounted_nm", sa.BigInteger),
        sa.Column("clearance_u_nm", sa.Float),
        sa.Column("clearance_u_least", sa.Boolean),
        _text("housing"),
        _text("limits_from"),
        sa.Column("gauges_celsius", sa.Float),
        sa.Column("parts_celsius", sa.Float),
        sa.Column("kelvin_limit", sa.Float),
        sa.Column("plan_number", sa.Integer),
        _text("plan_date"),
        _text("plan_time"),
    ):
        op.add_column("engine_positions", column)
    op.create_table(
        "engine_readings",
        sa.Column("engine", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("position", sa.Text, primary_key=True),
        sa.Column("feature", sa.Text, primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("nm", sa.BigInteger, nullable=False),
        sa.Column("station", sa.Integer),
        sa.Column("angle", sa.Float),
        sa.Column("gauge", sa.Integer, sa.ForeignKey("gauges.number")),
        _text("confirmed"),
        sa.ForeignKeyConstraint(["engine", "position"], ["engine_positions.engine", "engine_positions.position"]),
        sa.CheckConstraint("feature IN ('journal', 'housing_bore')", name="feature"),
    )
