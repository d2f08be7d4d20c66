"""The register of products, the bench, and the link for whoever measures"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

SIGN_INS = sa.table(
    "signin",
    sa.column("id", sa.String()),
    sa.column("organiser_id", sa.String()),
    sa.column("link_id", sa.String()),
    sa.column("begun_at", sa.DateTime(timezone=True)),
)
ROLES = "role in ('kitchen', 'analyst', 'bench')"


def upgrade() -> None:
    connection = op.get_bind()
    # SQLite changes a table by copying and dropping it, which rows that refer to it would forbid.
    signed_in = connection.execute(SIGN_INS.select()).all()
    connection.execute(SIGN_INS.delete())
    with op.batch_alter_table("signinlink") as batch_op:
        batch_op.drop_constraint("ck_signinlink_role", type_="check")
        batch_op.create_check_constraint("role", ROLES)
    if signed_in:
        op.bulk_insert(SIGN_INS, [row._asdict() for row in signed_in])
    op.create_table(
        "instrument",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("resolution", sa.Float(), nullable=True),
        sa.Column("accuracy", sa.Float(), nullable=True),
        sa.Column("checked_on", sa.String(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_instrument"),
    )
    op.create_table(
        "product",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("reference", sa.Boolean(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_product"),
        sa.UniqueConstraint("name_key", name="uq_product_name_key"),
    )
    with op.batch_alter_table("product") as batch_op:
        batch_op.create_index("ix_product_kind", ["kind"], unique=False)

    op.create_table(
        "furthermeasurand",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_furthermeasurand_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_furthermeasurand"),
        sa.UniqueConstraint("study_id", "key", name="uq_furthermeasurand_study_id_key"),
    )
    with op.batch_alter_table("furthermeasurand") as batch_op:
        batch_op.create_index("ix_furthermeasurand_study_id", ["study_id"], unique=False)

    op.create_table(
        "measurement",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("entry", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("submission_id", sa.String(), nullable=False),
        sa.Column("measurand", sa.String(), nullable=False),
        sa.Column("product_id", sa.String(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("laps", sa.Text(), nullable=False),
        sa.Column("answers", sa.Text(), nullable=False),
        sa.Column("ambient", sa.Float(), nullable=True),
        sa.Column("servings", sa.Float(), nullable=True),
        sa.Column("instrument_id", sa.String(), nullable=True),
        sa.Column("resolution", sa.Float(), nullable=True),
        sa.Column("accuracy", sa.Float(), nullable=True),
        sa.Column("measured_by", sa.String(), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("priced_on", sa.String(), nullable=False),
        sa.Column("package", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("invalid", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("recorded_by", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("after_reveal", sa.Boolean(), nullable=False),
        sa.Column("nonce", sa.String(), nullable=False),
        sa.CheckConstraint("revision >= 1", name="ck_measurement_revision"),
        sa.CheckConstraint("run >= 1", name="ck_measurement_run"),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name="fk_measurement_instrument_id_instrument"
        ),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name="fk_measurement_product_id_product"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_measurement_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_measurement"),
        sa.UniqueConstraint("entry", "revision", name="uq_measurement_entry_revision"),
        sa.UniqueConstraint("submission_id", name="uq_measurement_submission_id"),
    )
    with op.batch_alter_table("measurement") as batch_op:
        batch_op.create_index("ix_measurement_entry", ["entry"], unique=False)
        batch_op.create_index("ix_measurement_instrument_id", ["instrument_id"], unique=False)
        batch_op.create_index("ix_measurement_product_id", ["product_id"], unique=False)
        batch_op.create_index("ix_measurement_study_id", ["study_id"], unique=False)

    op.create_table(
        "studyproduct",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("study_id", sa.String(), nullable=False),
        sa.Column("product_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name="fk_studyproduct_product_id_product"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name="fk_studyproduct_study_id_study"),
        sa.PrimaryKeyConstraint("id", name="pk_studyproduct"),
        sa.UniqueConstraint("study_id", "product_id", name="uq_studyproduct_study_id_product_id"),
    )
    with op.batch_alter_table("studyproduct") as batch_op:
        batch_op.create_index("ix_studyproduct_product_id", ["product_id"], unique=False)
        batch_op.create_index("ix_studyproduct_study_id", ["study_id"], unique=False)

    op.create_table(
        "photo",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("measurement_id", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["measurement_id"], ["measurement.id"], name="fk_photo_measurement_id_measurement"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
    )
    with op.batch_alter_table("photo") as batch_op:
        batch_op.create_index("ix_photo_measurement_id", ["measurement_id"], unique=False)


def downgrade() -> None:
    raise NotImplementedError("measurements are never thrown away; restore a backup from before instead")
