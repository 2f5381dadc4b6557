"""The faults that can be reported of a table: a short code for each.

- A code says what somebody at the table sees, never what may have caused it: a venue's staff can name it on the phone.
- ``other`` is for what the list does not have; then the words say it.
"""

from __future__ import annotations

from typing import Literal, get_args

FaultSeen = Literal[
    "money_refused",
    "money_not_credited",
    "wrong_price",
    "balls_not_released",
    "ball_stuck",
    "ball_missing",
    "no_power",
    "display_unreadable",
    "lamp_out",
    "clock_wrong",
    "not_level",
    "cloth_damaged",
    "cushion_damaged",
    "pocket_damaged",
    "cue_damaged",
    "frame_damaged",
    "lock_damaged",
    "broken_into",
    "other",
]

FAULTS: tuple[FaultSeen, ...] = get_args(FaultSeen)
