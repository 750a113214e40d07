"""The week: answers at a close, reviews, decisions, notes, fitted parts, ends of work-arounds."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("closings") as closings:
        closings.add_column(sa.Column("until", sa.Date(), nullable=True))
    op.create_index(op.f("ix_closings_closed"), "closings", ["closed"])
    op.create_index(op.f("ix_jobs_comeback_of"), "jobs", ["comeback_of"])
    make_parts()
    make_answers()
    make_reviews()
    make_notes()


def make_parts() -> None:
    op.create_table(
        "fitted_parts",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("supplier", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["closings.job_id"],
            name=op.f("fk_fitted_parts_job_id_closings"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_fitted_parts")),
    )


def make_answers() -> None:
    op.create_table(
        "shown_answers",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("causes", sa.Text(), nullable=False),
        sa.Column("matches", sa.Text(), nullable=False),
        sa.Column("nothing_like_it", sa.Boolean(), nullable=False),
        sa.Column("first_check", sa.Text(), nullable=True),
        sa.Column("first_subject", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_shown_answers_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_shown_answers")),
    )
    op.create_index(op.f("ix_shown_answers_at"), "shown_answers", ["at"])
    op.create_table(
        "finding_gains",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("check", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=True),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Double(), nullable=True),
        sa.Column("bits", sa.Double(), nullable=False),
        sa.Column("lead_changed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_finding_gains_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_finding_gains")),
    )


def make_reviews() -> None:
    op.create_table(
        "reviews",
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("claim", sa.Text(), nullable=False),
        sa.Column("claimed_at", sa.DateTime(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=True),
        sa.Column("body", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("week", name=op.f("pk_reviews")),
    )
    op.create_table(
        "decisions",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("row_key", sa.Text(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("due", sa.Date(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("settled_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decisions")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_decisions_week"), "decisions", ["week"])
    op.create_index(op.f("ix_decisions_state"), "decisions", ["state"])


def make_notes() -> None:
    op.create_table(
        "shop_notes",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("week", sa.Text(), nullable=True),
        sa.Column("row_key", sa.Text(), nullable=True),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("body_html", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=True),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("symptom", sa.Text(), nullable=True),
        sa.Column("make", sa.Text(), nullable=True),
        sa.Column("model", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_notes")),
        sqlite_autoincrement=True,
    )


def downgrade() -> None:
    for table in (
        "shop_notes",
        "decisions",
        "reviews",
        "finding_gains",
        "shown_answers",
        "fitted_parts",
    ):
        op.drop_table(table)
    op.drop_index(op.f("ix_jobs_comeback_of"), "jobs")
    op.drop_index(op.f("ix_closings_closed"), "closings")
    with op.batch_alter_table("closings") as closings:
        closings.drop_column("until")
