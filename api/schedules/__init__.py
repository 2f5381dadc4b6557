"""Which tariff is listed when."""
