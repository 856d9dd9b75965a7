"""The control water: dips, limits, signatures."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from api.store import UtcTime

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def _of_lot() -> tuple[sa.Column[Any], ...]:
    return (
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("lot", sa.String(250), nullable=False),
        sa.Column("analyte", sa.String(40), nullable=False),
    )


def upgrade() -> None:
    op.create_table(
        "control_dip",
        *_of_lot(),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("entered_at", UtcTime(), nullable=False),
        sa.Column("entered_by", sa.String(80), nullable=False),
    )
    op.create_index("ix_control_dip_lot_analyte", "control_dip", ["lot", "analyte"])
    op.create_table(
        "control_set",
        *_of_lot(),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("sd", sa.Double(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
    )
    op.create_table(
        "control_signed",
        *_of_lot(),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
    )


def downgrade() -> None:
    for table in ("control_signed", "control_set", "control_dip"):
        op.drop_table(table)
