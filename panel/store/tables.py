"""All tables. Times are UTC; ids that a browser can see are random; documents are JSON text.

Three maps lie apart: serving -> sample (plain), sample -> blind label and pour letter (plain), and
sample -> product, the only secret, which stands in `study.draft` until the seal and in `study.locked` after it.
"""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import CheckConstraint, DateTime, Dialect, LargeBinary, Text, TypeDecorator, UniqueConstraint
from sqlmodel import Field, SQLModel

from panel.store.random_ids import new_id


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC. SQLite forgets the zone, so it is put back on reading; naive moments are refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is not None and value.tzinfo is None:
            raise ValueError(f"a moment needs its time zone, but got {value!r}")
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


NAMING = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
SQLModel.metadata.naming_convention = NAMING

_STATES = "'draft', 'sealed', 'serving', 'closed', 'signed', 'revealed'"


class Organiser(SQLModel, table=True):
    """Somebody who plans and runs studies. name_key: the name in the form that must be unique.

    created_by : the organiser who added them; "" for the first one and from the command line
    """

    id: str = Field(default_factory=new_id, primary_key=True)
    name: str
    name_key: str = Field(unique=True)
    password_hash: str
    created_by: str = ""
    created_at: datetime = Field(sa_type=UtcTime)


class Study(SQLModel, table=True):
    """One comparison with one question.

    draft : the typed form with the products, which the seal takes out
    seed : seed of the drawn plan in hexadecimal, emptied by the seal
    plan : the frozen plan, from the seal on; locked : the encrypted key, seed and nonce
    report : the signed report; key : products, seed and nonce in plain, from the reveal on
    archived_at : put away; deleted_at : to be removed for good once the days of grace are over
    brought_back_at : made again from the files of its bundle, to be read only
    """

    __table_args__ = (CheckConstraint(f"state in ({_STATES})", name="state"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    state: str = Field(default="draft", index=True)
    title: str
    draft: str = Field(default="", sa_type=Text)
    seed: str = ""
    plan: str = Field(default="", sa_type=Text)
    locked: str = Field(default="", sa_type=Text)
    commitment: str = ""
    spare_codes: str = Field(default="[]", sa_type=Text)
    base_url: str = ""
    report: str = Field(default="", sa_type=Text)
    key: str = Field(default="", sa_type=Text)
    created_at: datetime = Field(sa_type=UtcTime)
    sealed_at: datetime | None = Field(default=None, sa_type=UtcTime)
    signed_at: datetime | None = Field(default=None, sa_type=UtcTime)
    revealed_at: datetime | None = Field(default=None, sa_type=UtcTime)
    archived_at: datetime | None = Field(default=None, sa_type=UtcTime)
    deleted_at: datetime | None = Field(default=None, sa_type=UtcTime)
    brought_back_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Sample(SQLModel, table=True):
    """A product under test without its name. role: what an analysis must know of it (reference, …)."""

    __table_args__ = (
        UniqueConstraint("study_id", "blind_label"),
        UniqueConstraint("study_id", "pour_letter"),
    )

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    blind_label: str
    pour_letter: str
    role: str = ""


class Batch(SQLModel, table=True):
    """One preparation of a sample."""

    __table_args__ = (UniqueConstraint("sample_id", "number"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    sample_id: str = Field(foreign_key="sample.id", index=True)
    number: int
    poured_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Sitting(SQLModel, table=True):
    """One time slot in which tasters come. paused_at : since when nobody may open a further screen, or None."""

    __table_args__ = (UniqueConstraint("study_id", "number"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    number: int
    token_revision: int = 1
    opened_at: datetime | None = Field(default=None, sa_type=UtcTime)
    closed_at: datetime | None = Field(default=None, sa_type=UtcTime)
    paused_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Place(SQLModel, table=True):
    """One row of the design, to be dealt to whoever comes next; over as many sittings as the plan has."""

    __table_args__ = (UniqueConstraint("study_id", "number"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    number: int
    token_revision: int = 1


class Task(SQLModel, table=True):
    """One screen of a place: one cup, or one set of cups judged together.

    sitting : at which of the taster's sittings it comes, from 1; condition : index into the plan's
    """

    __table_args__ = (UniqueConstraint("place_id", "number"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    place_id: str = Field(foreign_key="place.id", index=True)
    number: int
    sitting: int = 1
    condition: int
    scored: bool = True


class Serving(SQLModel, table=True):
    """One cup. attempt_number 1 is the sealed plan's; a reissued place gets fresh servings of a higher number.

    position : as planned; served_position : as served, where that was noted to differ
    code : on the cup now; sealed_code : the one it replaced, "" where it never was
    dot : number under the cup that was poured for this row, where one person works alone
    found_sample_id : what really stood under this code, by the dot found there; None where it is as planned
    """

    __table_args__ = (
        UniqueConstraint("place_id", "attempt_number", "position"),
        CheckConstraint("length(code) = 3", name="code"),
    )

    id: str = Field(default_factory=new_id, primary_key=True)
    place_id: str = Field(foreign_key="place.id", index=True)
    task_id: str = Field(foreign_key="task.id", index=True)
    sample_id: str = Field(foreign_key="sample.id", index=True)
    batch_id: str = Field(foreign_key="batch.id")
    attempt_number: int = 1
    position: int
    served_position: int | None = None
    condition: int
    replicate: int
    code: str
    sealed_code: str = ""
    token: str = Field(unique=True)
    token_revision: int = 1
    same_cup_as: str | None = Field(default=None, foreign_key="serving.id")
    warm_up: bool = False
    dot: int | None = None
    found_sample_id: str | None = Field(default=None, foreign_key="sample.id")


class Person(SQLModel, table=True):
    """Somebody who tastes; over several sittings where they return. The name only if they gave one.

    erased_at : since when nothing of theirs is kept but scores under a number
    """

    id: str = Field(default_factory=new_id, primary_key=True)
    name: str = ""
    created_at: datetime = Field(sa_type=UtcTime)
    erased_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Attempt(SQLModel, table=True):
    """One person taking a place, dealt in `sitting_id`. number counts the attempts at that place.

    phone : id of the first attempt of the study made on the same phone; "" where this is the first, or on paper
    """

    __table_args__ = (
        UniqueConstraint("place_id", "number"),
        CheckConstraint("status in ('tasting', 'finished', 'stepped out')", name="status"),
    )

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    place_id: str = Field(foreign_key="place.id", index=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    sitting_id: str = Field(foreign_key="sitting.id")
    number: int = 1
    status: str = "tasting"
    phone: str = ""
    dealt_at: datetime = Field(sa_type=UtcTime)
    finished_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Consent(SQLModel, table=True):
    """That a person agreed, to which wording, and may take part today. Never why not."""

    id: str = Field(default_factory=new_id, primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    wording: str
    given_at: datetime = Field(sa_type=UtcTime)


class Submission(SQLModel, table=True):
    """One send of a phone, by the phone's own name for it, kept as it came.

    outcome : "stored"; "correction" where the taster changed an answered screen, as the plan allows; or "kept aside"
        when another send had answered the same screen before
    late : received while no sitting was open
    erased : JSON text, field -> fingerprint of what was sent in it, for words that their writer had erased
    """

    __table_args__ = (CheckConstraint("outcome in ('stored', 'correction', 'kept aside')", name="outcome"),)

    id: str = Field(primary_key=True)
    attempt_id: str = Field(foreign_key="attempt.id", index=True)
    task_id: str = Field(foreign_key="task.id")
    outcome: str
    late: bool
    sent: str = Field(sa_type=Text)
    erased: str = Field(default="{}", sa_type=Text)
    received_at: datetime = Field(sa_type=UtcTime)


class Answer(SQLModel, table=True):
    """One answer. A correction is a higher revision; nothing is overwritten. value: JSON text."""

    __table_args__ = (UniqueConstraint("attempt_id", "task_id", "condition", "question", "revision"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    submission_id: str = Field(foreign_key="submission.id", index=True)
    attempt_id: str = Field(foreign_key="attempt.id", index=True)
    task_id: str = Field(foreign_key="task.id", index=True)
    condition: int
    question: str
    revision: int = 1
    value: str = Field(sa_type=Text)


class Call(SQLModel, table=True):
    """A taster wants somebody to come. code : of the cup that is not theirs, for "wrong cup"."""

    __table_args__ = (CheckConstraint("kind in ('help', 'wrong cup')", name="kind"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    attempt_id: str = Field(foreign_key="attempt.id")
    kind: str
    code: str = ""
    made_at: datetime = Field(sa_type=UtcTime)
    answered_at: datetime | None = Field(default=None, sa_type=UtcTime)


class PaperBallot(SQLModel, table=True):
    """What was keyed from one paper ballot: two passes, each a JSON text of typed fields, "" before it is done."""

    __table_args__ = (UniqueConstraint("place_id", "attempt_number", "sitting"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    place_id: str = Field(foreign_key="place.id")
    attempt_number: int
    sitting: int
    first: str = Field(default="", sa_type=Text)
    first_by: str = ""
    second: str = Field(default="", sa_type=Text)
    second_by: str = ""
    recorded_at: datetime | None = Field(default=None, sa_type=UtcTime)


class PanelMember(SQLModel, table=True):
    """Somebody who agreed that their record over studies is kept, found again by the name they give as a taster.

    name_key : the name in the form that must be unique; wording : fingerprint of what they agreed to
    """

    id: str = Field(default_factory=new_id, primary_key=True)
    name: str
    name_key: str = Field(unique=True)
    wording: str
    agreed_at: datetime = Field(sa_type=UtcTime)
    added_by: str


class Exclusion(SQLModel, table=True):
    """An attempt that the analyst leaves out, with the reason."""

    id: str = Field(default_factory=new_id, primary_key=True)
    attempt_id: str = Field(foreign_key="attempt.id", unique=True)
    reason: str
    excluded_at: datetime = Field(sa_type=UtcTime)


class LedgerEntry(SQLModel, table=True):
    """One event of a study's chain."""

    __table_args__ = (UniqueConstraint("study_id", "number"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    number: int
    at: str
    actor: str
    kind: str
    detail: str = Field(sa_type=Text)
    previous: str
    hash: str


class SignInLink(SQLModel, table=True):
    """A link by which the kitchen, the analyst or whoever measures gets in. Only the token's hash is kept."""

    __table_args__ = (CheckConstraint("role in ('kitchen', 'analyst', 'bench')", name="role"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    role: str
    token_hash: str = Field(unique=True)
    created_at: datetime = Field(sa_type=UtcTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcTime)


class SignIn(SQLModel, table=True):
    """A sign-in that is under way, by an organiser or by a link; gone once it is ended."""

    __table_args__ = (CheckConstraint("(organiser_id is null) <> (link_id is null)", name="holder"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    organiser_id: str | None = Field(default=None, foreign_key="organiser.id", index=True)
    link_id: str | None = Field(default=None, foreign_key="signinlink.id", index=True)
    begun_at: datetime = Field(sa_type=UtcTime)


class UploadedTable(SQLModel, table=True):
    """A table of scores from elsewhere, kept as uploaded until its columns are named. columns: JSON text."""

    id: str = Field(default_factory=new_id, primary_key=True)
    uploaded_by: str
    file_name: str
    content: bytes = Field(sa_type=LargeBinary)
    columns: str = Field(default="{}", sa_type=Text)
    uploaded_at: datetime = Field(sa_type=UtcTime)
