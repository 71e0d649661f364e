"""The [mqtt] table: where states and events are published, and what is doubtful about the way there."""

from __future__ import annotations

import ipaddress
import os
import re
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic.json_schema import SkipJsonSchema

from supervisor.config.mistakes import Where
from supervisor.config.shape import Table, known, quantity_error

PLAIN_PORT, TLS_PORT = 1883, 8883
"""Registered with IANA for MQTT and for MQTT over TLS."""

LONGEST_PASSWORD_BYTES = 65_535
"""What the length field of an MQTT password can say (MQTT 3.1.1, 1.5.3)."""


def _host(given: str) -> str:
    """A name or an address. What is given is not repeated: somebody may have put a password into it."""
    if not re.fullmatch(r"[A-Za-z0-9:][A-Za-z0-9.:-]{0,252}", given):
        raise quantity_error(
            "this is no host name", "write the name or address alone: no user, no password, no scheme, no path"
        )
    return given


def _no_password(_given: object) -> None:
    raise quantity_error(
        "a password never stands in the line file: it is copied into the record and shown to whoever reads that",
        'take it out, change it at the broker, and name where it lies: password_file = "..." or password_env = "..."',
    )


Line = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
Variable = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")]


class MqttTable(Table):
    """The broker to publish at; without this table nothing is published."""

    host: Annotated[str, AfterValidator(_host)] = Field(description="name or address of the broker")
    port: Annotated[int, Field(ge=1, le=65535)] | None = Field(default=None, description="1883, or 8883 with tls")
    tls: bool = Field(default=False, description="encrypt, and check the broker's certificate and host name")
    ca_file: Line | None = Field(
        default=None, description="certificates to trust, PEM, relative to the line file; the system's if not said"
    )
    user: Line | None = None
    password_file: Line | None = Field(default=None, description="a file with the password alone")
    password_env: Variable | None = Field(default=None, description="the environment variable with the password")
    client: Line | None = Field(default=None, description="client name at the broker; ampminder-LINE if not said")
    password: SkipJsonSchema[Annotated[None, BeforeValidator(_no_password)]] = None

    @property
    def place(self) -> tuple[str, int]:
        """Host and port."""
        return self.host, self.port or (TLS_PORT if self.tls else PLAIN_PORT)

    @property
    def has_password(self) -> bool:
        """Whether a password is sent."""
        return self.password_file is not None or self.password_env is not None


class PasswordError(Exception):
    """The password cannot be had; the text says why and what to do, and never any of it."""


def read_password(table: MqttTable, folder: Path) -> str | None:
    """Return the password from its file (a closing line feed taken off) or variable; None where none is to be sent.

    `folder` is where relative paths start. Raises PasswordError.
    """
    if table.password_env is not None:
        password = os.environ.get(table.password_env, "")
        if not password:
            raise PasswordError(f"The environment variable {table.password_env} with the broker's password is not set.")
        return password
    if table.password_file is None:
        return None
    path = folder / table.password_file
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_PASSWORD_BYTES + 3)
        password = content.decode().removesuffix("\n").removesuffix("\r")
    except OSError as problem:
        raise PasswordError(f"The password file {path} cannot be read: {problem.strerror}.") from None
    except UnicodeDecodeError:
        raise PasswordError(f"The password file {path} is not UTF-8.") from None
    if not password or len(content) > LONGEST_PASSWORD_BYTES + 2:
        raise PasswordError(f"The password file {path} is empty or no password.")
    return password


def mqtt_mistakes(table: MqttTable | None, told: Callable[[Where, str, str], None]) -> None:
    """Tell what does not go together in the table."""
    if table is None:
        return
    if known(table.password_file, table.password_env):
        told(("mqtt", "password_env"), "there is a password_file as well", "remove either")
    if table.has_password and table.user is None:
        told(("mqtt", "user"), "a password goes with a user", "add user, or remove the password")
    if known(table.ca_file) and table.tls is False:
        told(("mqtt", "ca_file"), "without tls no certificate is looked at", "add tls = true, or remove ca_file")


def mqtt_doubts(table: MqttTable | None, folder: Path) -> tuple[str, ...]:
    """One sentence or two for everything that may keep the broker from us or the password from being one's own.

    Told by `check` and at every start; none of it keeps a supervisor from its work. `folder` is the line file's.
    """
    return () if table is None else tuple(_doubts(table, folder))


def _doubts(table: MqttTable, folder: Path) -> Iterator[str]:
    if table.has_password and not table.tls and not _is_loopback(table.host):
        yield (
            f"The password for the broker at {table.host} goes over the network in the clear, and whoever listens has "
            "it: set mqtt.tls = true."
        )
    try:
        read_password(table, folder)
    except PasswordError as problem:
        yield f"{problem} Until it can be had nothing is published."
    if table.password_file is not None and _anyone_reads(folder / table.password_file):
        yield f"Anyone on this computer may read {folder / table.password_file}: chmod o-r it."
    if table.ca_file is not None and not (folder / table.ca_file).is_file():
        yield f"There is no file {folder / table.ca_file} of certificates to trust: nothing is published."


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _anyone_reads(path: Path) -> bool:
    try:
        return bool(path.stat().st_mode & stat.S_IROTH)
    except OSError:
        return False
