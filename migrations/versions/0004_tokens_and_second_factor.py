"""Tokens of programs, a second factor of people, sent forms, jobs by origin, seals of rows."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

SEALED = (
    "jobs",
    "history",
    "settings",
    "people",
    "api_tokens",
    "shop_terms",
    "unread_words",
    "settled_pieces",
    "lost_searches",
    "photos",
    "job_photos",
    "sent_forms",
    "earlier_states",
    "shown_answers",
    "finding_gains",
    "reviews",
    "decisions",
    "shop_notes",
)


def upgrade() -> None:
    with op.batch_alter_table("people") as people:
        people.add_column(sa.Column("totp_secret", sa.Text(), nullable=True))
        people.add_column(sa.Column("totp_step", sa.Integer(), nullable=True))
    with op.batch_alter_table("sent_forms") as forms:
        forms.add_column(sa.Column("fingerprint", sa.Text(), nullable=True))
        forms.add_column(sa.Column("answer", sa.Text(), nullable=True))
    op.create_index(op.f("ix_jobs_origin"), "jobs", ["origin"])
    op.create_table(
        "api_tokens",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("ends", sa.DateTime(), nullable=False),
        sa.Column("last_used", sa.DateTime(), nullable=True),
        sa.Column("revoked", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_tokens")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_tokens_token_hash")),
        sqlite_autoincrement=True,
    )
    add_seals()


def add_seals() -> None:
    """Add the columns; whoever migrates puts the seals on."""
    bare = sa.text("seal IS NULL")
    for table in SEALED:
        op.add_column(table, sa.Column("seal", sa.Text(), nullable=True))
        op.create_index(
            op.f(f"ix_{table}_seal"), table, ["seal"], sqlite_where=bare, postgresql_where=bare
        )


def downgrade() -> None:
    for table in reversed(SEALED):
        op.drop_index(op.f(f"ix_{table}_seal"), table_name=table)
        if table != "api_tokens":
            op.drop_column(table, "seal")
    op.drop_table("api_tokens")
    op.drop_index(op.f("ix_jobs_origin"), table_name="jobs")
    with op.batch_alter_table("sent_forms") as forms:
        forms.drop_column("answer")
        forms.drop_column("fingerprint")
    with op.batch_alter_table("people") as people:
        people.drop_column("totp_step")
        people.drop_column("totp_secret")
