"""The settings, each with its meaning. Read from the environment as PANEL_<NAME>, or given on the command line."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_data_path
from pydantic import Field
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

    @property
    def database_url(self) -> str:
        """The URL in force."""
        return self.database or f"sqlite:///{self.data / 'panel.sqlite3'}"
