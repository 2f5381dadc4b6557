"""Webhooks: addresses that receive events, and the outbox of events still to be sent."""
