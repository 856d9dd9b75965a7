"""What the shop keeps: members, tubs and their logs, photos and readings, reviews."""

import sqlalchemy as sa
from alembic import op

from api.store import UtcTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    _attempt()
    _kept_file()
    _member()
    _retired()
    _tub()
    _api_token()
    _login()
    _photo()
    _tub_summary()
    _tub_version()
    _reading()
    _review()
    _tub_event()
    _decision()
    _withdrawal()


def downgrade() -> None:
    for table in (
        "withdrawal",
        "decision",
        "tub_event",
        "review",
        "reading",
        "tub_version",
        "tub_summary",
        "photo",
        "login",
        "api_token",
        "tub",
        "retired",
        "member",
        "kept_file",
        "attempt",
    ):
        op.drop_table(table)


def _attempt() -> None:
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("key", sa.String(160), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
    )
    op.create_index("ix_attempt_key_at", "attempt", ["key", "at"])


def _kept_file() -> None:
    op.create_table(
        "kept_file",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.String(255), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("added_at", UtcTime(), nullable=False),
        sa.Column("added_by", sa.String(80), nullable=False),
        sa.UniqueConstraint("kind", "name", "version"),
    )


def _member() -> None:
    op.create_table(
        "member",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("added_at", UtcTime(), nullable=False),
        sa.Column("retired_at", UtcTime(), nullable=True),
        sa.UniqueConstraint("name"),
    )


def _retired() -> None:
    op.create_table(
        "retired",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("after_version", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
    )


def _tub() -> None:
    op.create_table(
        "tub",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("created_by", sa.String(80), nullable=False),
    )


def _api_token() -> None:
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("token_sha256", sa.String(64), nullable=False),
        sa.Column("member_id", sa.Integer(), sa.ForeignKey("member.id"), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("revoked_at", UtcTime(), nullable=True),
        sa.UniqueConstraint("token_sha256"),
    )
    op.create_index("ix_api_token_member_id", "api_token", ["member_id"])


def _login() -> None:
    op.create_table(
        "login",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("token_sha256", sa.String(64), nullable=False),
        sa.Column("member_id", sa.Integer(), sa.ForeignKey("member.id"), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("expires_at", UtcTime(), nullable=False),
        sa.Column("ended_at", UtcTime(), nullable=True),
        sa.UniqueConstraint("token_sha256"),
    )
    op.create_index("ix_login_member_id", "login", ["member_id"])


def _photo() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("tub_id", sa.String(36), sa.ForeignKey("tub.id"), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("sent_sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("elapsed_s", sa.Double(), nullable=True),
        sa.Column("key", sa.String(120), nullable=True),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.Column("sent_at", UtcTime(), nullable=False),
        sa.Column("sent_by", sa.String(80), nullable=False),
        sa.UniqueConstraint("tub_id", "key"),
        sa.UniqueConstraint("tub_id", "sent_sha256"),
    )
    op.create_index("ix_photo_sha256", "photo", ["sha256"])
    op.create_index("ix_photo_tub_id", "photo", ["tub_id"])


def _tub_summary() -> None:
    op.create_table(
        "tub_summary",
        sa.Column("tub_id", sa.String(36), sa.ForeignKey("tub.id"), primary_key=True),
        sa.Column("asked_at", UtcTime(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=True),
        sa.Column("trouble", sa.Text(), nullable=True),
    )


def _tub_version() -> None:
    op.create_table(
        "tub_version",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("tub_id", sa.String(36), sa.ForeignKey("tub.id"), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
    )
    op.create_index("ix_tub_version_tub_id", "tub_version", ["tub_id"])


def _reading() -> None:
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("photo_id", sa.Integer(), sa.ForeignKey("photo.id"), nullable=False),
        sa.Column("table_id", sa.Integer(), sa.ForeignKey("kept_file.id"), nullable=False),
        sa.Column("card_id", sa.Integer(), sa.ForeignKey("kept_file.id"), nullable=True),
        sa.Column("software", sa.String(40), nullable=False),
        sa.Column("status", sa.String(12), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("made_by", sa.String(80), nullable=False),
    )
    op.create_index("ix_reading_photo_id", "reading", ["photo_id"])


def _review() -> None:
    op.create_table(
        "review",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("reading_id", sa.Integer(), sa.ForeignKey("reading.id"), nullable=False),
        sa.Column("tub_id", sa.String(36), sa.ForeignKey("tub.id"), nullable=False),
        sa.Column("pad", sa.Integer(), nullable=False),
        sa.Column("analyte", sa.String(40), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.Column("opened_at", UtcTime(), nullable=False),
    )
    op.create_index("ix_review_reading_id", "review", ["reading_id"])
    op.create_index("ix_review_tub_id", "review", ["tub_id"])


def _tub_event() -> None:
    op.create_table(
        "tub_event",
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("tub_id", sa.String(36), sa.ForeignKey("tub.id"), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("type", sa.String(20), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("origin", sa.String(10), nullable=False),
        sa.Column("reading_id", sa.Integer(), sa.ForeignKey("reading.id"), nullable=True),
        sa.Column("replaces", sa.String(36), sa.ForeignKey("tub_event.id"), nullable=True),
        sa.Column("key", sa.String(120), nullable=True),
        sa.Column("entered_at", UtcTime(), nullable=False),
        sa.Column("entered_by", sa.String(80), nullable=False),
        sa.UniqueConstraint("id"),
        sa.UniqueConstraint("tub_id", "key"),
    )
    op.create_index("ix_tub_event_reading_id", "tub_event", ["reading_id"])
    op.create_index("ix_tub_event_replaces", "tub_event", ["replaces"])
    op.create_index("ix_tub_event_tub_at", "tub_event", ["tub_id", "at"])


def _decision() -> None:
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("review_id", sa.Integer(), sa.ForeignKey("review.id"), nullable=False),
        sa.Column("decision", sa.String(12), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("source", sa.String(20), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("event_id", sa.String(36), sa.ForeignKey("tub_event.id"), nullable=True),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
        sa.UniqueConstraint("review_id"),
    )


def _withdrawal() -> None:
    op.create_table(
        "withdrawal",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("event_id", sa.String(36), sa.ForeignKey("tub_event.id"), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("by", sa.String(80), nullable=False),
        sa.UniqueConstraint("event_id"),
    )
