"""The settings, each with its meaning. Read from the environment as PANEL_<NAME>, or given on the command line."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import available_timezones

from babel import Locale, UnknownLocaleError
from platformdirs import user_data_path
from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Where data lies and how the server is reached."""

    model_config = SettingsConfigDict(env_prefix="PANEL_", frozen=True)

    data: Path = Field(
        default_factory=lambda: user_data_path("tasting-panel"),
        description="Folder of the database file, the server key and exports.",
    )
    database: str = Field(
        default="",
        description="Database URL, e.g. postgresql+psycopg://…; empty for the SQLite file in the data folder.",
    )
    base_url: str = Field(
        default="",
        description="Address that phones open, e.g. http://192.168.1.20:8000; empty to find the machine's own.",
    )
    host: str = Field(default="0.0.0.0", description="Network interface the server listens on.")
    port: int = Field(default=8000, description="Port the server listens on.", ge=1, le=65535)
    register_days: int = Field(
        default=365,
        description="Days after the signature after which the names and remarks of a study's tasters are erased.",
        ge=1,
        le=36500,
    )
    upload_limit_mb: int = Field(
        default=10, description="Largest uploaded table, in megabytes.", ge=1, le=100
    )

    time_zone: str = Field(
        default="",
        description="Time zone in which pages show times, e.g. Europe/Vienna; empty for the machine's own.",
    )
    locale: str = Field(
        default="en-GB",
        description="How numbers and dates are written on the organiser's and analyst's pages, e.g. de-AT.",
    )

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        if name and name not in available_timezones():
            raise ValueError(
                f"no time zone is called {name!r}; write one such as Europe/Vienna or America/Chicago"
            )
        return name

    @field_validator("locale")
    @classmethod
    def _known_locale(cls, name: str) -> str:
        try:
            Locale.parse(name, sep="-")
        except (UnknownLocaleError, ValueError):
            raise ValueError(
                f"no locale is called {name!r}; write one such as en-GB, en-US or de-AT"
            ) from None
        return name

    @property
    def database_url(self) -> str:
        """The URL in force."""
        return self.database or f"sqlite:///{self.data / 'panel.sqlite3'}"
