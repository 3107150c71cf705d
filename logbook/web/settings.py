"""The pages' settings: where they listen, and how they are reached from outside."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, field_validator


class WebSettings(BaseModel):
    """The table [web] of the settings file.

    `listen`: HOST:PORT, plain HTTP; the world outside comes through a reverse proxy (deploy/pages.md).
    `proxy`: whether that proxy's X-Forwarded-For is believed; only what comes from this machine is.
    `line`: the number that cleaners text to, as it stands on plates.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    listen: str = "127.0.0.1:8742"
    proxy: bool = False
    line: str | None = None

    @field_validator("listen")
    @classmethod
    def _is_place(cls, value: str) -> str:
        host, _colon, port = value.rpartition(":")
        if not host or not port.isdigit() or not 0 <= int(port) < 65_536:
            raise ValueError("write HOST:PORT, such as 127.0.0.1:8742")
        return value

    @property
    def host(self) -> str:
        """Where to listen."""
        return self.listen.rpartition(":")[0].strip("[]")

    @property
    def port(self) -> int:
        """On which port; 0: any that is free."""
        return int(self.listen.rpartition(":")[2])
