"""What the person who runs the service can set, read once from the environment.

Flow     environment -> **settings** -> wiring -> everything else, as arguments
"""

from functools import cache
from typing import Annotated

from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from api.folders import data_folder


class Settings(BaseSettings):
    """Every setting of the service; each is an environment variable with ``DIPCAST_`` before its name.

    Attributes
    ----------
    database
        Address of the database, ``sqlite:///file`` or ``postgresql+psycopg://user@host/name``.
        A SQLite file in the user's data folder unless given.
    host, port
        Where the server listens. Only this machine reaches it unless that is changed, because
        there are no accounts yet.
    hosts
        Names under which the service may be called (the ``Host`` header), separated by commas.
    requests_per_s, requests_burst
        How many messages a tank may send a second in the long run, and at once. [1/s], [1]
    """

    model_config = SettingsConfigDict(env_prefix="DIPCAST_", extra="ignore", frozen=True)

    database: str = Field(default_factory=lambda: f"sqlite:///{data_folder() / 'dipcast.db'}")
    host: str = "127.0.0.1"
    port: int = Field(default=8000, ge=0, le=65535)
    hosts: Annotated[tuple[str, ...], NoDecode] = ("localhost", "127.0.0.1", "::1")
    requests_per_s: float = Field(default=20.0, gt=0, allow_inf_nan=False)
    requests_burst: int = Field(default=200, ge=1)

    @field_validator("hosts", mode="before")
    @classmethod
    def split_hosts(cls, value: object) -> object:
        """Take a list separated by commas, as an environment variable holds it."""
        if isinstance(value, str):
            return tuple(name.strip().lower() for name in value.split(",") if name.strip())
        return value


@cache
def load_settings() -> Settings:
    """Read the settings from the environment, once in the life of the process."""
    return Settings()
