"""People and their sessions, the shop's own words, photos of jobs, sent forms, searches."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TABLES = (
    "failed_sign_ins",
    "lost_searches",
    "people",
    "sent_forms",
    "shop_terms",
    "earlier_states",
    "job_photos",
    "sessions",
    "settled_pieces",
    "sign_in_links",
    "unread_words",
)


def upgrade() -> None:
    op.create_table(
        "failed_sign_ins",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_failed_sign_ins")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_failed_sign_ins_at"), "failed_sign_ins", ["at"])
    op.create_table(
        "lost_searches",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("vehicle", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lost_searches")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_lost_searches_at"), "lost_searches", ["at"])
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("pin_hash", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_people")),
        sa.UniqueConstraint("name", name=op.f("uq_people_name")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sent_forms",
        sa.Column("form_id", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("job_id", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("form_id", name=op.f("pk_sent_forms")),
    )
    op.create_index(op.f("ix_sent_forms_at"), "sent_forms", ["at"])
    op.create_table(
        "shop_terms",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("merged_into", sa.Text(), nullable=True),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "key", name=op.f("pk_shop_terms")),
    )
    op.create_table(
        "earlier_states",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("case_file", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_earlier_states_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "revision", name=op.f("pk_earlier_states")),
    )
    op.create_table(
        "job_photos",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_job_photos_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_job_photos")),
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("shared", sa.Boolean(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("last_seen", sa.DateTime(), nullable=False),
        sa.Column("ends", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["people.id"],
            name=op.f("fk_sessions_person_id_people"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_sessions")),
    )
    op.create_index(op.f("ix_sessions_person_id"), "sessions", ["person_id"])
    op.create_table(
        "settled_pieces",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_settled_pieces_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "text", name=op.f("pk_settled_pieces")),
    )
    op.create_table(
        "sign_in_links",
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("ends", sa.DateTime(), nullable=False),
        sa.Column("used", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["people.id"],
            name=op.f("fk_sign_in_links_person_id_people"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_sign_in_links")),
    )
    op.create_index(op.f("ix_sign_in_links_person_id"), "sign_in_links", ["person_id"])
    op.create_table(
        "unread_words",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_unread_words_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "word", name=op.f("pk_unread_words")),
    )
    op.create_index(op.f("ix_unread_words_word"), "unread_words", ["word"])


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
