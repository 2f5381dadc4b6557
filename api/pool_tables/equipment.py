"""The words for what a table carries: its battery, and what its meters count. Data, no product."""

from typing import Literal

Chemistry = Literal["flooded", "agm", "gel", "unknown"]
MeterCounts = Literal["money", "games", "minutes"]
MeterResets = Literal["never", "at_collection"]
