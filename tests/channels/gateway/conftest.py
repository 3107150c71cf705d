"""What tests of the gateway may ask for."""

from __future__ import annotations

import pytest

from tests.channels.mail_out.certificates import Authority, authority


@pytest.fixture(scope="session")
def ca(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    """A certificate authority that no machine trusts by itself."""
    return authority(tmp_path_factory.mktemp("authority"))
