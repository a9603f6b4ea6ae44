"""The first form.

Revision: 0001, after
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make this form from the one before."""
    op.create_table(
        "attempt",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("about", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempt")),
    )
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_attempt_about"), ["about"], unique=False)

    op.create_table(
        "audit",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.String(length=32), nullable=True),
        sa.Column("action", sa.String(length=64), nullable=False),
        sa.Column("about", sa.String(length=32), nullable=True),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_gym_id"), ["gym_id"], unique=False)

    op.create_table(
        "gym",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("retention_days", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gym")),
    )
    op.create_table(
        "done",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("subject", sa.String(length=64), nullable=False),
        sa.Column("idempotency_key", sa.String(length=255), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_done_gym_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_done")),
        sa.UniqueConstraint(
            "subject", "idempotency_key", name=op.f("uq_done_subject_idempotency_key")
        ),
    )
    with op.batch_alter_table("done", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_done_gym_id"), ["gym_id"], unique=False)

    op.create_table(
        "person",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("handle", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("mail", sa.String(length=254), nullable=True),
        sa.Column("password_hash", sa.String(length=255), nullable=True),
        sa.Column("audit_mark", sa.String(length=32), nullable=False),
        sa.Column("sex", sa.String(length=1), nullable=True),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("resting_hr", sa.Float(), nullable=True),
        sa.Column("max_hr", sa.Float(), nullable=True),
        sa.Column("vo2max", sa.Float(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_person_gym_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("gym_id", "handle", name=op.f("uq_person_gym_id_handle")),
        sa.UniqueConstraint("mail", name=op.f("uq_person_mail")),
    )
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_person_gym_id"), ["gym_id"], unique=False)

    op.create_table(
        "plan",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_plan_gym_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
    )
    with op.batch_alter_table("plan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_gym_id"), ["gym_id"], unique=False)

    op.create_table(
        "api_token",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_api_token_gym_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_api_token_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_api_token_token_hash")),
    )
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_token_gym_id"), ["gym_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_api_token_person_id"), ["person_id"], unique=False)

    op.create_table(
        "consent",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("purpose", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("agreed", sa.Boolean(), nullable=False),
        sa.Column("stated_by", sa.String(length=32), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_consent_person_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["stated_by"], ["person.id"], name=op.f("fk_consent_stated_by"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consent")),
    )
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_consent_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_consent_stated_by"), ["stated_by"], unique=False)

    op.create_table(
        "plan_version",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("plan_id", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("made_by", sa.String(length=32), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_plan_version_made_by"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["plan_id"], ["plan.id"], name=op.f("fk_plan_version_plan_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_version")),
        sa.UniqueConstraint("plan_id", "number", name=op.f("uq_plan_version_plan_id_number")),
    )
    with op.batch_alter_table("plan_version", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_version_made_by"), ["made_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_plan_version_plan_id"), ["plan_id"], unique=False)

    op.create_table(
        "role",
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_role_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("person_id", "role", name=op.f("pk_role")),
    )
    op.create_table(
        "sign_in_link",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("made_by", sa.String(length=32), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_sign_in_link_gym_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_sign_in_link_made_by"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sign_in_link_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_link_token_hash")),
    )
    with op.batch_alter_table("sign_in_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_link_gym_id"), ["gym_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_link_made_by"), ["made_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_link_person_id"), ["person_id"], unique=False)

    op.create_table(
        "class",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("plan_version_id", sa.String(length=32), nullable=False),
        sa.Column("coach_id", sa.String(length=32), nullable=True),
        sa.Column("start", sa.DateTime(timezone=True), nullable=False),
        sa.Column("start_offset_s", sa.Integer(), nullable=False),
        sa.Column("start_tolerance_s", sa.Float(), nullable=False),
        sa.Column("starts", sa.JSON(), nullable=False),
        sa.Column("place", sa.String(length=200), nullable=False),
        sa.Column("history", sa.LargeBinary(), nullable=True),
        sa.Column("wall_code", sa.String(length=16), nullable=False),
        sa.Column("inputs_version", sa.Integer(), nullable=False),
        sa.Column("floor_version", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["coach_id"], ["person.id"], name=op.f("fk_class_coach_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_class_gym_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["plan_version_id"],
            ["plan_version.id"],
            name=op.f("fk_class_plan_version_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_class")),
        sa.UniqueConstraint("wall_code", name=op.f("uq_class_wall_code")),
    )
    with op.batch_alter_table("class", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_class_coach_id"), ["coach_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_class_gym_id"), ["gym_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_class_plan_version_id"), ["plan_version_id"], unique=False
        )

    op.create_table(
        "attendance",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("sex", sa.String(length=1), nullable=True),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("resting_hr", sa.Float(), nullable=True),
        sa.Column("max_hr", sa.Float(), nullable=True),
        sa.Column("vo2max", sa.Float(), nullable=True),
        sa.Column("delay_s", sa.Float(), nullable=False),
        sa.Column("station", sa.Integer(), nullable=True),
        sa.Column("start", sa.DateTime(timezone=True), nullable=True),
        sa.Column("start_offset_s", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_attendance_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_attendance_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attendance")),
        sa.UniqueConstraint("class_id", "person_id", name=op.f("uq_attendance_class_id_person_id")),
    )
    with op.batch_alter_table("attendance", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_attendance_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_attendance_person_id"), ["person_id"], unique=False)

    op.create_table(
        "decision",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("block", sa.String(length=200), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("made_by", sa.String(length=32), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_decision_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_decision_made_by"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_decision_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decision")),
    )
    with op.batch_alter_table("decision", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_decision_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_decision_made_by"), ["made_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_decision_person_id"), ["person_id"], unique=False)

    op.create_table(
        "reconciliation",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("inputs_version", sa.Integer(), nullable=False),
        sa.Column("inputs", sa.JSON(), nullable=False),
        sa.Column("engine_version", sa.String(length=32), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("stage", sa.String(length=100), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=True),
        sa.Column("sheet", sa.LargeBinary(), nullable=True),
        sa.Column("digest", sa.String(length=64), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_reconciliation_class_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reconciliation")),
    )
    with op.batch_alter_table("reconciliation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reconciliation_class_id"), ["class_id"], unique=False)
        batch_op.create_index(
            "ix_reconciliation_class_id_state", ["class_id", "state"], unique=False
        )

    op.create_table(
        "score",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("block", sa.String(length=200), nullable=True),
        sa.Column("option", sa.String(length=200), nullable=True),
        sa.Column("equipment", sa.String(length=16), nullable=True),
        sa.Column("score", sa.Float(), nullable=True),
        sa.Column("rounds", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("load_kg", sa.Float(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("logged_by", sa.String(length=32), nullable=True),
        sa.Column("logged_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_score_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["logged_by"], ["person.id"], name=op.f("fk_score_logged_by"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_score_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_score")),
    )
    with op.batch_alter_table("score", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_score_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_score_logged_by"), ["logged_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_score_person_id"), ["person_id"], unique=False)

    op.create_table(
        "sign_in",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=True),
        sa.Column("confirmed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_sign_in_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_sign_in_gym_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_token_hash")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_gym_id"), ["gym_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_person_id"), ["person_id"], unique=False)

    op.create_table(
        "recording",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("gym_id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("file", sa.String(length=255), nullable=False),
        sa.Column("source", sa.String(length=16), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("sign_in_id", sa.String(length=32), nullable=True),
        sa.Column("received_by", sa.String(length=32), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_recording_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["gym_id"], ["gym.id"], name=op.f("fk_recording_gym_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["received_by"],
            ["person.id"],
            name=op.f("fk_recording_received_by"),
            ondelete="SET NULL",
        ),
        sa.ForeignKeyConstraint(
            ["sign_in_id"],
            ["sign_in.id"],
            name=op.f("fk_recording_sign_in_id"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recording")),
        sa.UniqueConstraint("class_id", "file", name=op.f("uq_recording_class_id_file")),
        sa.UniqueConstraint("class_id", "sha256", name=op.f("uq_recording_class_id_sha256")),
    )
    with op.batch_alter_table("recording", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recording_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_gym_id"), ["gym_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_received_by"), ["received_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_sha256"), ["sha256"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_sign_in_id"), ["sign_in_id"], unique=False)

    op.create_table(
        "pin",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("class_id", sa.String(length=32), nullable=False),
        sa.Column("recording_id", sa.String(length=32), nullable=False),
        sa.Column("member", sa.String(length=255), nullable=False),
        sa.Column("block", sa.String(length=200), nullable=True),
        sa.Column("start_s", sa.Float(), nullable=True),
        sa.Column("owner_id", sa.String(length=32), nullable=True),
        sa.Column("made_by", sa.String(length=32), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["class_id"], ["class.id"], name=op.f("fk_pin_class_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_pin_made_by"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["person.id"], name=op.f("fk_pin_owner_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recording.id"], name=op.f("fk_pin_recording_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pin")),
    )
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pin_class_id"), ["class_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_pin_made_by"), ["made_by"], unique=False)
        batch_op.create_index(batch_op.f("ix_pin_owner_id"), ["owner_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_pin_recording_id"), ["recording_id"], unique=False)

    op.create_table(
        "uploader",
        sa.Column("recording_id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_uploader_person_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"],
            ["recording.id"],
            name=op.f("fk_uploader_recording_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("recording_id", "person_id", name=op.f("pk_uploader")),
    )
    with op.batch_alter_table("uploader", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_uploader_person_id"), ["person_id"], unique=False)

    keep_audit()


def downgrade() -> None:
    """Go back to the form before."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP TRIGGER audit_is_kept ON audit")
        op.execute("DROP FUNCTION refuse_audit_change")
    with op.batch_alter_table("uploader", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_uploader_person_id"))

    op.drop_table("uploader")
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pin_recording_id"))
        batch_op.drop_index(batch_op.f("ix_pin_owner_id"))
        batch_op.drop_index(batch_op.f("ix_pin_made_by"))
        batch_op.drop_index(batch_op.f("ix_pin_class_id"))

    op.drop_table("pin")
    with op.batch_alter_table("recording", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recording_sign_in_id"))
        batch_op.drop_index(batch_op.f("ix_recording_sha256"))
        batch_op.drop_index(batch_op.f("ix_recording_received_by"))
        batch_op.drop_index(batch_op.f("ix_recording_gym_id"))
        batch_op.drop_index(batch_op.f("ix_recording_class_id"))

    op.drop_table("recording")
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_person_id"))
        batch_op.drop_index(batch_op.f("ix_sign_in_gym_id"))
        batch_op.drop_index(batch_op.f("ix_sign_in_class_id"))

    op.drop_table("sign_in")
    with op.batch_alter_table("score", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_score_person_id"))
        batch_op.drop_index(batch_op.f("ix_score_logged_by"))
        batch_op.drop_index(batch_op.f("ix_score_class_id"))

    op.drop_table("score")
    with op.batch_alter_table("reconciliation", schema=None) as batch_op:
        batch_op.drop_index("ix_reconciliation_class_id_state")
        batch_op.drop_index(batch_op.f("ix_reconciliation_class_id"))

    op.drop_table("reconciliation")
    with op.batch_alter_table("decision", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_decision_person_id"))
        batch_op.drop_index(batch_op.f("ix_decision_made_by"))
        batch_op.drop_index(batch_op.f("ix_decision_class_id"))

    op.drop_table("decision")
    with op.batch_alter_table("attendance", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_attendance_person_id"))
        batch_op.drop_index(batch_op.f("ix_attendance_class_id"))

    op.drop_table("attendance")
    with op.batch_alter_table("class", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_class_plan_version_id"))
        batch_op.drop_index(batch_op.f("ix_class_gym_id"))
        batch_op.drop_index(batch_op.f("ix_class_coach_id"))

    op.drop_table("class")
    with op.batch_alter_table("sign_in_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_link_person_id"))
        batch_op.drop_index(batch_op.f("ix_sign_in_link_made_by"))
        batch_op.drop_index(batch_op.f("ix_sign_in_link_gym_id"))

    op.drop_table("sign_in_link")
    op.drop_table("role")
    with op.batch_alter_table("plan_version", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_plan_version_plan_id"))
        batch_op.drop_index(batch_op.f("ix_plan_version_made_by"))

    op.drop_table("plan_version")
    with op.batch_alter_table("consent", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_consent_stated_by"))
        batch_op.drop_index(batch_op.f("ix_consent_person_id"))

    op.drop_table("consent")
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_token_person_id"))
        batch_op.drop_index(batch_op.f("ix_api_token_gym_id"))

    op.drop_table("api_token")
    with op.batch_alter_table("plan", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_plan_gym_id"))

    op.drop_table("plan")
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_person_gym_id"))

    op.drop_table("person")
    with op.batch_alter_table("done", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_done_gym_id"))

    op.drop_table("done")
    op.drop_table("gym")
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_audit_gym_id"))

    op.drop_table("audit")
    with op.batch_alter_table("attempt", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_attempt_about"))

    op.drop_table("attempt")


def keep_audit() -> None:
    """Let the database itself refuse to change or delete a line of the audit log."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'the audit log is only added to'; END $$"
        )
        op.execute(
            "CREATE TRIGGER audit_is_kept BEFORE UPDATE OR DELETE ON audit "
            "FOR EACH ROW EXECUTE FUNCTION refuse_audit_change()"
        )
        return
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER audit_{change.lower()}_is_refused BEFORE {change} ON audit "
            "BEGIN SELECT RAISE(ABORT, 'the audit log is only added to'); END"
        )
