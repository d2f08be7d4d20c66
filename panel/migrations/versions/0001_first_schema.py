"""First schema"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "organiser",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_organiser"),
        sa.UniqueConstraint("name_key", name="uq_organiser_name_key"),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("erased_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_person"),
    )
    op.create_table(
        "study",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("draft", sa.Text(), nullable=False),
        sa.Column("seed", sa.String(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("locked", sa.Text(), nullable=False),
        sa.Column("commitment", sa.String(), nullable=False),
        sa.Column("spare_codes", sa.Text(), nullable=False),
        sa.Column("base_url", sa.String(), nullable=False),
        sa.Column("report", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sealed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revealed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("archived_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("deleted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("brought_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "state in ('draft', 'sealed', 'serving', 'closed', 'signed', 'revealed')",
            name="ck_study_state",
        ),
        sa.PrimaryKeyConstraint("id", name="pk_study"),
    )
    with op.batch_alter_table("study", schema=None) as batch_op:
        batch_op.create_index("ix_study_state", ["state"], unique=False)

    op.create_table(
        "consent",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("wording", sa.String(), nullable=False),
        sa.Column("given_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_consent_person_id_person"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_consent_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_consent"),
    )
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.create_index("ix_consent_person_id", ["person_id"], unique=False)
        batch_op.create_index("ix_consent_study_id", ["study_id"], unique=False)

    op.create_table(
        "ledgerentry",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_ledgerentry_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_ledgerentry"),
        sa.UniqueConstraint("study_id", "number", name="uq_ledgerentry_study_id_number"),
    )
    with op.batch_alter_table("ledgerentry", schema=None) as batch_op:
        batch_op.create_index("ix_ledgerentry_study_id", ["study_id"], unique=False)

    op.create_table(
        "sample",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("blind_label", sa.String(), nullable=False),
        sa.Column("pour_letter", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_sample_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_sample"),
        sa.UniqueConstraint("study_id", "blind_label", name="uq_sample_study_id_blind_label"),
        sa.UniqueConstraint("study_id", "pour_letter", name="uq_sample_study_id_pour_letter"),
    )
    with op.batch_alter_table("sample", schema=None) as batch_op:
        batch_op.create_index("ix_sample_study_id", ["study_id"], unique=False)

    op.create_table(
        "signinlink",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("role in ('kitchen', 'analyst')", name="ck_signinlink_role"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_signinlink_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_signinlink"),
        sa.UniqueConstraint("token_hash", name="uq_signinlink_token_hash"),
    )
    with op.batch_alter_table("signinlink", schema=None) as batch_op:
        batch_op.create_index("ix_signinlink_study_id", ["study_id"], unique=False)

    op.create_table(
        "signin",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("organiser_id", sa.String(), nullable=True),
        sa.Column("link_id", sa.String(), nullable=True),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("(organiser_id is null) <> (link_id is null)", name="ck_signin_holder"),
        sa.ForeignKeyConstraint(["organiser_id"], ["organiser.id"], name="fk_signin_organiser_id_organiser"),
        sa.ForeignKeyConstraint(["link_id"], ["signinlink.id"], name="fk_signin_link_id_signinlink"),
        sa.PrimaryKeyConstraint("id", name="pk_signin"),
    )
    with op.batch_alter_table("signin", schema=None) as batch_op:
        batch_op.create_index("ix_signin_link_id", ["link_id"], unique=False)
        batch_op.create_index("ix_signin_organiser_id", ["organiser_id"], unique=False)

    op.create_table(
        "sitting",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("token_revision", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("paused_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_sitting_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_sitting"),
        sa.UniqueConstraint("study_id", "number", name="uq_sitting_study_id_number"),
    )
    with op.batch_alter_table("sitting", schema=None) as batch_op:
        batch_op.create_index("ix_sitting_study_id", ["study_id"], unique=False)

    op.create_table(
        "uploadedtable",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("uploaded_by", sa.String(), nullable=False),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("columns", sa.Text(), nullable=False),
        sa.Column("uploaded_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_uploadedtable"),
    )

    op.create_table(
        "batch",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("sample_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("poured_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name="fk_batch_sample_id_sample"),
        sa.PrimaryKeyConstraint("id", name="pk_batch"),
        sa.UniqueConstraint("sample_id", "number", name="uq_batch_sample_id_number"),
    )
    with op.batch_alter_table("batch", schema=None) as batch_op:
        batch_op.create_index("ix_batch_sample_id", ["sample_id"], unique=False)

    op.create_table(
        "place",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("token_revision", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_place_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_place"),
        sa.UniqueConstraint("study_id", "number", name="uq_place_study_id_number"),
    )
    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.create_index("ix_place_study_id", ["study_id"], unique=False)

    op.create_table(
        "attempt",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("place_id", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("sitting_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("dealt_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("status in ('tasting', 'finished', 'stepped out')", name="ck_attempt_status"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_attempt_person_id_person"),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name="fk_attempt_place_id_place"),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name="fk_attempt_sitting_id_sitting"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_attempt_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_attempt"),
        sa.UniqueConstraint("place_id", "number", name="uq_attempt_place_id_number"),
    )
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.create_index("ix_attempt_person_id", ["person_id"], unique=False)
        batch_op.create_index("ix_attempt_place_id", ["place_id"], unique=False)
        batch_op.create_index("ix_attempt_study_id", ["study_id"], unique=False)

    op.create_table(
        "task",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("place_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("condition", sa.Integer(), nullable=False),
        sa.Column("scored", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name="fk_task_place_id_place"),
        sa.PrimaryKeyConstraint("id", name="pk_task"),
        sa.UniqueConstraint("place_id", "number", name="uq_task_place_id_number"),
    )
    with op.batch_alter_table("task", schema=None) as batch_op:
        batch_op.create_index("ix_task_place_id", ["place_id"], unique=False)

    op.create_table(
        "call",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("attempt_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("kind in ('help', 'wrong cup')", name="ck_call_kind"),
        sa.ForeignKeyConstraint(["attempt_id"], ["attempt.id"], name="fk_call_attempt_id_attempt"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_call_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_call"),
    )
    with op.batch_alter_table("call", schema=None) as batch_op:
        batch_op.create_index("ix_call_study_id", ["study_id"], unique=False)

    op.create_table(
        "paperballot",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("place_id", sa.String(), nullable=False),
        sa.Column("attempt_number", sa.Integer(), nullable=False),
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("first", sa.Text(), nullable=False),
        sa.Column("first_by", sa.String(), nullable=False),
        sa.Column("second", sa.Text(), nullable=False),
        sa.Column("second_by", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name="fk_paperballot_place_id_place"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_paperballot_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_paperballot"),
        sa.UniqueConstraint(
            "place_id",
            "attempt_number",
            "sitting",
            name="uq_paperballot_place_id_attempt_number_sitting",
        ),
    )
    with op.batch_alter_table("paperballot", schema=None) as batch_op:
        batch_op.create_index("ix_paperballot_study_id", ["study_id"], unique=False)

    op.create_table(
        "panelmember",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("wording", sa.String(), nullable=False),
        sa.Column("agreed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_panelmember"),
        sa.UniqueConstraint("name_key", name="uq_panelmember_name_key"),
    )
    op.create_table(
        "exclusion",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("attempt_id", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("excluded_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["attempt_id"], ["attempt.id"], name="fk_exclusion_attempt_id_attempt"),
        sa.PrimaryKeyConstraint("id", name="pk_exclusion"),
        sa.UniqueConstraint("attempt_id", name="uq_exclusion_attempt_id"),
    )
    op.create_table(
        "serving",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("place_id", sa.String(), nullable=False),
        sa.Column("task_id", sa.String(), nullable=False),
        sa.Column("sample_id", sa.String(), nullable=False),
        sa.Column("batch_id", sa.String(), nullable=False),
        sa.Column("attempt_number", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("served_position", sa.Integer(), nullable=True),
        sa.Column("condition", sa.Integer(), nullable=False),
        sa.Column("replicate", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("sealed_code", sa.String(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("token_revision", sa.Integer(), nullable=False),
        sa.Column("same_cup_as", sa.String(), nullable=True),
        sa.Column("warm_up", sa.Boolean(), nullable=False),
        sa.Column("dot", sa.Integer(), nullable=True),
        sa.Column("found_sample_id", sa.String(), nullable=True),
        sa.CheckConstraint("length(code) = 3", name="ck_serving_code"),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name="fk_serving_batch_id_batch"),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name="fk_serving_place_id_place"),
        sa.ForeignKeyConstraint(["same_cup_as"], ["serving.id"], name="fk_serving_same_cup_as_serving"),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name="fk_serving_sample_id_sample"),
        sa.ForeignKeyConstraint(["found_sample_id"], ["sample.id"], name="fk_serving_found_sample_id_sample"),
        sa.ForeignKeyConstraint(["task_id"], ["task.id"], name="fk_serving_task_id_task"),
        sa.PrimaryKeyConstraint("id", name="pk_serving"),
        sa.UniqueConstraint(
            "place_id", "attempt_number", "position", name="uq_serving_place_id_attempt_number_position"
        ),
        sa.UniqueConstraint("token", name="uq_serving_token"),
    )
    with op.batch_alter_table("serving", schema=None) as batch_op:
        batch_op.create_index("ix_serving_place_id", ["place_id"], unique=False)
        batch_op.create_index("ix_serving_sample_id", ["sample_id"], unique=False)
        batch_op.create_index("ix_serving_task_id", ["task_id"], unique=False)

    op.create_table(
        "submission",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("attempt_id", sa.String(), nullable=False),
        sa.Column("task_id", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("late", sa.Boolean(), nullable=False),
        sa.Column("sent", sa.Text(), nullable=False),
        sa.Column("erased", sa.Text(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("outcome in ('stored', 'correction', 'kept aside')", name="ck_submission_outcome"),
        sa.ForeignKeyConstraint(["attempt_id"], ["attempt.id"], name="fk_submission_attempt_id_attempt"),
        sa.ForeignKeyConstraint(["task_id"], ["task.id"], name="fk_submission_task_id_task"),
        sa.PrimaryKeyConstraint("id", name="pk_submission"),
    )
    with op.batch_alter_table("submission", schema=None) as batch_op:
        batch_op.create_index("ix_submission_attempt_id", ["attempt_id"], unique=False)

    op.create_table(
        "answer",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("submission_id", sa.String(), nullable=False),
        sa.Column("attempt_id", sa.String(), nullable=False),
        sa.Column("task_id", sa.String(), nullable=False),
        sa.Column("condition", sa.Integer(), nullable=False),
        sa.Column("question", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["attempt_id"], ["attempt.id"], name="fk_answer_attempt_id_attempt"),
        sa.ForeignKeyConstraint(
            ["submission_id"], ["submission.id"], name="fk_answer_submission_id_submission"
        ),
        sa.ForeignKeyConstraint(["task_id"], ["task.id"], name="fk_answer_task_id_task"),
        sa.PrimaryKeyConstraint("id", name="pk_answer"),
        sa.UniqueConstraint(
            "attempt_id",
            "task_id",
            "condition",
            "question",
            "revision",
            name="uq_answer_attempt_id_task_id_condition_question_revision",
        ),
    )
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.create_index("ix_answer_attempt_id", ["attempt_id"], unique=False)
        batch_op.create_index("ix_answer_submission_id", ["submission_id"], unique=False)
        batch_op.create_index("ix_answer_task_id", ["task_id"], unique=False)


def downgrade() -> None:
    raise NotImplementedError("there is no schema before the first")
