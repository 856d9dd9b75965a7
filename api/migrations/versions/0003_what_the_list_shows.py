"""What the list of tubs shows stands in columns of its own, so that no answer is taken apart."""

import sqlalchemy as sa
from alembic import op

from api.due import of_answer
from api.store import UtcTime

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

SUMMARY = sa.table(
    "tub_summary",
    sa.column("tub_id", sa.String(36)),
    sa.column("answer", sa.JSON()),
    sa.column("due_at", UtcTime()),
    *(sa.column(name, sa.Text()) for name in ("stage", "kind", "text")),
)


def upgrade() -> None:
    op.add_column("tub_summary", sa.Column("due_at", UtcTime(), nullable=True))
    for name in ("stage", "kind", "text"):
        op.add_column("tub_summary", sa.Column(name, sa.Text(), nullable=True))
    connection = op.get_bind()
    for tub_id, answer in connection.execute(sa.select(SUMMARY.c.tub_id, SUMMARY.c.answer)).all():
        of_tub = sa.update(SUMMARY).where(SUMMARY.c.tub_id == tub_id)
        connection.execute(of_tub.values(**of_answer(answer)))


def downgrade() -> None:
    for name in ("text", "kind", "stage", "due_at"):
        op.drop_column("tub_summary", name)
