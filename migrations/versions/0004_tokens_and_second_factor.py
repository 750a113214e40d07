"""Tokens of programs, a second factor of people, what a sent form said, jobs by origin."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


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


def downgrade() -> None:
    op.drop_table("api_tokens")
    op.drop_index(op.f("ix_jobs_origin"), table_name="jobs")
    with op.batch_alter_table("sent_forms") as forms:
        forms.drop_column("answer")
        forms.drop_column("fingerprint")
    with op.batch_alter_table("people") as people:
        people.drop_column("totp_step")
        people.drop_column("totp_secret")
