"""Webhooks: the addresses that are told what happened, and the outbox of what they are still to be told."""
