"""Signatures: the published vector, and the library of the scheme's own authors reads what we sign."""

from datetime import UTC, datetime

import pytest
from baizebook.webhooks.signature import new_secret, signed_headers
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
ID, AT, BODY = "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
"""Published: the repository standard-webhooks, libraries/python/tests/test_webhooks.py, and those of its other languages."""


def test_the_published_vector() -> None:
    assert signed_headers(ID, BODY, timestamp_s=AT, by=[SECRET]) == {
        "webhook-id": ID,
        "webhook-timestamp": str(AT),
        "webhook-signature": SIGNATURE,
    }


def test_the_library_reads_what_is_signed_by_either_of_two_secrets_and_nothing_else() -> None:
    old, new, other = new_secret(), new_secret(), new_secret()
    body = '{"type":"job.reported","data":{"name":"Größe"}}'.encode()
    headers = signed_headers("an-id", body, timestamp_s=int(datetime.now(UTC).timestamp()), by=[new, old])
    for secret in (old, new):
        assert Webhook(secret).verify(body, headers)["type"] == "job.reported"
    for changed in (body.replace(b"job", b"jub"), body + b" "):
        with pytest.raises(WebhookVerificationError):
            Webhook(new).verify(changed, headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(other).verify(body, headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(new).verify(body, headers | {"webhook-id": "another-id"})


def test_a_secret_is_256_random_bits_of_its_own() -> None:
    made = {new_secret() for _ in range(20)}
    assert len(made) == 20
    assert all(one.startswith("whsec_") and len(one) == 6 + 44 for one in made)
