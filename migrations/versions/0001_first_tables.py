"""The first tables: jobs with everything below them, history, photos, settings, generation."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# Parents first.
TABLES = (
    "jobs",
    "lines",
    "fields",
    "symptoms",
    "symptom_responses",
    "codes",
    "findings",
    "finding_responses",
    "tried",
    "reading_sets",
    "readings",
    "closings",
    "proofs",
    "options",
    "after_checks",
    "history",
    "photos",
    "settings",
    "generation",
)


def upgrade() -> None:
    make_jobs()
    make_symptoms()
    make_findings()
    make_readings()
    make_closings()
    make_journal()


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)


def make_jobs() -> None:
    """Jobs and their words."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("opened", sa.Date(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=True),
        sa.Column("invoice", sa.Text(), nullable=True),
        sa.Column("waits_for", sa.Text(), nullable=True),
        sa.Column("comeback_of", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("body_html", sa.Text(), nullable=False),
        sa.Column("vehicle_year", sa.Integer(), nullable=True),
        sa.Column("vehicle_make", sa.Text(), nullable=True),
        sa.Column("vehicle_model", sa.Text(), nullable=True),
        sa.Column("vehicle_engine", sa.Text(), nullable=True),
        sa.Column("vehicle_transmission", sa.Text(), nullable=True),
        sa.Column("vehicle_vin", sa.Text(), nullable=True),
        sa.Column("vehicle_family", sa.Text(), nullable=True),
        sa.Column("vehicle_odometer", sa.Double(), nullable=True),
        sa.Column("vehicle_odometer_unit", sa.Text(), nullable=True),
        sa.Column("vehicle_refrigerant", sa.Text(), nullable=True),
        sa.Column("complaint_said", sa.Text(), nullable=False),
        sa.Column("complaint_frequency", sa.Text(), nullable=True),
        sa.Column("complaint_since", sa.Text(), nullable=True),
        sa.Column("complaint_before_it", sa.Text(), nullable=True),
        sa.Column("scan_none_found", sa.Boolean(), nullable=True),
        sa.Column("scan_modules", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
        sa.UniqueConstraint("invoice", name=op.f("uq_jobs_invoice")),
    )
    op.create_index(op.f("ix_jobs_state"), "jobs", ["state"])
    op.create_index(op.f("ix_jobs_vehicle_vin"), "jobs", ["vehicle_vin"])
    op.create_table(
        "lines",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_lines_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_lines")),
    )
    op.create_table(
        "fields",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_fields_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_fields")),
    )


def make_symptoms() -> None:
    """What was noticed and what the modules said."""
    op.create_table(
        "symptoms",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("concept", sa.Text(), nullable=True),
        sa.Column("polarity", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("conditions", sa.Text(), nullable=False),
        sa.Column("not_conditions", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_symptoms_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_symptoms")),
    )
    op.create_table(
        "symptom_responses",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("parent", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("change", sa.Text(), nullable=True),
        sa.Column("action", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=True),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("before_typed", sa.Text(), nullable=True),
        sa.Column("after_typed", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("before", sa.Double(), nullable=True),
        sa.Column("after", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id", "parent"],
            ["symptoms.job_id", "symptoms.ordinal"],
            name=op.f("fk_symptom_responses_job_id_parent_symptoms"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "parent", "ordinal", name=op.f("pk_symptom_responses")),
    )
    op.create_table(
        "codes",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("module", sa.Text(), nullable=True),
        sa.Column("status", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_codes_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_codes")),
    )


def make_findings() -> None:
    """What was checked and tried."""
    op.create_table(
        "findings",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("check", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=True),
        sa.Column("repeats", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Double(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_findings_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_findings")),
    )
    op.create_table(
        "finding_responses",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("parent", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("change", sa.Text(), nullable=True),
        sa.Column("action", sa.Text(), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=True),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("before_typed", sa.Text(), nullable=True),
        sa.Column("after_typed", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("before", sa.Double(), nullable=True),
        sa.Column("after", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id", "parent"],
            ["findings.job_id", "findings.ordinal"],
            name=op.f("fk_finding_responses_job_id_parent_findings"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "parent", "ordinal", name=op.f("pk_finding_responses")),
    )
    op.create_table(
        "tried",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("cost_cents", sa.Integer(), nullable=True),
        sa.Column("minutes", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_tried_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_tried")),
    )


def make_readings() -> None:
    """What was measured."""
    op.create_table(
        "reading_sets",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("finding", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_reading_sets_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_reading_sets")),
    )
    op.create_table(
        "readings",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("parent", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("canonical", sa.Double(), nullable=True),
        sa.Column("low", sa.Double(), nullable=True),
        sa.Column("high", sa.Double(), nullable=True),
        sa.Column("word", sa.Text(), nullable=True),
        sa.Column("position", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id", "parent"],
            ["reading_sets.job_id", "reading_sets.ordinal"],
            name=op.f("fk_readings_job_id_parent_reading_sets"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "parent", "ordinal", name=op.f("pk_readings")),
    )


def make_closings() -> None:
    """How jobs ended."""
    op.create_table(
        "closings",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("closed", sa.Date(), nullable=False),
        sa.Column("end", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("second_cause", sa.Text(), nullable=True),
        sa.Column("fix", sa.Text(), nullable=True),
        sa.Column("fix_text", sa.Text(), nullable=False),
        sa.Column("held", sa.Boolean(), nullable=False),
        sa.Column("overturned_by", sa.Text(), nullable=True),
        sa.Column("lesson", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"], ["jobs.id"], name=op.f("fk_closings_job_id_jobs"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_closings")),
    )
    op.create_index(op.f("ix_closings_cause"), "closings", ["cause"])
    op.create_table(
        "proofs",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("photo", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["closings.job_id"],
            name=op.f("fk_proofs_job_id_closings"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_proofs")),
    )
    op.create_table(
        "options",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("price_cents", sa.Integer(), nullable=True),
        sa.Column("remains", sa.Text(), nullable=False),
        sa.Column("risk", sa.Text(), nullable=False),
        sa.Column("chosen", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["closings.job_id"],
            name=op.f("fk_options_job_id_closings"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_options")),
    )
    op.create_table(
        "after_checks",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["closings.job_id"],
            name=op.f("fk_after_checks_job_id_closings"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "ordinal", name=op.f("pk_after_checks")),
    )


def make_journal() -> None:
    """History and the small tables."""
    op.create_table(
        "history",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("verb", sa.Text(), nullable=False),
        sa.Column("job_id", sa.Text(), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_history")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_history_job_id_seq"), "history", ["job_id", "seq"])
    op.create_table(
        "photos",
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("content_hash", name=op.f("pk_photos")),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_settings")),
    )
    op.create_table(
        "generation",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("last_job", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_generation_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_generation")),
    )
    op.execute("INSERT INTO generation (id, number, last_job) VALUES (1, 0, 0)")
