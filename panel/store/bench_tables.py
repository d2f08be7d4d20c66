"""The tables of the bench: the register of products, instruments, measurements by product, photos.

Nothing here knows a blind label, a pour letter or a code. Which product is which sample is the sealed key alone; the
rows of a study's products are written in alphabetical order under random ids, so that no order tells anything.
"""

from datetime import datetime

from sqlalchemy import CheckConstraint, LargeBinary, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from panel.store.random_ids import new_id
from panel.store.tables import UtcTime


class Product(SQLModel, table=True):
    """A product of the register. name_key: the name in the form that must be unique, and that joins it to the key.

    reference : whether it is measured and served round after round, so that rounds can be compared through it
    """

    id: str = Field(default_factory=new_id, primary_key=True)
    name: str
    name_key: str = Field(unique=True)
    maker: str = ""
    kind: str = Field(default="", index=True)
    note: str = Field(default="", sa_type=Text)
    reference: bool = False
    added_at: datetime = Field(sa_type=UtcTime)


class StudyProduct(SQLModel, table=True):
    """That a product is in a study: from the seal on where the bench needs its name, else from the reveal on."""

    __table_args__ = (UniqueConstraint("study_id", "product_id"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    product_id: str = Field(foreign_key="product.id", index=True)


class FurtherMeasurand(SQLModel, table=True):
    """Something measured that was not sealed: exploratory, and never a criterion. content: JSON text."""

    __table_args__ = (UniqueConstraint("study_id", "key"),)

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    key: str
    content: str = Field(sa_type=Text)
    reason: str = Field(sa_type=Text)
    added_by: str
    added_at: datetime = Field(sa_type=UtcTime)


class Instrument(SQLModel, table=True):
    """What is measured with. A changed one is a new row; the old one is kept, with the moment it was put away.

    quantity : id in quantities.QUANTITIES; unit : the one in which it is written and shown
    resolution, accuracy : smallest step, and half-width of the stated limits, in the quantity's first unit (a
        difference of it); None where not known
    checked_on : ISO date of the last check, "" where there was none; found : what it gave
    """

    id: str = Field(default_factory=new_id, primary_key=True)
    name: str
    quantity: str
    unit: str
    resolution: float | None = None
    accuracy: float | None = None
    checked_on: str = ""
    found: str = Field(default="", sa_type=Text)
    added_by: str
    added_at: datetime = Field(sa_type=UtcTime)
    retired_at: datetime | None = Field(default=None, sa_type=UtcTime)


class Measurement(SQLModel, table=True):
    """One revision of one entry of the bench. The highest revision counts; nothing is overwritten.

    entry : shared by all revisions; submission_id : the sender's own name for the send that made this revision
    value : in the quantity's first unit, None for a series; typed, unit : as somebody wrote it
    series, laps, answers : JSON text of (minutes, value), of seconds, of 1 to 5
    servings : how many this run made, or the priced package holds; None where it is what the measurand says
    resolution, accuracy : of the instrument on that day, in the quantity's first unit
    measured_by : who measured or rated, as they named themselves; measured_at : when, as far as it is known
    currency, priced_on, package : of a price
    invalid : why the run does not count; reason : why this revision was made
    nonce : random, so that the log's fingerprint of a row gives nothing away to whoever tries values
    """

    __table_args__ = (
        UniqueConstraint("entry", "revision"),
        CheckConstraint("revision >= 1", name="revision"),
        CheckConstraint("run >= 1", name="run"),
    )

    id: str = Field(default_factory=new_id, primary_key=True)
    study_id: str = Field(foreign_key="study.id", index=True)
    entry: str = Field(index=True)
    revision: int
    submission_id: str = Field(unique=True)
    measurand: str
    product_id: str = Field(foreign_key="product.id", index=True)
    run: int
    value: float | None = None
    typed: str = Field(default="", sa_type=Text)
    unit: str = ""
    series: str = Field(default="[]", sa_type=Text)
    laps: str = Field(default="[]", sa_type=Text)
    answers: str = Field(default="[]", sa_type=Text)
    ambient: float | None = None
    servings: float | None = None
    instrument_id: str | None = Field(default=None, foreign_key="instrument.id", index=True)
    resolution: float | None = None
    accuracy: float | None = None
    measured_by: str = ""
    measured_at: datetime | None = Field(default=None, sa_type=UtcTime)
    currency: str = ""
    priced_on: str = ""
    package: str = ""
    note: str = Field(default="", sa_type=Text)
    invalid: str = Field(default="", sa_type=Text)
    reason: str = Field(default="", sa_type=Text)
    recorded_by: str
    recorded_at: datetime = Field(sa_type=UtcTime)
    after_reveal: bool = False
    nonce: str


class Photo(SQLModel, table=True):
    """A picture beside a measurement, encoded anew without anything that the camera had noted."""

    id: str = Field(default_factory=new_id, primary_key=True)
    measurement_id: str = Field(foreign_key="measurement.id", index=True)
    content: bytes = Field(sa_type=LargeBinary)
    width: int
    height: int
    added_at: datetime = Field(sa_type=UtcTime)
