"""What the person who runs the service can set, read once from the environment.

Flow     environment -> **settings** -> wiring -> everything else, as arguments
"""

from enum import StrEnum
from functools import cache
from ipaddress import ip_network
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from api.folders import data_folder


class Mode(StrEnum):
    """Who is let in."""

    HOME = "home"
    """Whoever sits at this machine, without an account; nobody else."""
    HOME_NETWORK = "home_network"
    """Whoever sits at this machine, and the phones of the house that were paired with it."""
    SERVER = "server"
    """Accounts, for many homes."""


class Settings(BaseSettings):
    """Every setting of the service; each is an environment variable with ``DIPCAST_`` before its name.

    Attributes
    ----------
    database
        Address of the database, ``sqlite:///file`` or ``postgresql+psycopg://user@host/name``.
        A SQLite file in the user's data folder unless given.
    host, port
        Where the server listens; only this machine reaches it unless that is changed, which needs
        another mode than ``home``.
    mode
        ``home``: no accounts, only this machine is answered. ``home_network``: the phones of the
        house too, once paired by a code. ``server``: accounts.
    hosts
        Names under which the service may be called (the ``Host`` header), separated by commas. In
        the mode ``home_network`` any private address, and names ending in ``.local``, are served too.
    public_url
        The address under which people reach the service, such as ``https://oil.example``: it stands in
        invitations, and its name is served. With https, cookies travel over https only.
    sign_up
        In the mode ``server``: ``invitation`` lets only invited people make an account, ``open``
        anybody.
    weather_url
        The weather service that is asked for recent and coming weather, each tank's place rounded to
        a tenth of a degree; empty for none. Open-Meteo, or a service of the same form.
    mqtt_host, mqtt_port
        The MQTT broker that sensors publish to; an empty name for none. Port 8883 where encrypted.
    mqtt_client_id
        Under this name the broker keeps our session, and what came while we were away; one a database.
    mqtt_user, mqtt_password
        With which the broker lets us in; empty for none.
    mqtt_tls, mqtt_ca_file
        Encrypt, and check the broker's certificate against this file instead of the system's list.
    answers_topic
        Below this topic each tank's answer is kept at the broker for home hubs; empty for not at all.
    mail_host, mail_port, mail_user, mail_password
        The mail server that reminders leave by; an empty host for none.
    mail_sender
        The address that reminders come from.
    mail_starttls, mail_ca_file
        Encrypt, and check the server's certificate against this file instead of the system's list.
    operator_mail
        Who is told of trouble with the service itself; empty for nobody.
    heartbeat_url
        A watcher that is told every five minutes that all is in order, by an empty POST, and that warns
        somebody when it hears nothing; empty for none.
    webhook_networks
        Private networks that webhooks may go to, separated by commas, such as 192.168.1.0/24.
    pollution_line
        Whom to call about an oil spill at this place; it stands in urgent messages.
    backup_folder, backups_kept
        Where copies of a SQLite database are kept, and how many; 0 for none.
    worker
        Whether ``dipcast serve`` also does what ``dipcast work`` does: ``yes``, ``no``, or ``auto``: with
        SQLite, where one process is all there is.
    processes
        Among so many processes the nightly forecasts of many tanks are shared; one does for a home.
    requests_per_s, requests_burst
        How many messages a tank may send a second in the long run, and at once. [1/s], [1]
    """

    model_config = SettingsConfigDict(env_prefix="DIPCAST_", extra="ignore", frozen=True)

    database: str = Field(default_factory=lambda: f"sqlite:///{data_folder() / 'dipcast.db'}")
    host: str = "127.0.0.1"
    port: int = Field(default=8000, ge=0, le=65535)
    mode: Mode = Mode.HOME
    hosts: Annotated[tuple[str, ...], NoDecode] = ("localhost", "127.0.0.1", "::1")
    public_url: str = Field(default="", pattern=r"^(https?://[^/?#@\s]+)?$", max_length=300)
    sign_up: Literal["invitation", "open"] = "invitation"
    weather_url: str = "https://api.open-meteo.com/v1/forecast"
    mqtt_host: str = ""
    mqtt_port: int = Field(default=1883, ge=1, le=65535)
    mqtt_client_id: str = Field(default="dipcast", pattern=r"^[0-9A-Za-z_-]{1,64}$")
    mqtt_user: str = ""
    mqtt_password: SecretStr = SecretStr("")
    mqtt_tls: bool = False
    mqtt_ca_file: Path | None = None
    answers_topic: str = Field(default="", pattern=r"^([^#+$\s/][^#+\s]*)?$", max_length=200)
    mail_host: str = ""
    mail_port: int = Field(default=587, ge=1, le=65535)
    mail_user: str = ""
    mail_password: SecretStr = SecretStr("")
    mail_sender: str = Field(default="", pattern=r"^([^@\s<>]+@[^@\s<>]+)?$", max_length=254)
    mail_starttls: bool = True
    mail_ca_file: Path | None = None
    operator_mail: str = Field(default="", pattern=r"^([^@\s<>]+@[^@\s<>]+)?$", max_length=254)
    heartbeat_url: str = Field(default="", pattern=r"^(https?://[^\s]+)?$", max_length=500)
    webhook_networks: Annotated[tuple[str, ...], NoDecode] = ()
    pollution_line: str = Field(default="", max_length=100)
    backup_folder: Path = Field(default_factory=lambda: data_folder() / "backups")
    backups_kept: int = Field(default=14, ge=0, le=1000)
    worker: Literal["auto", "yes", "no"] = "auto"
    processes: int = Field(default=1, ge=1, le=64)
    requests_per_s: float = Field(default=20.0, gt=0, allow_inf_nan=False)
    requests_burst: int = Field(default=200, ge=1)

    @field_validator("webhook_networks")
    @classmethod
    def require_networks(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        """Refuse what is no network."""
        for text in value:
            ip_network(text)
        return value

    @field_validator("hosts", "webhook_networks", mode="before")
    @classmethod
    def split_hosts(cls, value: object) -> object:
        """Take a list separated by commas, as an environment variable holds it."""
        if isinstance(value, str):
            return tuple(name.strip().lower() for name in value.split(",") if name.strip())
        return value

    @property
    def listen_host(self) -> str:
        """Where the server listens: for the phones of a house everywhere, unless it was said otherwise."""
        if self.mode is Mode.HOME_NETWORK and "host" not in self.model_fields_set:
            return "0.0.0.0"  # noqa: S104 - the mode says so, and asks every phone for a code
        return self.host

    @property
    def served_names(self) -> frozenset[str]:
        """Every name under which the service may be called; without ports."""
        own = urlsplit(self.public_url).hostname
        return frozenset({*self.hosts, *([own] if own else [])})

    @property
    def uses_https(self) -> bool:
        """Whether people reach the service over https, so that cookies may be kept to it."""
        return self.public_url.startswith("https://")


@cache
def load_settings() -> Settings:
    """Read the settings from the environment, once in the life of the process."""
    return Settings()
