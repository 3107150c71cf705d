"""Passkeys, for supervisors and owners (Web Authentication, level 2; what it holds is checked by py_webauthn).

Promises that a challenge is answered once and within five minutes, that a passkey is made and used only with its
holder's finger, face or code (user verification), and that the name of this house comes from the settings, never
from what a browser says. No name is typed: the passkey says whose it is.
"""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import urlsplit

from fastapi import Request
from sqlalchemy import Connection
from webauthn import (
    generate_authentication_options,
    generate_registration_options,
    options_to_json,
    verify_authentication_response,
    verify_registration_response,
)
from webauthn.helpers import base64url_to_bytes, bytes_to_base64url
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from logbook.domain.instants import MINUTE, Instant
from logbook.domain.people import Person
from logbook.store import passkeys
from logbook.store.passkeys import Challenge, Passkey
from logbook.web.house import House

ANSWER_WITHIN: Instant = 5 * MINUTE
MOST = 10
"""Passkeys of one person."""


class NoPasskey(Exception):
    """It was not one of ours, not answered in time, or not signed as it has to be."""


def host_of(house: House) -> str:
    """The name of this house to a browser: that of the settings' address; without one, this machine alone."""
    return urlsplit(house.address).hostname or "localhost"


def origin_of(house: House, request: Request) -> str:
    """The origin that has to have signed. Without an address in the settings: this machine's, at whatever port."""
    if house.address:
        parts = urlsplit(house.address)
        return f"{parts.scheme}://{parts.netloc}"
    said = urlsplit(request.headers.get("origin", ""))
    if said.hostname != "localhost":
        raise NoPasskey
    return f"{said.scheme}://{said.netloc}"


def registering(house: House, person: Person, fleet: str) -> dict[str, Any]:
    """What a browser is asked, to make a passkey; `asked` is to come back with its answer."""
    with house.store.read() as connection:
        known = passkeys.of_person(connection, person.uuid)
    options = generate_registration_options(
        rp_id=host_of(house), rp_name=fleet, user_id=person.uuid.encode(),
        user_name=person.email or person.name or person.key or person.uuid[:8],
        user_display_name=person.name or person.key or person.uuid[:8], challenge=house.draw(32),
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED, user_verification=UserVerificationRequirement.REQUIRED
        ),
        exclude_credentials=[PublicKeyCredentialDescriptor(id=base64url_to_bytes(each.id)) for each in known],
    )  # fmt: skip
    asked = _ask(house, options.challenge, person.uuid)
    return {"asked": asked, "publicKey": json.loads(options_to_json(options))}


def register(house: House, request: Request, person: Person, asked: str, said: str, label: str) -> Passkey:
    """Keep the passkey that was made. Raises NoPasskey."""
    challenge = _taken(house, asked)
    if challenge is None or challenge.person != person.uuid:
        raise NoPasskey
    try:
        made = verify_registration_response(
            credential=_read(said), expected_challenge=challenge.challenge, expected_rp_id=host_of(house),
            expected_origin=origin_of(house, request), require_user_verification=True,
        )  # fmt: skip
    except (WebAuthnException, ValueError, KeyError, TypeError) as why:
        raise NoPasskey from why
    id_ = bytes_to_base64url(made.credential_id)
    row = Passkey(id_, person.uuid, made.credential_public_key, made.sign_count, label, house.now())

    def job(connection: Connection) -> None:
        if passkeys.of(connection, id_) is not None or len(passkeys.of_person(connection, person.uuid)) >= MOST:
            raise NoPasskey
        passkeys.add(connection, row)

    house.store.write(job)
    return row


def signing_in(house: House) -> dict[str, Any]:
    """What a browser is asked, to sign somebody in whom we do not know yet."""
    options = generate_authentication_options(
        rp_id=host_of(house), challenge=house.draw(32), user_verification=UserVerificationRequirement.REQUIRED
    )
    return {"asked": _ask(house, options.challenge, None), "publicKey": json.loads(options_to_json(options))}


def signed_in(house: House, request: Request, asked: str, said: str) -> str:
    """The uuid of whoever answered with a passkey of ours. Raises NoPasskey."""
    challenge, read = _taken(house, asked), _read(said)
    if challenge is None or challenge.person is not None:
        raise NoPasskey
    id_ = str(read.get("id", ""))[:1_000]
    with house.store.read() as connection:
        known = passkeys.of(connection, id_)
    if known is None:
        raise NoPasskey
    try:
        done = verify_authentication_response(
            credential=read, expected_challenge=challenge.challenge, expected_rp_id=host_of(house),
            expected_origin=origin_of(house, request), credential_public_key=known.public_key,
            credential_current_sign_count=known.sign_count, require_user_verification=True,
        )  # fmt: skip
    except (WebAuthnException, ValueError, KeyError, TypeError) as why:
        raise NoPasskey from why
    if not house.store.write(lambda connection: passkeys.used(connection, id_, done.new_sign_count, house.now())):
        raise NoPasskey
    return known.person


def _ask(house: House, challenge: bytes, person: str | None) -> str:
    id_ = house.token(16)
    row = Challenge(id_, challenge, person, house.now() + ANSWER_WITHIN)
    house.store.write(lambda connection: passkeys.ask(connection, row))
    return id_


def _taken(house: House, asked: str) -> Challenge | None:
    return house.store.write(lambda connection: passkeys.take(connection, asked, house.now()))


def _read(said: str) -> dict[str, Any]:
    try:
        read = json.loads(said)
    except (ValueError, RecursionError) as why:
        raise NoPasskey from why
    if not isinstance(read, dict):
        raise NoPasskey
    return read
