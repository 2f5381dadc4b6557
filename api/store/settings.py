"""The settings of one process: frozen, read once from the environment.

Every variable is named ``BAIZEBOOK_…``; an unknown value is refused at start, not when it is first used.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

DEFAULT_DATABASE_URL = "sqlite:///baizebook.db"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """``owner_token``, if set, is accepted as an owner's; sizes are in bytes, ``threads`` bounds work in parallel."""

    database_url: str = DEFAULT_DATABASE_URL
    owner_token: str | None = field(default=None, repr=False)
    body_bytes_max: int = 8 * 1024 * 1024
    threads: int = 16

    def __post_init__(self) -> None:
        if not self.database_url.startswith(("sqlite:///", "postgresql+psycopg://")):
            raise ValueError(
                "BAIZEBOOK_DATABASE_URL: expected sqlite:///… or postgresql+psycopg://…, "
                f"found {self.database_url.split(':', 1)[0]}:…"
            )
        if self.owner_token is not None and len(self.owner_token) < 16:
            raise ValueError("BAIZEBOOK_OWNER_TOKEN: expected at least 16 characters")
        if self.threads < 1 or self.body_bytes_max < 1024:
            raise ValueError("BAIZEBOOK_THREADS and BAIZEBOOK_BODY_BYTES_MAX: expected at least 1 and 1024")

    @property
    def on_sqlite(self) -> bool:
        return self.database_url.startswith("sqlite")


def settings_from(environment: Mapping[str, str]) -> Settings:
    """Build the settings from environment variables; raise ValueError naming the variable that is wrong."""
    values: dict[str, str | int] = {}
    for name in ("database_url", "owner_token"):
        if text := environment.get(f"BAIZEBOOK_{name.upper()}"):
            values[name] = text
    for name in ("body_bytes_max", "threads"):
        if text := environment.get(f"BAIZEBOOK_{name.upper()}"):
            if not text.isascii() or not text.isdigit():
                raise ValueError(f"BAIZEBOOK_{name.upper()}: expected a whole number, found {text!r}")
            values[name] = int(text)
    return Settings(**values)  # type: ignore[arg-type]


@cache
def get_settings() -> Settings:
    """Return the settings of this process."""
    return settings_from(os.environ)
